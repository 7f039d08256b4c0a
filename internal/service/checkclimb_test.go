package service_test

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/recording"
	"chainline/rig"
)

// twoFiles are forty minutes that two devices recorded: crank shows gain times
// what the hub shows, with 3 % noise each.
func twoFiles(gain float64) (crank, hub *recording.Recording) {
	rnd := rand.New(rand.NewPCG(11, 3))
	make1 := func(gain float64) *recording.Recording {
		r := &recording.Recording{Title: "Evening", StartUnix: 1.7e9, Sport: "indoor cycling", Whole: true}
		p := recording.Channel{Quantity: recording.Power, Source: "recorded"}
		c := recording.Channel{Quantity: recording.Cadence, Source: "recorded"}
		for i := range 2400 {
			watts := 120 + 40*float64(i/120%5)
			p.Seconds, p.Values = append(p.Seconds, float64(i)), append(p.Values, math.Round(gain*watts*(1+0.03*rnd.NormFloat64())))
			c.Seconds, c.Values = append(c.Seconds, float64(i)), append(c.Values, 85+2*rnd.NormFloat64())
		}
		r.Channels = append(r.Channels, p, c)
		return r
	}
	return make1(gain / 0.976), make1(1)
}

// steepClimb took some 231 W at the crank, and 4 % more were shown.
func steepClimb(source string) input.ClimbFile {
	return input.ClimbFile{Source: source, Place: rig.SourceCrank, Mass: 80, MassSD: 0.4, Ascent: 400, AscentSD: input.Some(2.0), Length: 4000, Duration: 1500, Watts: 231 * 1.04, Temperature: 15, Height: 500, Wind: "calm"}
}

// Two meters that disagree cannot both be right, and nothing says which
// one is; a climb that the one went up does.
func TestClimbEndsADisagreement(t *testing.T) {
	crank, hub := twoFiles(1.04)
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{{Recording: crank, Name: "Crank.fit"}, {Recording: hub, Name: "watch.fit"}}}
	q.Brief.Rider, q.Brief.Rig = "", ""
	before, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	q.Climbs, q.StrictNames = []input.ClimbFile{steepClimb("crank.fit")}, true
	in := service.CheckInputOf(t, q)
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil {
		t.Fatal(err)
	}
	decided := func(s service.CheckSheet) string {
		var all []string
		for _, v := range s.Verdicts {
			all = append(all, v.Source+": "+v.Verdict)
		}
		return strings.Join(all, "; ")
	}
	if got := decided(before); strings.Contains(got, "use as it is") || strings.Contains(got, "use corrected") {
		t.Errorf("without a climb %s", got)
	}
	if got := decided(sheet); !strings.Contains(got, "recorded: use corrected") {
		t.Errorf("with a climb %s", got)
	}
	if v := sheet.Verdicts[0]; v.Error == nil || math.Abs(v.Error.Mean-0.04) > 0.02 || v.ErrorSD > 0.02 {
		t.Errorf("the error told is %+v", v)
	}
	if len(in.Outdoors) != 1 {
		t.Fatalf("%+v", in.Outdoors)
	}
	c := in.Outdoors[0]
	if c.Source != "recorded" || !c.AtCrank || c.WindSD != 0.5 || c.AscentSD != 2 || c.CdA <= 0 || c.MassKg != 80 || in.Side["recorded"] != rig.SourceCrank {
		t.Errorf("%+v %v", c, in.Side)
	}
}

// What is told of a source that is not there is an error, or stands in the
// report; it is never put on another one.
func TestToldOfNoSource(t *testing.T) {
	crank, hub := twoFiles(1)
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{{Recording: crank, Name: "crank.fit"}, {Recording: hub}}}
	q.Brief.Rider, q.Brief.Rig = "", ""
	nowhere := steepClimb("recorded")
	nowhere.Place = rig.SourceNone
	for says, climb := range map[string]input.ClimbFile{
		"no such source of watts here; there are: recorded, recorded (other file)": steepClimb("pedals"),
		"where the meter that went up the climb measures was not told":             nowhere,
	} {
		q.Climbs = []input.ClimbFile{climb}
		q.StrictNames = false
		sheet, err := service.CheckRig(t.Context(), q)
		if err != nil {
			t.Fatal(err)
		}
		told := false
		for _, u := range sheet.Unsaid {
			told = told || strings.Contains(u.Because, says)
		}
		if !told {
			t.Errorf("%q is not in %+v", says, sheet.Unsaid)
		}
		q.StrictNames = true
		if _, err := service.CheckRig(t.Context(), q); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%q: %v", says, err)
		}
	}
}

func TestOneLegAndFlywheel(t *testing.T) {
	crank, hub := twoFiles(1)
	q := service.CheckRequest{Brief: checkFiles(), Looks: []service.CheckLook{{Recording: crank}, {Recording: hub}}, OneLeg: []string{"Recorded (other file)"}, FlywheelKg: 12, StrictNames: true}
	in := service.CheckInputOf(t, q)
	if !in.OnlyLeft["recorded (other file)"] || len(in.OnlyLeft) != 1 || in.FlywheelInertia != 12 || math.Abs(in.FlywheelSD-1.2) > 1e-9 {
		t.Errorf("%v %g %g", in.OnlyLeft, in.FlywheelInertia, in.FlywheelSD)
	}
	q.FlywheelSD = 0.3
	if in := service.CheckInputOf(t, q); in.FlywheelSD != 0.3 {
		t.Errorf("%g", in.FlywheelSD)
	}
	for says, bad := range map[string][2]float64{"expected 0.1 to 200": {-3, 0}, "expected 0.1 to 200 ": {0, 2}, "expected 0 to the inertia": {4, 5}} {
		q.FlywheelKg, q.FlywheelSD = bad[0], bad[1]
		if _, err := service.CheckRig(t.Context(), q); err == nil || !strings.Contains(err.Error()+" ", says) {
			t.Errorf("%v: %v", bad, err)
		}
	}
}
