package ride_test

import (
	"strings"
	"testing"
	"time"

	"chainline/course"
	"chainline/internal/bunch"
	"chainline/internal/ride"
	"chainline/internal/sensor"
)

// company is a group made of a function.
type company func(now time.Time, me bunch.Me) bunch.Scene

func (f company) Meet(now time.Time, me bunch.Me) bunch.Scene { return f(now, me) }

// TestAsleepAtTheGun: a machine that slept through the gun finds, awake, that
// it is long past: nobody is sent off the line who may not be on the bike.
func TestAsleepAtTheGun(t *testing.T) {
	core, err := ride.New(courseSetup(ride.Controlling), sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	p := &pack{gun: start.Add(time.Minute), speeds: []float64{9}}
	core.Join(p)
	for n := range 20 {
		core.Tick(start.Add(time.Duration(n) * 250 * time.Millisecond))
	}
	if s := core.Snapshot(); s.GunInS < 50 {
		t.Fatalf("the gun in %.0f s", s.GunInS)
	}
	p.gun = start.Add(-10 * time.Minute) // a machine's own clock stands still while it sleeps
	for n := 20; n < 400; n++ {
		core.Tick(start.Add(time.Duration(n) * 250 * time.Millisecond))
	}
	s := core.Snapshot()
	if s.Stage != ride.Waiting || s.GunInS != 0 {
		t.Errorf("without anybody on the bike: %s, gun in %.0f s", s.Stage, s.GunInS)
	}
	if why := core.Key(ride.Key{Kind: ride.KeyStart}, start.Add(101*time.Second)); why != "" {
		t.Errorf("who is late cannot begin: %s", why)
	}
}

// TestOldPhrases: a phrase is told while it would be shown, not for the rest
// of the ride: a host that was started anew would take it for new.
func TestOldPhrases(t *testing.T) {
	core, err := ride.New(courseSetup(ride.Controlling), sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	p := &pack{gun: start.Add(time.Hour)}
	core.Join(p)
	core.Tick(start)
	if why := core.Key(ride.Key{Kind: ride.KeyPhrase, Value: 1}, start.Add(time.Second)); why != "" {
		t.Fatal(why)
	}
	for _, c := range []struct {
		at   time.Duration
		told bool
	}{{2 * time.Second, true}, {20 * time.Second, true}, {30 * time.Second, false}} {
		core.Tick(start.Add(c.at))
		if got := p.told[len(p.told)-1].Phrase != nil; got != c.told {
			t.Errorf("after %v it is told: %v", c.at, got)
		}
	}
}

// TestGroupEndsWhileHelping: help that ends with the group is marked as ended.
func TestGroupEndsWhileHelping(t *testing.T) {
	p := &pack{gun: start.Add(10 * time.Second), speeds: []float64{30, 30}, keep: true}
	s := courseSetup(ride.Controlling)
	s.Group = &ride.InGroup{ID: "g", Title: "Pack"}
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	ended := false
	core.Join(company(func(now time.Time, me bunch.Me) bunch.Scene {
		x := p.Meet(now, me)
		x.Ended = ended
		return x
	}))
	var marks string
	for n := range 400 {
		ended = n == 399
		core.Tick(start.Add(time.Duration(n) * 250 * time.Millisecond))
		for _, b := range core.Effects().Records {
			marks += string(b) + "\n"
		}
	}
	if strings.Count(marks, "keeps the group together") != 1 || strings.Count(marks, "help to stay with the group ends") != 1 || core.Snapshot().Group != nil {
		t.Error("where help began and ended is not marked once each")
	}
}

// TestTooLongToWriteDown: a ride whose course cannot be written down is refused
// before anybody rides it.
func TestTooLongToWriteDown(t *testing.T) {
	s := courseSetup(ride.Controlling)
	way := *s.Course
	var p course.Profile
	for i := range 300_000 {
		p.Distance, p.Elevation = append(p.Distance, float64(i)*1.2345678901), append(p.Elevation, 100+float64(i%7)/7)
	}
	way.Profile = p
	s.Course, s.ID = &way, "long"
	kept, err := ride.Begin(t.TempDir(), s, sensor.NewHub(nil))
	if err == nil {
		kept.Journal.Close()
	}
	if err == nil || !strings.Contains(err.Error(), "too many points") {
		t.Errorf("%v", err)
	}
}
