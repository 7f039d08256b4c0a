package race

import (
	"math"
	"testing"

	"chainline/estimate"
	"chainline/physics"
)

// TestPublishedUphillLine: van Druenen and Blocken 2021, Sports Eng 24:10:
// drag areas read in Table 1, the two savings in the abstract ("over 7 %" at
// 6 m/s on 7.5 %, "can exceed 16 %" at 8 m/s).
func TestPublishedUphillLine(t *testing.T) {
	m := physics.Motion{Mass: 72, Inertial: 72, Drag: 0.5 * 1.225 * (0.473 + 0.0044), Crr: 0.0032, Efficiency: 0.98}
	two, err := UphillShelter(2)
	if err != nil {
		t.Fatal(err)
	}
	eight, _ := UphillShelter(8)
	alone := m.PowerAt(6, 0.075, 0)
	if got := 1 - PaceLine(m, two, 2, 6, 0.075)[1]/alone; !(got > 0.07 && got < 0.08) {
		t.Errorf("second of two saves %.2f %% at 6 m/s, published over 7 %%", 100*got)
	}
	if got := 1 - PaceLine(m, eight, 8, 8, 0.075)[6]/m.PowerAt(8, 0.075, 0); !(got > 0.16 && got < 0.17) {
		t.Errorf("the best of eight saves %.2f %% at 8 m/s, published more than 16 %%", 100*got)
	}
}

// TestPublishedPursuit: Broker, Kyle and Burke 1999, MSSE 31:1677 (abstract):
// 607, 430, 389, 389 W at 60 km/h. At that speed drag is nearly all, so shares
// of drag give the shares of power to within the rest.
func TestPublishedPursuit(t *testing.T) {
	m := physics.Motion{Mass: 80, Inertial: 80, Drag: 607.0 / math.Pow(60/3.6, 3), Efficiency: 1}
	got := PaceLine(m, PursuitShelter(), 4, 60/3.6, 0)
	for i, want := range []float64{607, 430, 389, 389} {
		if math.Abs(got[i]-want) > 0.6 {
			t.Errorf("position %d: %.1f W, published %.0f W", i+1, got[i], want)
		}
	}
}

// TestPublishedLine: the in-line table at 1 m (source uncertain, see
// physics.LineDraftingFactor), ridden: in a steady bunch on the level every
// rider gives what the table says for their position.
func TestPublishedLine(t *testing.T) {
	s, err := LineShelter(9, 1)
	if err != nil {
		t.Fatal(err)
	}
	if s.Position[0] != 0.99 || s.Position[1] != 0.652 || s.Position[7] != 0.469 {
		t.Fatalf("%v", s.Position)
	}
	riders := equals(9, 250)
	steady := Usual
	steady.Start, steady.Finish, steady.Restless, steady.SprintFrom, steady.PullLeast, steady.PullMost = 0, 0, 0, 0, 1e6, 1e6
	for i := range riders {
		riders[i].Capacity.MaxPower, riders[i].Leads = 2000, i == 0
	}
	for watch := range 9 {
		race := Race{Way: flat(12000), Riders: riders, Shelter: s, Tactics: steady, Watch: watch}
		res := race.Run(estimate.Stream(4, 0))
		f := res.Trace.Shelter[60]
		want := math.Inf(1)
		for _, p := range s.Position {
			want = math.Min(want, math.Abs(p-f))
		}
		if want > 1e-6 {
			t.Errorf("rider %d has %.4f of the drag, which is no position of the table", watch, f)
		}
		seconds := 0.0
		for _, x := range res.Trace.Seconds[50:70] {
			seconds += x
		}
		speed := 20 * race.Way.length / tracePieces / seconds
		if w := riders[0].Motion.Sheltered(f).PowerAt(speed, 0, 0); math.Abs(w-res.Trace.Watts[60]) > 0.01*w {
			t.Errorf("rider %d gives %.1f W at %.2f m/s, the table asks for %.1f W", watch, res.Trace.Watts[60], speed, w)
		}
	}
}

// TestPublishedKyle: riding in a group cuts power at race speed by more than
// 30 % (Kyle 1979, Ergonomics 22:387, abstract); the default does for whoever
// sits in.
func TestPublishedKyle(t *testing.T) {
	m := testRoad.Motion(72)
	in := PaceLine(m, Bunch(Middle), 9, 11, 0)
	if saved := 1 - in[5]/m.PowerAt(11, 0, 0); !(saved > 0.30 && saved < 0.5) {
		t.Errorf("the sixth saves %.1f %%", 100*saved)
	}
	// Nor ever the extreme of a large bunch (Blocken et al. 2018: 5 to 10 % left).
	for _, s := range Strengths {
		for at := 1; at < 200; at++ {
			if f := Bunch(s).Factor(at, 0); f < 0.45 {
				t.Errorf("%v leaves %.2f at position %d", s, f, at)
			}
		}
	}
}

func TestShelterEndsWithTheGap(t *testing.T) {
	s := Bunch(Middle)
	before := s.Factor(4, 0)
	for gap := 0.0; gap < 8; gap += 0.25 {
		f := s.Factor(4, gap)
		if f < before || f > 1 {
			t.Errorf("at %.2f m %.3f of the drag, before %.3f", gap, f, before)
		}
		before = f
	}
	if before != 1 {
		t.Errorf("at 8 m %.3f of the drag is left", before)
	}
}
