package race

import (
	"math"
	"testing"

	"chainline/capacity"
)

func mixed() []Me {
	one := func(name string, cp, mass float64) Me {
		c := capacity.Capacity{CriticalPower: cp, WPrime: 220 * mass, MaxPower: 12 * mass, Fade: 0.09 * cp}
		c.Sigma[0][0], c.Sigma[1][1], c.Sigma[2][2], c.Sigma[3][3] = 0.04*cp, 2000, 50, 4
		return Me{Name: name, Capacity: c, Mass: mass}
	}
	return []Me{one("Ana", 150, 62), one("Ben", 260, 80), one("Cas", 310, 72), one("Dor", 205, 66), one("Eve", 235, 58)}
}

func TestTogether(t *testing.T) {
	q := TogetherAsk{Way: hills(24000), Road: testRoad, Members: mixed()}
	r := Together(q)
	if !r.Suits || r.Limit != "Ana" {
		t.Fatalf("%+v", r)
	}
	leaders := 0
	for i, m := range r.Members {
		if m.Share > usualEase+0.01 || m.Lowest < keepBack-0.01 {
			t.Errorf("%s rides at %.2f of critical power with %.2f of W′ left", m.Name, m.Share, m.Lowest)
		}
		if m.HoldsMS < r.SpeedMS*0.97 {
			t.Errorf("%s holds %.2f m/s alone among the limits, the group rides %.2f", m.Name, m.HoldsMS, r.SpeedMS)
		}
		if m.FrontW <= m.LevelW {
			t.Errorf("%s: %.0f W in front, %.0f W in the wheels", m.Name, m.FrontW, m.LevelW)
		}
		if m.Leads {
			leaders++
			if i == 0 {
				t.Error("the weakest leads")
			}
		}
	}
	if leaders != 2 {
		t.Errorf("%d take turns", leaders)
	}
	if len(r.Regroup) == 0 || r.Regroup[0].Last != "Ana" || math.Abs(r.Regroup[0].AtM-4000) > 500 && math.Abs(r.Regroup[0].AtM-8000) > 500 {
		t.Errorf("%+v", r.Regroup)
	}
	// The strongest gone, nothing changes; the weakest gone, all go faster.
	q.Members = mixed()[1:]
	if faster := Together(q); faster.SpeedMS <= r.SpeedMS {
		t.Errorf("without Ana %.2f m/s, with her %.2f", faster.SpeedMS, r.SpeedMS)
	}
}

func TestLongest(t *testing.T) {
	q := TogetherAsk{Road: testRoad, Members: mixed()}
	ways := []*Way{hills(16000), hills(48000), hills(32000)}
	if i, _ := q.Longest(ways, 0); i != 1 {
		t.Errorf("way %d", i)
	}
	q.Members[0].New = true
	i, rides := q.Longest(ways, 0)
	if i != 2 && i != 0 || rides[1].Suits {
		t.Errorf("way %d: %s", i, rides[1].Why)
	}
	if i, _ := q.Longest(ways, 60); i != -1 {
		t.Errorf("a minute is enough for way %d", i)
	}
}

// TestAnalyticTogether: two equal riders on the level, one always in front:
// whoever leads gives what physics asks for, and the mean share limits the pace.
func TestAnalyticTogether(t *testing.T) {
	m := mixed()[2]
	m.Capacity.Sigma = [4][4]float64{}
	q := TogetherAsk{Way: flat(10000), Road: testRoad, Members: []Me{m}}
	r := Together(q)
	want := motionOf(testRoad, m.Mass).SpeedAt(usualEase*m.Capacity.CriticalPower, 0, 0)
	// One rider alone leads all the time, in the shelter of nobody.
	if math.Abs(r.SpeedMS/want-1) > 0.01 {
		t.Errorf("%.3f m/s, want %.3f", r.SpeedMS, want)
	}
}
