package course

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
	"time"
)

// survey has two climbs: 2000 m at 5 % and 1000 m at 6 %.
var survey = Profile{
	Distance:  []float64{0, 2000, 4000, 5000, 7000, 8000, 9000, 10000},
	Elevation: []float64{0, 0, 100, 100, 0, 0, 60, 0},
}

func closeTo(a, b float64) bool { return math.Abs(a-b) <= 1e-9*math.Max(1, math.Abs(b)) }

func sameProfile(a, b Profile) bool {
	return slices.EqualFunc(a.Distance, b.Distance, closeTo) && slices.EqualFunc(a.Elevation, b.Elevation, closeTo)
}

// dense is the same road with a point every few metres.
func dense(p Profile, step float64) Profile {
	q := Profile{}
	n := int(math.Ceil(p.Length() / step))
	for i := range n + 1 {
		d := p.Length() * float64(i) / float64(n)
		q.Distance = append(q.Distance, d)
		q.Elevation = append(q.Elevation, p.At(d))
	}
	return q
}

func TestProfileMeasures(t *testing.T) {
	if survey.Length() != 10000 || survey.Ascent() != 160 || survey.Descent() != 160 || survey.Gradient(1) != 0.05 {
		t.Errorf("length %g, ascent %g, descent %g, gradient %g", survey.Length(), survey.Ascent(), survey.Descent(), survey.Gradient(1))
	}
	for d, want := range map[float64]float64{-5: 0, 0: 0, 2000: 0, 3000: 50, 4000: 100, 9500: 30, 10000: 0, 11000: 0} {
		if got := survey.At(d); !closeTo(got, want) {
			t.Errorf("At(%g) = %g, want %g", d, got, want)
		}
	}
}

func TestClimbs(t *testing.T) {
	cases := map[string]struct {
		p    Profile
		want []Climb
	}{
		"survey": {survey, []Climb{
			{2000, 2000, 100, 0.05, 0.05}, {8000, 1000, 60, 0.06, 0.06}}},
		"survey, dense": {dense(survey, 10), []Climb{
			{2000, 2000, 100, 0.05, 0.05}, {8000, 1000, 60, 0.06, 0.06}}},
		"reversed": {Reversed(survey), []Climb{
			{0, 1000, 60, 0.06, 0.06}, {3000, 2000, 100, 0.05, 0.05}}},
		"flat":            {Profile{[]float64{0, 5000}, []float64{3, 3}}, nil},
		"long and gentle": {Profile{[]float64{0, 9000}, []float64{0, 175}}, nil}, // 1.94 %
		"too low":         {Profile{[]float64{0, 300, 600}, []float64{0, 19, 0}}, nil},
		"a small dip does not part": {Profile{[]float64{0, 1000, 1200, 2200}, []float64{0, 60, 54, 114}}, []Climb{
			{0, 2200, 114, 114.0 / 2200, 0.06}}},
		"a level kilometre parts": {Profile{[]float64{0, 2000, 3100, 5000}, []float64{0, 120, 120, 234}}, []Climb{
			{0, 2000, 120, 0.06, 0.06}, {3100, 1900, 114, 0.06, 0.06}}},
		"a valley parts": {Profile{[]float64{0, 2000, 2400, 4400}, []float64{0, 120, 100, 220}}, []Climb{
			{0, 2000, 120, 0.06, 0.06}, {2400, 2000, 120, 0.06, 0.06}}},
		"steepest hundred": {Profile{[]float64{0, 1000, 1050, 1090, 2000}, []float64{0, 50, 56, 60, 105.5}}, []Climb{
			{0, 2000, 105.5, 105.5 / 2000, (10 + 10*0.05) / 100}}},
		"short": {Profile{[]float64{0, 80, 160}, []float64{0, 24, 0}}, []Climb{{0, 80, 24, 0.3, 0.3}}},
	}
	for name, c := range cases {
		got := Climbs(c.p)
		if !slices.EqualFunc(got, c.want, func(a, b Climb) bool {
			return math.Abs(a.Start-b.Start) < 1e-6 && closeTo(a.Length, b.Length) && closeTo(a.Ascent, b.Ascent) &&
				closeTo(a.Mean, b.Mean) && closeTo(a.Steepest, b.Steepest)
		}) {
			t.Errorf("%s:\n got %+v\nwant %+v", name, got, c.want)
		}
	}
}

// On any course climbs are in order, apart, and as their definition says.
func TestClimbsKeepTheirRules(t *testing.T) {
	s := Sketch{Distance: 80000, Ascent: 1600}
	for seed := uint64(1); seed <= 100; seed++ {
		p := s.Draw(rand.New(rand.NewPCG(seed, 9)))
		end, ascent := 0.0, 0.0
		for _, c := range Climbs(p) {
			rise := p.At(c.Start+c.Length) - p.At(c.Start)
			if c.Start < end || c.Ascent < 20 || c.Mean < 0.025 || c.Steepest < c.Mean-1e-9 || !closeTo(rise, c.Ascent) {
				t.Fatalf("seed %d: %+v", seed, c)
			}
			end = c.Start + c.Length
			ascent += c.Ascent
		}
		if ascent > p.Ascent()+1e-6 || end > p.Length()+1e-6 {
			t.Fatalf("seed %d: climbs of %g m on a course of %g m", seed, ascent, p.Ascent())
		}
	}
}

func TestReversed(t *testing.T) {
	r := Reversed(survey)
	if r.Distance[0] != 0 || r.At(1000) != 60 || !closeTo(r.Ascent(), survey.Descent()) || !closeTo(r.Length(), survey.Length()) {
		t.Errorf("%+v", r)
	}
	for seed := uint64(1); seed <= 20; seed++ {
		p := Sketch{Distance: 30000, Ascent: 500, SummitFinish: true}.Draw(rand.New(rand.NewPCG(seed, 9)))
		if !sameProfile(Reversed(Reversed(p)), p) {
			t.Fatalf("seed %d: reversed twice is not the same", seed)
		}
		if !closeTo(Reversed(p).Ascent(), p.Descent()) {
			t.Fatalf("seed %d: reversed climbs %g, falls were %g", seed, Reversed(p).Ascent(), p.Descent())
		}
	}
}

func TestRepeat(t *testing.T) {
	p, err := Repeat(survey, 3)
	if err != nil || p.Length() != 30000 || !closeTo(p.Ascent(), 480) || len(p.Distance) != 22 || p.At(13000) != 50 {
		t.Errorf("%+v, %v", p, err)
	}
	if LapNote(survey) != "" {
		t.Errorf("note %q on a lap that closes", LapNote(survey))
	}
	lap := Profile{[]float64{0, 500, 1000}, []float64{10, 40, 16}}
	p, err = Repeat(lap, 2)
	if err != nil || !slices.EqualFunc(p.Elevation, []float64{10, 37, 10, 37, 10}, closeTo) {
		t.Errorf("%+v, %v", p, err)
	}
	if want := "a lap ends 6.0 m above its start: the difference is spread over the lap"; LapNote(lap) != want {
		t.Errorf("note %q, want %q", LapNote(lap), want)
	}
	high := Profile{[]float64{0, 1000}, []float64{10, 35}}
	if p, err := Repeat(high, 1); err != nil || !sameProfile(p, high) {
		t.Errorf("a single lap: %+v, %v", p, err)
	}
	for _, c := range []struct {
		p    Profile
		laps int
		want string
	}{
		{survey, 0, "0 laps; expected at least 1"},
		{high, 2, "a lap ends 25 m above its start; expected a lap that ends where it starts (within 10 m)"},
		{Reversed(high), 2, "a lap ends 25 m below its start; expected a lap that ends where it starts (within 10 m)"},
		{survey, 201, "201 laps are 2010 km; expected at most 2000 km"},
		{dense(survey, 0.4), 150, "150 laps of 25001 points; expected at most 2000000 points in all"},
		{survey, 1 << 40, "1099511627776 laps are 10995116277760 km; expected at most 2000 km"},
	} {
		if _, err := Repeat(c.p, c.laps); err == nil || err.Error() != c.want {
			t.Errorf("got %v, want %s", err, c.want)
		}
	}
}

func TestWithLeadIn(t *testing.T) {
	p := WithLeadIn(Reversed(survey), 1200)
	if p.Length() != 11200 || p.At(1200) != 0 || p.Gradient(0) != 0 || !closeTo(p.Ascent(), 160) {
		t.Errorf("%+v", p)
	}
	if q := WithLeadIn(survey, 0); !sameProfile(q, survey) {
		t.Errorf("no lead-in: %+v", q)
	}
	twice, _ := Repeat(survey, 2)
	if p := WithLeadIn(twice, 500); p.Length() != 20500 {
		t.Errorf("two laps and a lead-in are %g m, want 20500", p.Length())
	}
	for _, bad := range []float64{-1, math.NaN(), math.Inf(1)} {
		func() {
			defer func() {
				if recover() == nil {
					t.Errorf("no panic for a lead-in of %g", bad)
				}
			}()
			WithLeadIn(survey, bad)
		}()
	}
}

func TestSections(t *testing.T) {
	want := []Section{
		{0, 2000, 0}, {2000, 4000, 0.05}, {4000, 5000, 0}, {5000, 7000, -0.05},
		{7000, 8000, 0}, {8000, 9000, 0.06}, {9000, 10000, -0.06},
	}
	for name, p := range map[string]Profile{"survey": survey, "dense": dense(survey, 10)} {
		if got := Sections(p); !slices.EqualFunc(got, want, func(a, b Section) bool {
			return closeTo(a.From, b.From) && closeTo(a.To, b.To) && math.Abs(a.Gradient-b.Gradient) < 1e-9
		}) {
			t.Errorf("%s: %+v", name, got)
		}
	}
}

// Sections cover the course without gaps and stay within 3 m of it.
func TestSectionsStayClose(t *testing.T) {
	for seed := uint64(1); seed <= 50; seed++ {
		p := dense(Sketch{Distance: 28000, Ascent: 600}.Draw(rand.New(rand.NewPCG(seed, 9))), 10)
		at, z := 0.0, p.Elevation[0]
		sections := Sections(p)
		for _, s := range sections {
			if s.From != at || !(s.To > s.From) {
				t.Fatalf("seed %d: %+v after %g", seed, s, at)
			}
			for d := s.From; d < s.To; d += 10 {
				if off := math.Abs(z + s.Gradient*(d-s.From) - p.At(d)); off > sectionTolerance+1e-6 {
					t.Fatalf("seed %d: %g m off at %g m", seed, off, d)
				}
			}
			at, z = s.To, z+s.Gradient*(s.To-s.From)
		}
		if at != p.Length() || len(sections) > 80 {
			t.Fatalf("seed %d: %d sections to %g m", seed, len(sections), at)
		}
	}
}

// A zigzag that shrinks slowly is always farthest off at its next point. Cut
// there each time, 200,000 points took 100 s.
func TestSectionsOfHostileZigzag(t *testing.T) {
	const n = 200_000
	p := Profile{Distance: make([]float64, n), Elevation: make([]float64, n)}
	for i := range n {
		p.Distance[i] = 10 * float64(i)
		p.Elevation[i] = float64(i%2) * 10 * (1 - float64(i)/n)
	}
	start := time.Now()
	Sections(p)
	if took := time.Since(start); took > 10*time.Second {
		t.Errorf("took %v", took)
	}
}

func TestThin(t *testing.T) {
	if got := Thin(survey, 100); !sameProfile(got, survey) {
		t.Errorf("few points were changed: %+v", got)
	}
	if got := Thin(dense(survey, 10), 8); !sameProfile(got, survey) {
		t.Errorf("eight points: %+v", got)
	}
	p := dense(Sketch{Distance: 100000, Ascent: 1500}.Draw(rand.New(rand.NewPCG(1, 9))), 10)
	q := Thin(p, 200)
	if len(q.Distance) > 200 || q.Distance[0] != 0 || q.Length() != p.Length() {
		t.Errorf("%d points to %g m", len(q.Distance), q.Length())
	}
	for i, d := range p.Distance {
		if math.Abs(q.At(d)-p.Elevation[i]) > 2 {
			t.Fatalf("%g m off at %g m", q.At(d)-p.Elevation[i], d)
		}
	}
	defer func() {
		if recover() == nil {
			t.Error("no panic for one point")
		}
	}()
	Thin(survey, 1)
}
