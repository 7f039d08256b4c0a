package brief

import (
	"math"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/pacing"
	"chainline/rig"
	"chainline/room"
)

// A hot closed room costs power: the plan asks for less, the finish is later,
// and a fan is worth seconds; in a cool room with one it is worth what would be
// lost without.
func TestRoomCostsAndFansAreWorthSeconds(t *testing.T) {
	q := sample()
	q.Draws = 200
	q.Room = room.Room{Temperature: 17, TemperatureKnown: true, Humidity: 0.4, HumidityKnown: true, Openings: room.DoorAndWindowOpen,
		Fans: []room.Fan{{Count: 1, Kind: room.Floor, Distance: 1, Setting: room.High}}}
	cool := made(t, q)
	q.Room = room.Room{Temperature: 30, TemperatureKnown: true, Humidity: 0.7, HumidityKnown: true, Openings: room.Closed}
	hot := made(t, q)
	if !(hot.Plan.MeanWatts < cool.Plan.MeanWatts-3 && hot.Forecast.Median > cool.Forecast.Median+10) {
		t.Errorf("hot: %.0f W and %.0f s, cool: %.0f W and %.0f s", hot.Plan.MeanWatts, hot.Forecast.Median, cool.Plan.MeanWatts, cool.Forecast.Median)
	}
	if hot.Rider.CriticalPower != cool.Rider.CriticalPower {
		t.Error("the rider's critical power is that of a cool room in both")
	}
	if !strings.Contains(strings.Join(hot.Warnings, " "), "allows for the heat") || strings.Contains(strings.Join(cool.Warnings, " "), "allows for the heat") {
		t.Errorf("warnings %q and %q", hot.Warnings, cool.Warnings)
	}
	fan, have := find(hot, "put a fan"), find(cool, "have the fan on")
	if fan == nil || fan.AlreadyDone || fan.Seconds < 5 || fan.Low80 < 0 || fan.High80 < fan.Seconds {
		t.Errorf("a fan in a hot room: %+v", fan)
	}
	if have != nil && (!have.AlreadyDone || have.Seconds >= fan.Seconds) {
		t.Errorf("the fan in a cool room: %+v", have)
	}
	if r := hot.Room; !r.Known || r.MetabolicHeatW < 500 || r.SweatLPerH.Mean < 0.5 || r.FluidHigh > r.SweatLPerH.Mean*hot.Forecast.Median/3600 || r.EndTemperature.Mean <= 30 {
		t.Errorf("hot room: %+v", r)
	}
}

func find(b Brief, what string) *Worth {
	for i := range b.Worth {
		if strings.HasPrefix(b.Worth[i].What, what) {
			return &b.Worth[i]
		}
	}
	return nil
}

// What is worth doing is in order, in seconds, and says what it rests on; the
// gain of the cues is the difference of both rides in the same draws.
func TestWorthIsOneList(t *testing.T) {
	q := sample()
	q.Draws = 200
	b := made(t, q)
	if len(b.Worth) < 3 {
		t.Fatalf("only %d things: %+v", len(b.Worth), b.Worth)
	}
	for _, w := range b.Worth {
		if w.Why == "" || w.What == "" || w.Low80 > w.Seconds+1e-9 || w.High80 < w.Seconds-1e-9 {
			t.Errorf("%+v", w)
		}
		if w.Seconds < leastWorth && w.NarrowsFromS-w.NarrowsToS < leastWorth {
			t.Errorf("not worth a line: %+v", w)
		}
	}
	cues := find(b, "ride the cues")
	if cues == nil || math.Abs(cues.Seconds-(b.Plan.EvenTime-b.Plan.Time)) > 0.25*(b.Plan.EvenTime-b.Plan.Time)+2 {
		t.Errorf("cues are worth %+v; on the mean road even power takes %.1f s, the plan %.1f s", cues, b.Plan.EvenTime, b.Plan.Time)
	}
	if test := find(b, "find out more"); test == nil || !(test.NarrowsToS < test.NarrowsFromS) || test.Seconds <= 0 {
		t.Errorf("a test is worth %+v", test)
	}
	q.Stated = &Stated{CriticalPower: 240, WPrime: 18000, PowerLimit: 1000}
	if s := made(t, q); s.Worth != nil || s.Room.Known || s.WarmUp.Steps != nil || s.NextTest.What != "" {
		t.Errorf("a stated capacity has a room, a warm-up or a list: %+v", s.Worth)
	}
}

// Better evidence narrows, and the next test follows from what is there; a
// maximal one only after a screening.
func TestNextTestInTheBrief(t *testing.T) {
	q := sample()
	q.Draws = 60
	q.Rider.Evidence = nil
	wide := made(t, q)
	if !wide.NextTest.Recommended || !wide.NextTest.Maximal || wide.Rider.Next != wide.NextTest.Sentence || wide.NextTest.Seconds <= 0 {
		t.Errorf("no evidence: %+v", wide.NextTest)
	}
	q.Rider.Screened = false
	if n := made(t, q).NextTest; n.Maximal || !n.Recommended || !strings.Contains(n.Sentence, "health screening") {
		t.Errorf("unscreened: %+v", n)
	}
	q = sample()
	q.Draws = 60
	if n := made(t, q).NextTest; n.SDNow >= wide.NextTest.SDNow {
		t.Errorf("a threshold does not narrow: %.1f W, without %.1f W", n.SDNow, wide.NextTest.SDNow)
	}
}

// A sketch too has its list, and a trainer of which nothing is known its table.
func TestSketchHasItsList(t *testing.T) {
	q := sample()
	q.Draws = 60
	q.Way = Way{Name: "sketch", Known: "sketch", Laps: 1, Sketch: &course.Sketch{Distance: 21400, Ascent: 310}}
	q.Rig = rig.Rig{Trainer: rig.Trainer{Kind: rig.Plain}, HeartRate: true, SpeedSensor: true}
	b := made(t, q)
	if w := find(b, "type in the maker's table"); w == nil || !(w.NarrowsToS < 0.7*w.NarrowsFromS) {
		t.Errorf("the table is worth %+v of %+v", w, b.Worth)
	}
	if b.NextTest.Maximal && !strings.Contains(b.NextTest.What, "hill") {
		t.Errorf("a test by watts where none are shown: %+v", b.NextTest)
	}
}

// A minor is asked for nothing all-out and reads nothing about maximal tests
// but that there are none.
func TestMinorsAreSpared(t *testing.T) {
	q := sample()
	q.Draws = 60
	q.Rider.Age = 15
	q.Rider.Evidence = []capacity.Evidence{{Kind: capacity.BestEffort, Duration: 1200, Watts: 220, Source: "hub", Date: "now"}}
	b := made(t, q)
	text := strings.Join(append(append([]string{b.Rider.Next, b.NextTest.Sentence, b.WarmUp.Why}, b.Warnings...), b.Cautions...), " ")
	if n := strings.Count(text, "aximal test"); n != strings.Count(text, "no maximal tests") {
		t.Errorf("a minor reads %q", text)
	}
	for _, w := range b.Worth {
		if strings.Contains(w.What, "a maximal") {
			t.Errorf("a minor is told %q", w.What)
		}
	}
	for _, c := range b.Plan.Cues {
		if c.Watts > b.Rider.CriticalPower.Mean*1.35 || c.Exertion >= 19 {
			t.Errorf("cue %d asks a minor for %.0f W, exertion %d", c.Number, c.Watts, c.Exertion)
		}
	}
	for _, s := range b.WarmUp.Steps {
		if s.Watts > b.Rider.CriticalPower.Mean {
			t.Errorf("the warm-up asks a minor for %.0f W", s.Watts)
		}
	}
}

// The warm-up reaches the gun with W′ back.
func TestWarmUpEndsAtTheGun(t *testing.T) {
	q := sample()
	q.Draws = 60
	q.Occasion = Occasion{Kind: MassStart, PenS: 300, HasClock: true, StartClock: 19*60 + 30}
	w := made(t, q).WarmUp
	if len(w.Steps) < 3 || w.BalanceAtGun < 0.95 || w.LastHardS < 300 || w.LastHardS > 480 {
		t.Fatalf("%+v", w)
	}
	last := w.Steps[len(w.Steps)-1]
	if math.Abs(last.StartS+last.DurationS) > 1e-9 || len(w.CoolDown) == 0 || w.Timeline[0].Clock == "" {
		t.Errorf("%+v", w)
	}
}

// A reserve that cannot be kept is said to be cut, and a plan that overspends
// claims no gain.
func TestImpossibleWishesAreSaid(t *testing.T) {
	q := sample()
	q.Draws, q.ReserveJ = 60, 60000
	if b := made(t, q); !strings.Contains(strings.Join(b.Warnings, " "), "you want to keep back") {
		t.Errorf("warnings %q", b.Warnings)
	}
	q = sample()
	q.Draws, q.Given = 60, []pacing.Piece{{From: 0, To: 10000, Watts: 330}}
	if b := made(t, q); b.Plan.Kept != 0 || !strings.Contains(strings.Join(b.Warnings, " "), "Nobody can ride it") {
		t.Errorf("an overspending plan keeps %.2f of the gain: %q", b.Plan.Kept, b.Warnings)
	}
}
