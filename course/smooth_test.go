package course

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"strings"
	"testing"
)

// The laws below are analytic truths (own derivation, confirmed by simulation
// here), not published values.

// expectedRise is E[max(0, d)] of d normal with mean mu and deviation s:
// mu·Phi(mu/s) + s·phi(mu/s).
func expectedRise(mu, s float64) float64 {
	return mu*0.5*math.Erfc(-mu/s/math.Sqrt2) + s*math.Exp(-mu*mu/(2*s*s))/math.Sqrt(2*math.Pi)
}

func noisy(r *rand.Rand, n int, slope, sigma float64) []float64 {
	z := make([]float64, n)
	for i := range z {
		z[i] = slope*float64(i) + sigma*r.NormFloat64()
	}
	return z
}

// ascentOf is the ascent of elevations at points 10 m apart.
func ascentOf(z []float64) float64 {
	p := Profile{Elevation: z, Distance: make([]float64, len(z))}
	for i := range z {
		p.Distance[i] = 10 * float64(i)
	}
	return p.Ascent()
}

// White noise of sigma on a flat road of N points shows (N-1)·sigma/√π of
// ascent; a moving average over n points leaves 1/n of it.
func TestAnalyticNoiseOnFlat(t *testing.T) {
	const n, sigma = 4000, 0.5
	naive := (n - 1) * sigma / math.Sqrt(math.Pi)
	if math.Abs(naive-1128.097) > 0.0005 {
		t.Errorf("law gives %.3f, want 1128.097", naive)
	}
	averaged := (n - 9) * sigma / (9 * math.Sqrt(math.Pi)) // n-8 averages, n-9 steps
	if math.Abs(averaged-125.093) > 0.0005 {
		t.Errorf("law gives %.3f, want 125.093", averaged)
	}
	// One sample of 4000 scatters by about 2 %; the mean of 50 is held to 1 %.
	const samples = 50
	gotNaive, gotAveraged := 0.0, 0.0
	for seed := uint64(1); seed <= samples; seed++ {
		z := noisy(rand.New(rand.NewPCG(seed, 3)), n, 0, sigma)
		gotNaive += ascentOf(z) / samples
		inner := movingAverage(z, 9)[4 : n-4] // without the ends, which lean on fewer points
		gotAveraged += ascentOf(inner) / samples
	}
	if math.Abs(gotNaive/naive-1) > 0.01 {
		t.Errorf("naive ascent %.1f, law %.1f", gotNaive, naive)
	}
	if math.Abs(gotAveraged/averaged-1) > 0.01 {
		t.Errorf("ascent after averaging %.2f, law %.2f", gotAveraged, averaged)
	}
}

func TestAnalyticNoiseOnSlope(t *testing.T) {
	for _, c := range []struct{ rise, sigma, want float64 }{
		// Computed by the formula and, to 1e-9, by numerical integration.
		{0.05, 0.5, 0.3077997}, {0.5, 0.5, 0.5998206}, {-0.25, 1, 0.4479822},
	} {
		law := expectedRise(c.rise, math.Sqrt2*c.sigma)
		if math.Abs(law-c.want) > 1e-7 {
			t.Errorf("law gives %.8f, want %.7f", law, c.want)
		}
		const n = 200_000
		z := noisy(rand.New(rand.NewPCG(1, 4)), n, c.rise, c.sigma)
		if got := ascentOf(z) / (n - 1); math.Abs(got/law-1) > 0.01 {
			t.Errorf("rise %g, sigma %g: %.5f m a step, law %.5f", c.rise, c.sigma, got, law)
		}
	}
}

// What Track.Profile chooses its width by: the average taken twice over n
// points leaves steps of deviation sigma·√(2/n³) (gradients of sigma·√(2Δ/h³)).
func TestAnalyticNoiseAfterSmoothing(t *testing.T) {
	const n, sigma, width = 100_000, 0.5, 9
	z := noisy(rand.New(rand.NewPCG(1, 5)), n, 0, sigma)
	z = movingAverage(movingAverage(z, width), width)[2*width : n-2*width]
	sum := 0.0
	for i := 1; i < len(z); i++ {
		sum += (z[i] - z[i-1]) * (z[i] - z[i-1])
	}
	got, law := math.Sqrt(sum/float64(len(z)-1)), sigma*math.Sqrt(2.0/(width*width*width))
	if math.Abs(got/law-1) > 0.03 {
		t.Errorf("steps after smoothing %.5f m, law %.5f", got, law)
	}
}

// A wave keeps the share (sin x / x)² of its height, x = pi·h/wavelength: the
// stated bias on rollers.
func TestAnalyticRollersLost(t *testing.T) {
	const width = 9
	for _, wavelength := range []float64{18, 36, 72, 400} { // points
		z := make([]float64, 4000)
		for i := range z {
			z[i] = math.Sin(2 * math.Pi * float64(i) / wavelength)
		}
		z = movingAverage(movingAverage(z, width), width)
		top := 0.0
		for _, v := range z[1000:3000] {
			top = math.Max(top, v)
		}
		x := math.Pi * width / wavelength
		if law := math.Pow(math.Sin(x)/x, 2); math.Abs(top-law) > 0.005 {
			t.Errorf("wavelength %g: height %.4f, law %.4f", wavelength, top, law)
		}
	}
}

// The sum of signed differences is last minus first, whatever the width; a
// straight ramp stays itself; width 1 changes nothing.
func TestMovingAverageKeeps(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 6))
	for n := 2; n < 60; n++ {
		z, ramp := noisy(r, n, 0.3, 2), noisy(r, n, 0.3, 0)
		for width := 1; width/2 < n; width += 2 {
			y, line := movingAverage(z, width), movingAverage(ramp, width)
			if y[0] != z[0] || y[n-1] != z[n-1] {
				t.Fatalf("n %d, width %d: ends %g %g, want %g %g", n, width, y[0], y[n-1], z[0], z[n-1])
			}
			for i := range line {
				if math.Abs(line[i]-ramp[i]) > 1e-9 || width == 1 && y[i] != z[i] {
					t.Fatalf("n %d, width %d: a ramp of %g became %g", n, width, ramp[i], line[i])
				}
			}
		}
	}
}

// northward is a track along a meridian through points (m on the map, m).
func northward(t *testing.T, distance, elevation []float64) Track {
	t.Helper()
	var b strings.Builder
	for i := range distance {
		fmt.Fprintf(&b, "<trkpt lat=\"%.9f\" lon=\"-122\"><ele>%g</ele></trkpt>\n", -47+distance[i]/EarthRadius*180/math.Pi, elevation[i])
	}
	track, err := ReadGPX(strings.NewReader(gpxOf(b.String())))
	if err != nil {
		t.Fatal(err)
	}
	return track
}

// A clean ramp is returned exactly: distance along the road is the hypotenuse.
func TestTrackProfileOfRamp(t *testing.T) {
	var d, z []float64
	for i := range 301 {
		d = append(d, 12*float64(i))
		z = append(z, 50+0.06*12*float64(i))
	}
	p, s, err := northward(t, d, z).Profile()
	if err != nil {
		t.Fatal(err)
	}
	if want := math.Hypot(3600, 216); math.Abs(p.Length()-want) > 0.01 || len(p.Distance) != 361 {
		t.Errorf("%.3f m in %d points, want %.3f in 361", p.Length(), len(p.Distance), want)
	}
	if math.Abs(s.Ascent-216) > 1e-6 || math.Abs(s.RawAscent-216) > 1e-6 || s.HalfWidth > 51 {
		t.Errorf("%+v", s)
	}
	for i := range len(p.Distance) - 1 {
		if g := p.Gradient(i); math.Abs(g-216/math.Hypot(3600, 216)) > 1e-6 {
			t.Fatalf("gradient %g at %g m", g, p.Distance[i])
		}
	}
}

// Hills with noise: its size is recognised and most of its false ascent gone.
func TestTrackProfileTakesNoiseAway(t *testing.T) {
	for seed := uint64(1); seed <= 5; seed++ {
		r := rand.New(rand.NewPCG(seed, 8))
		for _, sigma := range []float64{0.3, 1, 2} {
			var d, z []float64
			for i := range 2000 {
				x := 10 * float64(i)
				d = append(d, x)
				z = append(z, 100+40*math.Sin(2*math.Pi*x/4000)+sigma*r.NormFloat64())
			}
			p, s, err := northward(t, d, z).Profile()
			if err != nil {
				t.Fatal(err)
			}
			if math.Abs(s.Noise/sigma-1) > 0.1 {
				t.Errorf("seed %d: noise %.2f, true %g", seed, s.Noise, sigma)
			}
			if s.Ascent < 0.96*400 || s.Ascent > 1.04*400 {
				t.Errorf("seed %d, noise %g: ascent %.0f m (recorded %.0f), true 400", seed, sigma, s.Ascent, s.RawAscent)
			}
			last := len(p.Elevation) - 1
			if p.Elevation[0] != z[0] || p.Elevation[last] != z[len(z)-1] {
				t.Errorf("seed %d: the ends moved", seed)
			}
		}
	}
}

// A step no road has widens the average; a worse one is warned about.
func TestTrackProfileWidensForSteps(t *testing.T) {
	for _, c := range []struct {
		step    float64
		doubt   bool
		atLeast float64 // m of half-width
	}{{5, false, 49}, {30, false, 110}, {80, true, 189}} {
		var d, z []float64
		for i := range 400 {
			d = append(d, 10*float64(i))
			z = append(z, 100)
			if i >= 200 {
				z[i] += c.step
			}
		}
		_, s, err := northward(t, d, z).Profile()
		if err != nil {
			t.Fatal(err)
		}
		if got := s.Warning() != ""; got != c.doubt || s.HalfWidth < c.atLeast || s.HalfWidth > 201 || (s.Steepest > 0.25) != c.doubt {
			t.Errorf("step %g: %+v, warning %q", c.step, s, s.Warning())
		}
	}
}

func TestTrackProfileShortAndSparse(t *testing.T) {
	for name, c := range map[string]struct{ d, z []float64 }{
		"two points":  {[]float64{0, 3}, []float64{10, 11}},
		"short":       {[]float64{0, 100, 200, 300}, []float64{10, 20, 10, 15}},
		"route":       {[]float64{0, 4000, 9000}, []float64{100, 350, 120}},
		"steep steps": {[]float64{0, 1, 2, 3, 4, 5}, []float64{0, 900, 0, 900, 0, 900}},
	} {
		track := northward(t, c.d, c.z)
		p, s, err := track.Profile()
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		checkReadProfile(t, p)
		if len(p.Distance) < 101 || p.Length() < c.d[len(c.d)-1]-0.01 || s.Ascent > s.RawAscent+1e-9 {
			t.Errorf("%s: %d points, %g m, %+v", name, len(p.Distance), p.Length(), s)
		}
	}
}

func TestSmoothingString(t *testing.T) {
	s := Smoothing{HalfWidth: 149.6, RawAscent: 944.4, Ascent: 781.3}
	if got, want := s.String(), "elevations averaged over 150 m; ascent 944 m as recorded, 781 m after"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
}

// The demo's track is made of a road of 414 m ascent and noise of 0.5 m (white)
// and up to about 1.5 m (wandering): demo/generate/main.go.
func TestTrackProfileDemo(t *testing.T) {
	f, err := os.Open("../demo/harbour-ridge.gpx")
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	track, err := ReadGPX(f)
	if err != nil {
		t.Fatal(err)
	}
	p, s, err := track.Profile()
	if err != nil || math.Abs(p.Length()-24000) > 50 || math.Abs(s.Ascent-414) > 0.05*414 || s.RawAscent < 440 || s.Warning() != "" {
		t.Errorf("%.0f m, %+v, %v", p.Length(), s, err)
	}
	if n := len(Climbs(p)); n != 4 {
		t.Errorf("%d climbs, want the ridge, two rollers and the wall", n)
	}
	if n := len(Sections(p)); n < 15 || n > 45 {
		t.Errorf("%d sections", n)
	}
}
