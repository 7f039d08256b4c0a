package ride_test

import (
	"context"
	"math"
	"strings"
	"testing"
	"time"

	"chainline/internal/bunch"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/race"
)

// pack is a group of which everything is known: a gun, and riders who ride at
// constant speeds.
type pack struct {
	gun    time.Time
	speeds []float64
	keep   bool
	order  bunch.Order
	words  bunch.Words
	link   string
	gone   func(now time.Time) bool // the host is not heard
	told   []bunch.Me
}

func (p *pack) Meet(now time.Time, me bunch.Me) bunch.Scene {
	p.told = append(p.told, me)
	s := bunch.Scene{Title: "Pack", Link: bunch.Well, Synced: true, Gun: p.gun, ClockS: now.Sub(p.gun).Seconds(), Keep: p.keep, Strength: float64(race.Middle),
		BringUp: p.order, Words: p.words}
	if p.gone != nil && p.gone(now) {
		s.Link = bunch.Silenced
	}
	for i, v := range p.speeds {
		at := math.Max(0, v*now.Sub(p.gun).Seconds())
		d := bunch.Dot{Key: string(rune('a' + i)), Name: "Rider", AtM: at, SpeedMS: v, State: bunch.Riding}
		if me.SpeedMS > 1 {
			d.BehindS, d.Known = (me.M-at)/me.SpeedMS, true
		}
		s.Dots = append(s.Dots, d)
	}
	s.Dots = append(s.Dots, bunch.Dot{Key: "me", Name: "Me", You: true, AtM: me.M, SpeedMS: me.SpeedMS, State: me.Stage, Known: true})
	return s
}

// inPack rides a course in a pack and reads back what was recorded.
func inPack(t *testing.T, s ride.Setup, p *pack, replan ride.Replanner, each func(*ride.Core)) (ride.Read, [][]byte, *ride.Core) {
	t.Helper()
	s.Group = &ride.InGroup{ID: "g", Title: "Pack"}
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	core.Join(p)
	var records [][]byte
	err = ride.Headless(context.Background(), core, bench.New(standard(5)), time.Hour, replan, func(b []byte) error {
		records = append(records, b)
		return nil
	}, func(c *ride.Core) error {
		if each != nil {
			each(c)
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	r, err := ride.ReadRecords(records, true)
	if err != nil {
		t.Fatal(err)
	}
	return r, records, core
}

func marked(r ride.Read, words string) int {
	n := 0
	for _, m := range r.Recording.Marks {
		if strings.Contains(m.Words, words) {
			n++
		}
	}
	return n
}

// TestRideInAGroup: the gun is the group's; far behind, the host's help makes
// the ride quicker and is marked and recorded once a second; the host's words
// and a lost host are said; what the others get to know is no watts.
func TestRideInAGroup(t *testing.T) {
	helped := &pack{gun: start.Add(20 * time.Second), speeds: []float64{9.5, 9.6}, keep: true, words: bunch.Words{N: 3, Text: "breathe"},
		gone: func(now time.Time) bool { s := now.Sub(start).Seconds(); return s > 200 && s < 230 }}
	alone := &pack{gun: helped.gun}
	var waited, rode ride.Snapshot
	r, _, core := inPack(t, courseSetup(ride.Controlling), helped, nil, func(c *ride.Core) {
		switch s := c.Snapshot(); {
		case s.At.Sub(start) == 10*time.Second:
			waited = s
		case s.At.Sub(start) == 320*time.Second:
			rode = s
		}
	})
	if waited.Stage != ride.Waiting || math.Abs(waited.GunInS-10) > 0.3 || waited.Group == nil || waited.Group.ClockS > -9 {
		t.Errorf("before the gun: %s, %.1f s, %+v", waited.Stage, waited.GunInS, waited.Group)
	}
	if g := rode.Group; g == nil || len(g.Riders) != 3 || !g.GunSet || math.Abs(g.ClockS-300) > 0.3 || math.Abs(rode.ClockS-300) > 0.3 || !g.Keep || g.Extra > 0.5 || g.Shelter < 0.99 {
		t.Errorf("at five minutes: %+v", g)
	}
	c, ok := r.Recording.Company()
	if !ok || c.HelpedS < 300 || c.HelpShare > 0.6 || c.Shelter < 0.98 {
		t.Errorf("recorded: %+v, %v", c, ok)
	}
	for words, want := range map[string]int{"keeps the group together": 1, "breathe": 1, "host is not heard": 1, "is heard again": 1} {
		if n := marked(r, words); n < want || words != "keeps the group together" && n != want {
			t.Errorf("%q is marked %d times", words, n)
		}
	}
	if last := helped.told[len(helped.told)-1]; last.Stage != bunch.Home || !core.Snapshot().Group.Riders[2].You {
		t.Errorf("the group hears last %+v", last)
	}
	without, _, _ := inPack(t, courseSetup(ride.Controlling), alone, nil, nil)
	a, b := r.Recording.Totals(""), without.Recording.Totals("")
	if a.Moving > b.Moving-15 {
		t.Errorf("with help in %.0f s, without in %.0f s", a.Moving, b.Moving)
	}
	if c, _ := without.Recording.Company(); c.HelpedS != 0 || c.Shelter != 1 {
		t.Errorf("nobody near, nobody helped: %+v", c)
	}
}

// TestBroughtUp: the place moves, the distance does not.
func TestBroughtUp(t *testing.T) {
	p := &pack{gun: start.Add(10 * time.Second), speeds: []float64{11, 12}}
	ordered := 0.0
	r, records, core := inPack(t, courseSetup(ride.Controlling), p, nil, func(c *ride.Core) {
		if s := c.Snapshot(); s.ClockS > 120 && p.order.N == 0 {
			p.order = bunch.Order{N: 7, ToM: 900}
		} else if s.ClockS > 125 && ordered == 0 {
			ordered = s.Course.AtM - 11*s.ClockS
			if p.told[len(p.told)-1].Brought != 7 {
				t.Error("the host does not hear that it is done")
			}
		}
	})
	if math.Abs(ordered) > 100 {
		t.Errorf("%.0f m from the last rider after being brought up", ordered)
	}
	c, _ := r.Recording.Company()
	total := r.Recording.Totals("")
	end := core.Snapshot().Course.AtM
	if c.BroughtM < 200 || math.Abs(total.DistanceM+c.BroughtM-end) > 12 || marked(r, "brought you up") != 1 {
		t.Errorf("at %.0f m, distance %.0f m, brought up %.0f m", end, total.DistanceM, c.BroughtM)
	}
	sum := 0.0
	for _, l := range r.Recording.Laps("") {
		sum += l.DistanceM
	}
	if math.Abs(sum-total.DistanceM) > 1 {
		t.Errorf("laps come to %.0f m, the ride to %.0f m", sum, total.DistanceM)
	}
	// A ride gone on with knows it, and what it is in.
	cut := records[:len(records)*2/3]
	read, err := ride.ReadRecords(cut, true)
	if err != nil {
		t.Fatal(err)
	}
	again, err := read.Resume(sensor.NewHub(nil), start.Add(time.Duration(read.Recording.End()*1e9)))
	if err != nil {
		t.Fatal(err)
	}
	if g := again.Setup().Group; g == nil || g.ID != "g" {
		t.Errorf("gone on with outside its group: %+v", g)
	}
	again.Join(p)
	again.Tick(start.Add(time.Duration(read.Recording.End()*1e9) + time.Second))
	if s := again.Snapshot(); s.Group == nil || s.Course.AtM < 1000 {
		t.Errorf("gone on with at %.0f m, %+v", s.Course.AtM, s.Group)
	}
	var last string
	for _, b := range again.Effects().Records {
		if strings.Contains(string(b), `"k":"s"`) {
			last = string(b)
		}
	}
	if !strings.Contains(last, `"brought":`) {
		t.Errorf("what was brought up is forgotten: %s", last)
	}
}

// TestLateForTheGun: somebody who comes after the gun begins at the line with
// their first stroke, on their own clock; before it nobody begins by key.
func TestLateForTheGun(t *testing.T) {
	p := &pack{gun: start.Add(-130 * time.Second), speeds: []float64{9}}
	var first ride.Snapshot
	r, _, _ := inPack(t, courseSetup(ride.Controlling), p, nil, func(c *ride.Core) {
		if s := c.Snapshot(); first.Stage == "" && s.Stage == ride.Riding {
			first = s
		}
	})
	if first.ClockS > 1 || first.Course.AtM > 10 || first.Group.ClockS < 130 {
		t.Errorf("begins at %.1f s of their own clock, %.0f m, %.0f s of the group's", first.ClockS, first.Course.AtM, first.Group.ClockS)
	}
	if marked(r, "The group left 2:1") != 1 {
		t.Error("it is not said how late that was")
	}
	s := courseSetup(ride.Controlling)
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		t.Fatal(err)
	}
	core.Join(&pack{gun: start.Add(time.Hour)})
	core.Tick(start.Add(time.Second))
	core.Tick(start.Add(2 * time.Second))
	if why := core.Key(ride.Key{Kind: ride.KeyStart}, start.Add(3*time.Second)); !strings.Contains(why, "begins in") {
		t.Errorf("before the gun: %q", why)
	}
	if why := core.Key(ride.Key{Kind: ride.KeyCount, Value: 3}, start.Add(3*time.Second)); why == "" {
		t.Error("a rider counted down for themselves")
	}
	for _, v := range []float64{-1, 0.5, math.NaN(), float64(len(ride.Phrases))} {
		if why := core.Key(ride.Key{Kind: ride.KeyPhrase, Value: v}, start.Add(4*time.Second)); why == "" {
			t.Errorf("phrase %v was said", v)
		}
	}
	if why := core.Key(ride.Key{Kind: ride.KeyPhrase, Value: 1}, start.Add(4*time.Second)); why != "" {
		t.Error(why)
	}
}

// TestPlanMadeAnewInAGroup: the rest is made anew in shelter as well, ends
// where the course does, and the finish comes nearer to what is ridden.
func TestPlanMadeAnewInAGroup(t *testing.T) {
	s := hilly(t, 215)
	s.Begun = start
	p := &pack{gun: start.Add(10 * time.Second), speeds: []float64{30}, keep: true} // far ahead: all the help there is
	made, finish := 0, 0.0
	r, _, core := inPack(t, s, p, s.Course.Solver(), func(c *ride.Core) {
		x := c.Snapshot()
		made = x.Plan
		if x.Course.AtM > 5500 && finish == 0 {
			finish = x.Course.FinishS
		}
	})
	end := core.Snapshot()
	if !r.Ended || end.Course.AtM < s.Course.Profile.Length()-1 || made == 0 {
		t.Errorf("ended %v at %.0f m, %d plans", r.Ended, end.Course.AtM, made)
	}
	cues := core.Setup().Course.Cues
	if last := cues[len(cues)-1].ToM; math.Abs(last-s.Course.Profile.Length()) > 1 {
		t.Errorf("the last plan ends at %.0f m", last)
	}
	if took := end.ClockS; math.Abs(finish-took) > 0.1*took {
		t.Errorf("a kilometre before the line the finish was forecast at %.0f s, it was at %.0f s", finish, took)
	}
}
