package debrief

import (
	"math"
	"math/rand/v2"
	"testing"
)

// bruteForce is every start with every end; sums of whole watts are exact.
func bruteForce(watts []float64) []float64 {
	best := make([]float64, len(watts))
	for d := range best {
		best[d] = math.Inf(-1)
	}
	sums := make([]float64, len(watts)+1)
	for i, w := range watts {
		sums[i+1] = sums[i] + w
	}
	for d := 1; d <= len(watts); d++ {
		most := math.Inf(-1)
		ends := sums[d:]
		for i, start := range sums[:len(ends)] {
			if v := ends[i] - start; v > most {
				most = v
			}
		}
		best[d-1] = most
	}
	return best
}

// powersOf are powers of n seconds of every kind the bound has to bear.
func powersOf(n int) map[string][]float64 {
	r := rand.New(rand.NewPCG(7, 1))
	make1 := func(f func(i int) float64) []float64 {
		w := make([]float64, n)
		for i := range w {
			w[i] = math.Round(f(i))
		}
		return w
	}
	hill := 0.0
	return map[string][]float64{
		"constant": make1(func(int) float64 { return 214 }),
		"varied": make1(func(i int) float64 {
			hill += 0.02*(200-hill) + 12*r.NormFloat64()
			return math.Max(0, hill+40*r.NormFloat64()+60*math.Sin(float64(i)/300))
		}),
		"steady with noise": make1(func(int) float64 { return 200 + 4*r.NormFloat64() }),
		"independent":       make1(func(int) float64 { return 400 * r.Float64() }),
		"intervals": make1(func(i int) float64 {
			if i%360 < 60 {
				return 380 + 8*r.NormFloat64()
			}
			return 150 + 8*r.NormFloat64()
		}),
		"constant after a warm-up": make1(func(i int) float64 { return math.Min(214, float64(i)/3) }),
		"constant with stops": make1(func(i int) float64 {
			if i%1700 < 40 {
				return 0
			}
			return 214
		}),
		"two levels": make1(func(i int) float64 {
			if i > n/3 {
				return 180
			}
			return 240
		}),
		"rising":  make1(func(i int) float64 { return 100 + 200*float64(i)/float64(n) }),
		"falling": make1(func(i int) float64 { return 300 - 200*float64(i)/float64(n) }),
		"zeros":   make1(func(int) float64 { return 0 }),
		"sprint": make1(func(i int) float64 {
			if i > n/2 && i < n/2+12 {
				return 950
			}
			return 190
		}),
	}
}

func BenchmarkMeanMax(b *testing.B) {
	for name, watts := range powersOf(18000) {
		b.Run(name, func(b *testing.B) {
			for b.Loop() {
				MeanMaximal(watts)
			}
		})
	}
}

func BenchmarkMeanMaxBruteForce(b *testing.B) {
	watts := powersOf(18000)["varied"]
	for b.Loop() {
		bruteForce(watts)
	}
}

func TestMeanMaximalEqualsBruteForce(t *testing.T) {
	for _, n := range []int{1, 2, 7, 8, 9, 127, 128, 129, 1000, 3601} {
		for name, watts := range powersOf(n) {
			sameAsBruteForce(t, name, watts)
		}
	}
}

func sameAsBruteForce(t *testing.T, name string, watts []float64) {
	t.Helper()
	got, want := MeanMaximal(watts), bruteForce(watts)
	sums := make([]float64, len(watts)+1) // exact: whole watts
	for i, w := range watts {
		sums[i+1] = sums[i] + w
	}
	if len(got.Watts) != len(want) || len(got.Start) != len(want) {
		t.Fatalf("%s: %d durations of %d", name, len(got.Watts), len(want))
	}
	for i, w := range want {
		d := i + 1
		if got.Watts[i] != w/float64(d) {
			t.Fatalf("%s, %d s of %d: %g W, brute force %g W", name, d, len(watts), got.Watts[i], w/float64(d))
		}
		sum := sums[got.Start[i]+d] - sums[got.Start[i]]
		if sum != w {
			t.Fatalf("%s, %d s: said to begin at %d, where there are %g J, not %g", name, d, got.Start[i], sum, w)
		}
	}
}

func TestMeanMaximalOfFiveHours(t *testing.T) {
	all := powersOf(18000)
	for _, name := range []string{"varied", "constant with stops"} {
		sameAsBruteForce(t, name, all[name])
	}
}

func TestMeanMaximalOfWhatIsNotANumber(t *testing.T) {
	m := MeanMaximal([]float64{100, math.NaN(), 300, math.Inf(1), 1e9})
	for d, want := range map[int]float64{1: 300, 2: 150, 3: 400. / 3, 5: 80} {
		if w, _, ok := m.At(d); !ok || math.Abs(w-want) > 1e-9 {
			t.Errorf("%d s: %g W, want %g", d, w, want)
		}
	}
	if _, _, ok := m.At(6); ok {
		t.Error("a best longer than the ride")
	}
	if _, _, ok := MeanMaximal(nil).At(1); ok {
		t.Error("a best of nothing")
	}
}

func TestBestOverRides(t *testing.T) {
	s := BestOver([]MeanMax{MeanMaximal([]float64{100, 300}), {}, MeanMaximal([]float64{250, 250, 130}), MeanMaximal([]float64{300})})
	want := []struct {
		watts       float64
		ride, start int
	}{{300, 0, 1}, {250, 2, 0}, {210, 2, 0}}
	for i, w := range want {
		if s.Watts[i] != w.watts || s.Ride[i] != w.ride || s.Start[i] != w.start {
			t.Errorf("%d s: %g W of ride %d from %d, want %+v", i+1, s.Watts[i], s.Ride[i], s.Start[i], w)
		}
	}
	if len(s.Watts) != 3 || len(s.Ride) != 3 {
		t.Errorf("%+v", s)
	}
}
