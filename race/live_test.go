package race

import (
	"math"
	"testing"
)

// inLine are n places, front to back, metres apart.
func inLine(n int, apart float64) []float64 {
	out := make([]float64, n)
	for i := range out {
		out[i] = 1000 - float64(i)*apart
	}
	return out
}

// TestPublishedLiveShelter: with a published table's shares a line of riders
// in a live group has exactly these shares, by position.
//
//   - Line of nine at 1 m: the in-line table (source uncertain, probably
//     Blocken et al. 2018, J Wind Eng Ind Aerodyn 182:128; known from two
//     uncited files, see physics.LineDraftingFactor).
//   - Line of eight uphill: drag areas of van Druenen and Blocken 2021, Sports
//     Eng 24:10, Table 1, read in the table, over the lone rider's, each with
//     0.0044 m² for its wheels.
//   - Four on a track: 607, 430, 389 and 389 W at 60 km/h, Broker, Kyle and
//     Burke 1999, MSSE 31:1677 (abstract), as shares of the first.
func TestPublishedLiveShelter(t *testing.T) {
	line, err := LineShelter(9, 1)
	if err != nil {
		t.Fatal(err)
	}
	uphill, err := UphillShelter(8)
	if err != nil {
		t.Fatal(err)
	}
	for _, x := range []struct {
		name   string
		from   Shelter
		shares map[int]float64 // published, by position
		within float64
	}{
		{"line of nine", line, map[int]float64{1: 0.99, 2: 0.652, 8: 0.469}, 1e-12},
		{"eight uphill", uphill, map[int]float64{1: 0.4584 / 0.4774, 2: 0.2504 / 0.4774, 7: 0.1684 / 0.4774, 8: 0.1754 / 0.4774}, 1e-9},
		{"pursuit", PursuitShelter(), map[int]float64{1: 1, 2: 430.0 / 607, 3: 389.0 / 607, 4: 389.0 / 607}, 1e-12},
	} {
		s := x.from
		s.Full, s.Reach = liveFull, liveReach
		places := inLine(len(s.Position), 3)
		for at, want := range x.shares {
			if got := LiveShelter(places, at-1, s); math.Abs(got-want) > x.within {
				t.Errorf("%s, position %d: %.5f of the drag, published %.5f", x.name, at, got, want)
			}
		}
	}
}

func TestLiveShelterByGap(t *testing.T) {
	s := Live(Middle)
	second := s.Position[1]
	for _, x := range []struct {
		gap, want float64
	}{{0.5, second}, {4, second}, {9.5, (second + 1) / 2}, {15, 1}, {400, 1}} {
		if got := LiveShelter([]float64{100, 100 - x.gap}, 1, s); math.Abs(got-x.want) > 1e-12 {
			t.Errorf("%.1f m behind: %.4f, want %.4f", x.gap, got, x.want)
		}
	}
	if got := LiveShelter([]float64{50}, 0, s); got != 1 {
		t.Errorf("alone: %v", got)
	}
	if got := LiveShelter([]float64{50, 50}, 0, s); got != 1 {
		t.Errorf("side by side: %v", got)
	}
	if got := LiveShelter([]float64{100, math.NaN(), 97}, 2, s); got != second {
		t.Errorf("behind one, another's place unknown: %v, want %v", got, second)
	}
	// A line of three, a gap of 20 m, two more: the fourth leads the second group.
	five := []float64{100, 97, 94, 74, 71}
	if got := LiveShelter(five, 3, s); got != s.Position[0] {
		t.Errorf("first of the second group: %v, want %v", got, s.Position[0])
	}
	if got := LiveShelter(five, 4, s); got != second {
		t.Errorf("second of the second group: %v, want %v", got, second)
	}
	// Never more than the line's best, whoever is about.
	best := s.Position[0]
	for _, p := range s.Position {
		best = math.Min(best, p)
	}
	for i := range 60 {
		if got := LiveShelter(inLine(60, 0.4), i, s); got < best || got > 1 {
			t.Errorf("rider %d of sixty has %.3f", i, got)
		}
	}
}

func TestKeepTogether(t *testing.T) {
	for _, x := range []struct{ behind, want float64 }{{-20, 1}, {0, 1}, {3, 1}, {16.5, 0.7}, {30, 0.4}, {600, 0.4}, {math.NaN(), 1}} {
		if got := KeepTogether(x.behind); math.Abs(got-x.want) > 1e-12 {
			t.Errorf("%v s behind: %v of the drag, want %v", x.behind, got, x.want)
		}
	}
}

func TestMiddleOfAGroup(t *testing.T) {
	for _, x := range []struct {
		ahead []float64
		want  float64
	}{{nil, 0}, {[]float64{0}, 0}, {[]float64{0, 20}, 10}, {[]float64{-5, 0, 60}, 0}, {[]float64{10, 40, 0, 12}, 11}} {
		if got := MiddleOf(x.ahead); got != x.want {
			t.Errorf("middle of %v: %v, want %v", x.ahead, got, x.want)
		}
	}
}
