package rig

import (
	"math"
	"strings"
	"testing"
)

func steep() Climbed {
	return Climbed{Source: "meter", MassKg: 80, MassSD: 0.4, AscentM: 400, AscentSD: 2, LengthM: 5000, Seconds: 1500, MeanWatts: 260,
		WindSD: 0.5, CdA: 0.35, CdASD: 0.03, Crr: 0.005, CrrSD: 0.0005, TemperatureC: 15, AltitudeM: 500, SpeedBeginMS: 3.3, SpeedEndMS: 3.3}
}

func TestClimbTruth(t *testing.T) {
	c := steep()
	w, err := climbTruth(c)
	if err != nil {
		t.Fatal(err)
	}
	// By hand: lifting 80·9.80665·400/1500 = 209.21 W; rolling 0.005·80·g·cos·3.333 = 13.03 W;
	// air ½·1.155·0.35·37.04 = 7.49 W, 3 % more for uneven speed; bearings 0.40 W.
	near(t, "watts", w.Mean, 209.21+13.03+7.71+0.40, 0.15)
	if w.SD < 1.2 || w.SD > 3.5 {
		t.Errorf("sd %v", w.SD)
	}
	c.AtCrank = true
	crank, err := climbTruth(c)
	if err != nil {
		t.Fatal(err)
	}
	near(t, "at the crank", crank.Mean, w.Mean/0.976, 1e-9)
	if crank.SD <= w.SD {
		t.Error("the drivetrain's doubt is missing")
	}
}

func TestClimbFindings(t *testing.T) {
	c := steep()
	truth, err := climbTruth(c)
	if err != nil {
		t.Fatal(err)
	}
	c.MeanWatts = truth.Mean * 1.01
	if f, u := climbFindings(CheckInput{Outdoors: []Climbed{c}}); len(f)+len(u) != 0 {
		t.Errorf("1 %% within its doubt: %+v %+v", f, u)
	}
	c.MeanWatts = truth.Mean * 1.08
	f, _ := climbFindings(CheckInput{Outdoors: []Climbed{c}, Threshold: 250})
	if len(f) != 1 || f[0].Subject != AgainstPhysics || f[0].Low95 > 0.08 || f[0].High95 < 0.08 {
		t.Fatalf("8 %%: %+v", f)
	}
	near(t, "watts at threshold", f[0].Watts.Mean, 20, 0.1)
}

func TestClimbIsNoJudge(t *testing.T) {
	for want, change := range map[string]func(*Climbed){
		"no judge":     func(c *Climbed) { c.AscentM = 100 },
		"expected":     func(c *Climbed) { c.MassKg = math.NaN() },
		"rises":        func(c *Climbed) { c.AscentM = 4999; c.LengthM = 4999 },
		"too doubtful": func(c *Climbed) { c.MassSD = 10 },
		"into height":  func(c *Climbed) { c.Seconds = 500; c.AscentM = 210; c.WindSD = 0; c.CdASD = 0 },
	} {
		c := steep()
		change(&c)
		if _, err := climbTruth(c); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("want %q, got %v", want, err)
		}
		if _, u := climbFindings(CheckInput{Outdoors: []Climbed{c}}); len(u) != 1 {
			t.Errorf("%s: not said", want)
		}
	}
}
