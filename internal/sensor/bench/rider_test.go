package bench

import (
	"math"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

// emptyBy rides target power until the rider's W′ is gone.
func emptyBy(t *testing.T, watts float64) *talk {
	k := begin(t, StandardRig(6)).control()
	k.holds(watts)
	for range 1200 {
		if k.ride(time.Second); k.w.Truth().Emptied {
			return k
		}
	}
	t.Fatalf("%v W for 20 minutes did not empty the rider", watts)
	return nil
}

func TestEmptiedRiderAndTheSpiral(t *testing.T) {
	k := emptyBy(t, 330)
	// 20 kJ above 250 W at 330/0.976 W.
	if got, want := k.w.radio.Now().Seconds(), 20_000/(330/0.976-250); math.Abs(got-want) > 25 {
		t.Errorf("emptied after %.0f s, want about %.0f s", got, want)
	}
	before := k.w.Truth()
	k.ride(5 * time.Second)
	after := k.w.Truth()
	if given := (after.Work - before.Work) / 5; given > 252 {
		t.Errorf("emptied, the rider gives %.0f W; critical power is 250 W", given)
	}
	if after.Cadence > before.Cadence-5 {
		t.Errorf("the brake goes on, and the cadence is %.0f rpm after %.0f rpm", after.Cadence, before.Cadence)
	}
	k.ride(20 * time.Second)
	if tr := k.w.Truth(); !tr.GaveUp && tr.Cadence > 40 {
		t.Errorf("no spiral: %+v", tr)
	}
}

func TestEasingEndsTheSpiral(t *testing.T) {
	k := emptyBy(t, 330)
	for k.w.Truth().Cadence > 65 {
		k.ride(100 * time.Millisecond)
	}
	k.holds(150)
	k.ride(30 * time.Second)
	if tr := k.w.Truth(); tr.GaveUp || tr.Cadence < 80 {
		t.Errorf("eased at 65 rpm, and the rider has %.0f rpm, gave up: %v", tr.Cadence, tr.GaveUp)
	}
}

func TestRiderTriesAgain(t *testing.T) {
	k := emptyBy(t, 400)
	k.ride(30 * time.Second)
	k.holds(100)
	k.ride(90 * time.Second)
	if tr := k.w.Truth(); tr.GaveUp || tr.Cadence < 70 {
		t.Errorf("after a rest and at 100 W still not riding: %+v", tr)
	}
}

func TestRiderFollows(t *testing.T) {
	c := PlainTrainer(8)
	c.Rider.Bias, c.Rider.Drift, c.Rider.Reaction = 0.03, 0, 2*time.Second
	k := begin(t, c)
	k.w.Show(Shown{Watts: 100, Pedalling: true})
	k.ride(time.Minute)
	k.w.Show(Shown{Watts: 200, Pedalling: true})
	from := k.w.Truth().Work
	k.ride(1900 * time.Millisecond)
	if got := (k.w.Truth().Work - from) / 1.9; math.Abs(got-103) > 12 {
		t.Errorf("before the rider has reacted %.0f W, want about 103 W", got)
	}
	k.ride(10 * time.Second)
	from = k.w.Truth().Work
	k.ride(10 * time.Minute)
	if got := (k.w.Truth().Work - from) / 600; math.Abs(got-206) > 2 {
		t.Errorf("shown 200 W with a bias of 3 %%, given %.1f W", got)
	}
	k.w.Show(Shown{Watts: 200, Cadence: 70, Pedalling: true})
	k.ride(20 * time.Second)
	if got := k.w.Truth().Cadence; math.Abs(got-70) > 9 {
		t.Errorf("asked for 70 rpm, given %.0f rpm", got)
	}
}

// The balance is that of the capacity model at what the legs really gave.
func TestBalanceFollowsTheLegs(t *testing.T) {
	k := begin(t, steady(9)).control()
	k.holds(300)
	k.ride(20 * time.Second)
	a := k.w.Truth()
	k.ride(time.Minute)
	b := k.w.Truth()
	if spent, want := a.Left-b.Left, b.Work-a.Work-250*60; math.Abs(spent-want) > 1 {
		t.Errorf("spent %.1f J, want %.1f J", spent, want)
	}
	k.holds(120)
	k.ride(20 * time.Second)
	a = k.w.Truth()
	k.ride(2 * time.Minute)
	b = k.w.Truth()
	deficit := 250 - (b.Work-a.Work)/120
	if got, want := 20_000-b.Left, (20_000-a.Left)*math.Exp(-deficit/20_000*120); math.Abs(got-want) > 5 {
		t.Errorf("after two minutes at %.1f W below critical power %.0f J are missing, want %.0f J", deficit, got, want)
	}
}

func TestHeart(t *testing.T) {
	k := begin(t, StandardRig(10)).control()
	k.holds(100)
	k.ride(8 * time.Minute)
	from := k.w.Truth().Heart
	k.holds(220)
	k.ride(time.Duration(onset * float64(time.Second)))
	one := k.w.Truth().Heart
	k.ride(5 * time.Minute)
	all := k.w.Truth().Heart
	if share := (one - from) / (all - from); math.Abs(share-0.63) > 0.07 {
		t.Errorf("after one time constant %.2f of the way from %.0f to %.0f, want about 0.63", share, from, all)
	}
	k.holds(190)
	k.ride(5 * time.Minute)
	early := k.w.Truth().Heart
	k.ride(50 * time.Minute)
	if late := k.w.Truth().Heart; late < early+2 || late > early+15 {
		t.Errorf("at the same power %.1f, then 50 minutes later %.1f beats per minute: no drift, or too much", early, late)
	}
	var sum float64
	var n int
	for _, e := range k.events[len(k.events)/2:] {
		if e.Char != gatt.HeartRateMeasurement {
			continue
		}
		h, err := gatt.DecodeHeartRate(e.Bytes)
		if err != nil || h.Contact != gatt.ContactDetected {
			t.Fatalf("%+v, %v", h, err)
		}
		for _, rr := range h.RR {
			sum, n = sum+rr, n+1
			if rr < 0.25 || rr > 0.7 {
				t.Errorf("an interval of %.3f s at about %.0f beats per minute", rr, h.BPM)
			}
		}
	}
	if mean := 60 / (sum / float64(n)); math.Abs(mean-k.w.Truth().Heart) > 5 {
		t.Errorf("intervals mean %.1f beats per minute, the heart is at %.1f", mean, k.w.Truth().Heart)
	}
}

func TestStillLegsReadNothing(t *testing.T) {
	c := StandardRig(13)
	c.Trainer.AlsoPower = true
	c.Trainer.Unit.Smooth, c.Meter.Unit.Smooth = 5*time.Second, 5*time.Second
	k := begin(t, c).control()
	k.w.Show(Shown{Watts: 250, Pedalling: true})
	k.ask(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Crr: 0.004, Cw: 0.2}})
	k.ride(90 * time.Second)
	k.w.Show(Shown{})
	k.ride(4 * time.Second)
	spinning := 0
	for range 8 {
		for _, e := range k.ride(time.Second) {
			watts := math.NaN()
			switch e.Char {
			case gatt.IndoorBikeData:
				d, _ := gatt.DecodeBike(e.Bytes)
				if watts = d.Power; d.Speed > 3 {
					spinning++
				}
			case gatt.CyclingPowerMeasurement:
				m, _ := gatt.DecodePower(e.Bytes)
				watts = m.Power
			default:
				continue
			}
			if watts != 0 {
				t.Errorf("%s says %v W over still legs", e.Device, watts)
			}
		}
	}
	if spinning < 4 {
		t.Errorf("the flywheel spun in %d messages only", spinning)
	}
}
