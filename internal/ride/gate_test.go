package ride_test

import (
	"flag"
	"math"
	"math/rand/v2"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/sensor"
)

var all = flag.Bool("all", false, "run the property tests in full, as make evidence does")

// TestGateProperties drives the gate with random wishes at random times. In
// full it is a million sequences of 50 to 80 events.
func TestGateProperties(t *testing.T) {
	sequences := 20_000
	if *all {
		sequences = 1_000_000
	}
	for n := range sequences {
		if why := gateSequence(rand.New(rand.NewPCG(5, uint64(n)))); why != "" {
			t.Fatalf("sequence %d: %s", n, why)
		}
	}
	t.Logf("%d sequences", sequences)
}

// gateSequence is one random life of a gate; it answers what went wrong.
func gateSequence(r *rand.Rand) string {
	limits := ride.DefaultLimits().ForRider(200+r.Float64()*1500, 0)
	g := ride.Gate{Limits: limits, Listening: r.IntN(20) == 0}
	now := start
	var last sensor.Command
	var lastAt time.Time
	told := false
	want := wish(r)
	for range 50 + r.IntN(31) {
		now = now.Add(time.Duration(r.Float64() * r.Float64() * float64(2*time.Second)))
		if r.IntN(6) == 0 {
			want = wish(r)
		}
		if r.IntN(40) == 0 {
			g.Forget()
			told = false
		}
		stale := r.IntN(4) == 0
		out, ok := g.Pass(want, now, stale)
		if !ok {
			continue
		}
		if g.Listening {
			return "a command passed while listening only"
		}
		if why := within(limits, out); why != "" {
			return why
		}
		value, easy, rise := valueOf(limits, out)
		if !told || out.Kind != last.Kind {
			if value > easy {
				return "the first command on a link is not easy"
			}
			if told && stale {
				return "another kind of command passed while stale"
			}
		} else {
			before, _, _ := valueOf(limits, last)
			if stale && value > before {
				return "raised while stale"
			}
			if most := before + rise*math.Min(1, now.Sub(lastAt).Seconds()) + 1e-9; value > most {
				return "rose faster than the limit"
			}
		}
		last, lastAt, told = out, now, true
	}
	return ""
}

func wish(r *rand.Rand) sensor.Command {
	odd := []float64{math.NaN(), math.Inf(1), math.Inf(-1), -1e9, 1e9}
	pick := func(v float64) float64 {
		if r.IntN(15) == 0 {
			return odd[r.IntN(len(odd))]
		}
		return v
	}
	return sensor.Command{Kind: sensor.CommandKind(1 + r.IntN(3)), Watts: pick(r.Float64() * 1500), Gradient: pick(r.Float64()*0.6 - 0.3), Level: pick(r.Float64() * 2)}
}

func within(l ride.Limits, c sensor.Command) string {
	switch c.Kind {
	case sensor.TargetPower:
		if !(c.Watts >= 0 && c.Watts <= l.MostWatts) {
			return "watts beyond the cap"
		}
	case sensor.TargetGradient:
		if !(c.Gradient >= l.LeastGrade && c.Gradient <= l.MostGradient) {
			return "gradient beyond the cap"
		}
	default:
		if !(c.Level >= 0 && c.Level <= l.MostLevel) {
			return "level beyond the cap"
		}
	}
	return ""
}

func valueOf(l ride.Limits, c sensor.Command) (value, easy, rise float64) {
	switch c.Kind {
	case sensor.TargetPower:
		return c.Watts, l.EasyWatts, l.RiseWatts
	case sensor.TargetGradient:
		return c.Gradient, 0, l.RiseGradient
	default:
		return c.Level, l.EasyLevel, l.RiseLevel
	}
}

// TestFallTakesAtMostTwoSeconds holds for calls four times a second, as the
// engine makes them, also where the wish sinks again during the fall.
func TestFallTakesAtMostTwoSeconds(t *testing.T) {
	for _, from := range []float64{100, 300, 800} {
		for _, to := range []float64{0, 50, 90} {
			g := ride.Gate{Limits: ride.DefaultLimits()}
			now := start
			value := 0.0
			for value < from {
				now = now.Add(250 * time.Millisecond)
				if c, ok := g.Pass(sensor.Command{Kind: sensor.TargetPower, Watts: from}, now, false); ok {
					value = c.Watts
				}
			}
			began, biggest := now, 0.0
			for value > to {
				now = now.Add(250 * time.Millisecond)
				if c, ok := g.Pass(sensor.Command{Kind: sensor.TargetPower, Watts: to}, now, true); ok {
					biggest = math.Max(biggest, value-c.Watts)
					value = c.Watts
				}
				if now.Sub(began) > 2*time.Second {
					t.Fatalf("from %.0f to %.0f W: still %.0f W after two seconds", from, to, value)
				}
			}
			if biggest > 0.4*(from-to)+1 {
				t.Errorf("from %.0f to %.0f W fell by %.0f W at once: a step", from, to, biggest)
			}
		}
	}
}

func TestGateSaysTheSameAgainOnlyNowAndThen(t *testing.T) {
	g := ride.Gate{Limits: ride.DefaultLimits()}
	now, sent := start, 0
	for range 240 { // a minute of four a second
		now = now.Add(250 * time.Millisecond)
		if _, ok := g.Pass(sensor.Command{Kind: sensor.TargetPower, Watts: 50}, now, false); ok {
			sent++
		}
	}
	if sent < 6 || sent > 7 {
		t.Errorf("sent %d times in a minute, want about every ten seconds", sent)
	}
}
