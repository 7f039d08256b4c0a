package rig

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/recording"
)

// borrowed is a ride on a plain trainer of 8·v + 0.2·v³ watts with a meter on
// loan: cold it takes a tenth more.
func borrowed(minutes int, r *rand.Rand) (power, speed recording.Channel) {
	power = recording.Channel{Quantity: recording.Power, Source: "borrowed"}
	speed = recording.Channel{Quantity: recording.WheelSpeed, Source: "speed"}
	v := 6.0
	for i := range 60 * minutes {
		target := 5 + float64(i/60*7%5)
		v += (target - v) / 4
		s := float64(i)
		w := (8*v + 0.2*v*v*v) * (1 + 0.1*math.Exp(-s/240)) * (1 + 0.03*r.NormFloat64())
		if i%97 == 0 {
			w += 400
		}
		speed.Seconds, speed.Values = append(speed.Seconds, s+0.3), append(speed.Values, v*(1+0.003*r.NormFloat64()))
		power.Seconds, power.Values = append(power.Seconds, s+0.9), append(power.Values, math.Round(w))
	}
	return power, speed
}

func TestCurveFromBorrowedMeter(t *testing.T) {
	power, speed := borrowed(30, rand.New(rand.NewPCG(6, 1)))
	c, err := fitCurve(power, speed, 0.01)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{5.2, 6, 7, 8, 8.8} {
		if !c.Covers(v) {
			t.Errorf("%v m/s was ridden and is not covered", v)
		}
		near(t, "watts", c.Watts(v)/(8*v+0.2*v*v*v), 1, 0.015)
	}
	if c.Covers(12) || c.Covers(3) || c.SD < 0.01 || c.SD > 0.03 || !strings.Contains(c.From, "warm") {
		t.Errorf("range, doubt or origin: %v %q", c.SD, c.From)
	}
	power, speed = borrowed(10, rand.New(rand.NewPCG(6, 2)))
	if _, err := fitCurve(power, speed, 0.01); err == nil {
		t.Error("never warm: accepted")
	}
}

func TestTypedTable(t *testing.T) {
	power, speed := borrowed(30, rand.New(rand.NewPCG(6, 3)))
	in := CheckInput{Recording: &recording.Recording{Channels: []recording.Channel{power, speed}, Used: map[recording.Quantity]string{}}}
	in.Rig.Trainer.Kind = Plain
	table := func(gain float64) (rows []Point) {
		for v := 3.0; v < 12; v++ {
			rows = append(rows, Point{v, gain * (8*v + 0.2*v*v*v)})
		}
		return rows
	}
	in.Rig.Trainer.Curve = curve(t, table(1)...)
	fitted, f, u := curveFindings(in)
	if fitted == nil || len(f)+len(u) != 0 {
		t.Fatalf("a right table: %v %+v %+v", fitted, f, u)
	}
	in.Rig.Trainer.Curve = curve(t, table(1.3)...)
	if _, f, _ = curveFindings(in); len(f) != 1 || f[0].Low95 > 0.3 || f[0].High95 < 0.3 {
		t.Fatalf("a table 30 %% high: %+v", f)
	}
	in.Rig.Trainer.Curve = curve(t, table(10)...)
	if _, f, _ = curveFindings(in); len(f) != 1 || !strings.Contains(f[0].What, "cannot be right") {
		t.Fatalf("a digit too many: %+v", f)
	}
}
