package rig

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/recording"
)

// rundown is a wheel of m kg at the rim that runs down from 11 m/s after 20 s
// under force a + b·v², with noise, by plain steps.
func rundown(m, a, b float64, r *rand.Rand) CheckInput {
	speed := recording.Channel{Quantity: recording.WheelSpeed, Source: "speed"}
	cadence := recording.Channel{Quantity: recording.Cadence, Source: "cadence"}
	v := 11.0
	for i := range 16000 {
		s := float64(i) * 0.01
		if s > 20 {
			v = max(0, v-0.01*(a+b*v*v)/m)
		}
		if i%50 == 25 {
			speed.Seconds, speed.Values = append(speed.Seconds, s), append(speed.Values, v*(1+0.002*r.NormFloat64()))
		}
		if i%100 == 0 {
			rpm := 85.0
			if s >= 20 {
				rpm = 0
			}
			cadence.Seconds, cadence.Values = append(cadence.Seconds, s), append(cadence.Values, rpm)
		}
	}
	return CheckInput{Recording: &recording.Recording{Channels: []recording.Channel{speed, cadence}, Used: map[recording.Quantity]string{}}}
}

func TestCoastDown(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 1))
	in := rundown(20, 8, 0.2, r)
	now := coastsOf(in)
	if len(now) != 1 || now[0].FromMS != 8 || now[0].ToMS != 4 {
		t.Fatalf("%+v", now)
	}
	// ∫ m dv/(a + b·v²) = m/√(ab)·(atan(v₁·√(b/a)) − atan(v₂·√(b/a))).
	k := math.Sqrt(0.2 / 8)
	want := 20 / math.Sqrt(8*0.2) * (math.Atan(8*k) - math.Atan(4*k))
	near(t, "seconds", now[0].Seconds, want, 0.15)
	if f, u := coastFindings(in); len(f) != 0 || len(u) != 2 || !strings.Contains(u[0].Because, "no earlier") {
		t.Errorf("nothing before: %+v %+v", f, u)
	}
	for day := range 6 {
		in.Coasts = append(in.Coasts, PastCoast{Day: float64(day), FromMS: 8, ToMS: 4, Seconds: want * (1 + 0.02*r.NormFloat64())})
	}
	if f, u := coastFindings(in); len(f)+len(u) != 0 {
		t.Errorf("the same as ever: %+v %+v", f, u)
	}
	for i := range in.Coasts {
		in.Coasts[i].Seconds *= 1.4
	}
	f, _ := coastFindings(in)
	if len(f) != 1 || f[0].Low95 > 1/1.4-1 || f[0].High95 < 1/1.4-1 || !strings.Contains(f[0].What, "shorter") {
		t.Errorf("a softer tyre: %+v", f)
	}
}

func TestCurveFromCoasts(t *testing.T) {
	in := rundown(20, 8, 0.2, rand.New(rand.NewPCG(5, 2)))
	if _, err := curveFromCoasts(in); err == nil {
		t.Error("without inertia: accepted")
	}
	in.FlywheelInertia, in.FlywheelSD = 20, 0.4
	c, err := curveFromCoasts(in)
	if err != nil {
		t.Fatal(err)
	}
	for _, v := range []float64{4, 6, 8} {
		near(t, "watts", c.Watts(v)/(8*v+0.2*v*v*v), 1, 0.03)
	}
}
