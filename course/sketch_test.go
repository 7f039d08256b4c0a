package course

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"
)

var sketches = map[string]Sketch{
	"plain":             {Distance: 21400, Ascent: 310},
	"flat":              {Distance: 30000},
	"nearly flat":       {Distance: 40000, Ascent: 12},
	"hilly":             {Distance: 60000, Ascent: 1500},
	"as steep as may":   {Distance: 10000, Ascent: 599},
	"short":             {Distance: 600, Ascent: 10},
	"very long":         {Distance: 300000, Ascent: 5000},
	"laps":              {Distance: 21400, Ascent: 310, Laps: 2, LapLength: 10100, LeadIn: 1200},
	"laps alone":        {Laps: 5, LapLength: 3300, LapAscent: 41, LeadIn: 700},
	"laps a little off": {Distance: 21000, Laps: 3, LapLength: 7200, LapAscent: 60},
	"climb":             {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Length: 3200, Ascent: 170, Start: UnknownStart}},
	"climb placed":      {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Length: 3200, Ascent: 170, Start: 9000}},
	"climb at start":    {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Length: 3200, Ascent: 170}},
	"climb is all":      {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Length: 5000, Ascent: 310, Start: UnknownStart}},
	"climb no ascent":   {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Length: 3200, Start: UnknownStart}},
	"climb no length":   {Distance: 21400, Ascent: 310, Climb: &SketchClimb{Ascent: 200, Start: 4000}},
	"climb, steep rest": {Distance: 20000, Ascent: 1000, Climb: &SketchClimb{Length: 5000, Ascent: 400, Start: 150}},
	"small climb":       {Distance: 60000, Ascent: 900, Climb: &SketchClimb{Length: 2000, Ascent: 120, Start: UnknownStart}},
	"climb in laps":     {Distance: 25000, Ascent: 400, Laps: 2, LeadIn: 1000, Climb: &SketchClimb{Length: 2000, Ascent: 120, Start: 5000}},
	"summit":            {Distance: 30000, Ascent: 900, SummitFinish: true},
	"hill climb":        {Distance: 12000, Ascent: 1030, SummitFinish: true},
	"summit climb":      {Distance: 30000, Ascent: 900, SummitFinish: true, LeadIn: 500, Climb: &SketchClimb{Length: 8000, Ascent: 600, Start: UnknownStart}},
	"summit, all climb": {Distance: 8000, Ascent: 600, SummitFinish: true, Climb: &SketchClimb{Length: 8000, Ascent: 600, Start: UnknownStart}},
	"summit from":       {Distance: 30000, Ascent: 900, SummitFinish: true, Climb: &SketchClimb{Ascent: 500, Start: 22000}},
	"summit, two tops":  {Distance: 30000, Ascent: 900, SummitFinish: true, Climb: &SketchClimb{Length: 6000, Ascent: 400, Start: 15000}},
	"summit, half said": {Distance: 30000, Ascent: 900, SummitFinish: true, Climb: &SketchClimb{Ascent: 600, Start: UnknownStart}},
}

// Everything a sketch states holds in every profile drawn from it.
func TestDrawAgreesWithSketch(t *testing.T) {
	for name, s := range sketches {
		t.Run(name, func(t *testing.T) {
			if err := s.Check(); err != nil {
				t.Fatalf("Check: %v", err)
			}
			steep, length := 0.0, 0.0
			for seed := uint64(1); seed <= 500; seed++ {
				p, c := s.draw(rand.New(rand.NewPCG(seed, 7)))
				checkValid(t, p)
				checkTotals(t, s, p)
				checkShape(t, s, p)
				if s.Climb != nil {
					checkMainClimb(t, s, p, c)
				}
				for i := 1; i < len(p.Distance); i++ {
					step := p.Distance[i] - p.Distance[i-1]
					length += step
					if math.Abs(p.Gradient(i-1)) > 0.10+1e-9 {
						steep += step
					}
				}
				if t.Failed() {
					t.Fatalf("seed %d", seed)
				}
			}
			_, ascent := s.Totals()
			if hilliness := ascent / s.resolve().length / float64(s.resolve().laps); hilliness < 0.035 && steep > 0.05*length {
				t.Errorf("%.1f %% of the road is steeper than 10 %%", 100*steep/length)
			}
		})
	}
}

func within(got, want, relative float64) bool {
	return math.Abs(got-want) <= relative*math.Max(1, math.Abs(want))
}

func checkValid(t *testing.T, p Profile) {
	t.Helper()
	if len(p.Distance) != len(p.Elevation) || len(p.Distance) < 2 || p.Distance[0] != 0 {
		t.Fatalf("profile with %d distances from %g, %d elevations", len(p.Distance), p.Distance[0], len(p.Elevation))
	}
	for i := 1; i < len(p.Distance); i++ {
		if !(p.Distance[i] > p.Distance[i-1]) {
			t.Fatalf("distance %d: %g after %g", i, p.Distance[i], p.Distance[i-1])
		}
		if g := p.Gradient(i - 1); !(math.Abs(g) <= 0.16+1e-6) {
			t.Fatalf("gradient %g at %g m over %g m", g, p.Distance[i-1], p.Distance[i]-p.Distance[i-1])
		}
	}
}

func checkTotals(t *testing.T, s Sketch, p Profile) {
	t.Helper()
	distance, ascent := s.Totals()
	if s.Distance > 0 && !within(distance, s.Distance, 1e-12) || s.Ascent > 0 && !within(ascent, s.Ascent, 1e-12) {
		t.Fatalf("Totals() = %g, %g for a sketch of %g, %g", distance, ascent, s.Distance, s.Ascent)
	}
	if !within(p.Length(), distance, 1e-6) || !within(p.Ascent(), ascent, 1e-6) {
		t.Fatalf("drew %g m with %g m of ascent, want %g and %g", p.Length(), p.Ascent(), distance, ascent)
	}
}

// checkShape: lead-in level, laps alike, loops closed, summits on top.
func checkShape(t *testing.T, s Sketch, p Profile) {
	t.Helper()
	n := len(p.Elevation)
	if s.SummitFinish {
		if !(p.Elevation[n-1] > p.Elevation[n-2]) {
			t.Errorf("the finish at %g m is not on top", p.Elevation[n-1])
		}
	} else if !within(p.Elevation[n-1], p.Elevation[0], 1e-6) {
		t.Errorf("ends at %g m, starts at %g m", p.Elevation[n-1], p.Elevation[0])
	}
	if s.LeadIn > 0 && p.Gradient(0) != 0 {
		t.Errorf("lead-in has gradient %g", p.Gradient(0))
	}
	l := s.resolve()
	for d := 0.0; d < l.length; d += l.length / 37 {
		for lap := 1; lap < l.laps; lap++ {
			one, other := p.At(s.LeadIn+d), p.At(s.LeadIn+float64(lap)*l.length+d)
			if math.Abs(one-other) > 1e-6 {
				t.Fatalf("lap %d has %g m at %g m, the first %g m", lap+1, other, d, one)
			}
		}
	}
	if n > 150*l.laps+2 {
		t.Errorf("%d points in %d laps", n, l.laps)
	}
}

func checkMainClimb(t *testing.T, s Sketch, p Profile, c Climb) {
	t.Helper()
	want := *s.Climb
	if want.Length > 0 && !within(c.Length, want.Length, 1e-9) || want.Ascent > 0 && !within(c.Ascent, want.Ascent, 1e-9) ||
		want.Start >= 0 && !within(c.Start, want.Start, 1e-9) {
		t.Fatalf("main climb %+v, want %+v", c, want)
	}
	if rise := p.At(c.Start+c.Length) - p.At(c.Start); !within(rise, c.Ascent, 1e-6) {
		t.Fatalf("the main climb rises %g m in the profile, want %g", rise, c.Ascent)
	}
	last := p.At(c.Start)
	for i := range p.Distance {
		if p.Distance[i] > c.Start && p.Distance[i] < c.Start+c.Length {
			if p.Elevation[i] < last-1e-6 {
				t.Fatalf("the main climb falls at %g m", p.Distance[i])
			}
			last = p.Elevation[i]
		}
	}
	if s.SummitFinish && want.Start < 0 && !within(c.Start+c.Length, p.Length(), 1e-9) {
		t.Errorf("the main climb ends at %g m, before the summit finish", c.Start+c.Length)
	}
}

// A main climb is the highest: in the profile no rise without a fall gains more.
func TestDrawMainClimbIsTheHighest(t *testing.T) {
	for _, name := range []string{"climb", "climb placed", "small climb", "climb in laps", "summit climb"} {
		s := sketches[name]
		for seed := uint64(1); seed <= 200; seed++ {
			p := s.Draw(rand.New(rand.NewPCG(seed, 7)))
			rise := 0.0
			for i := 1; i < len(p.Elevation); i++ {
				if p.Elevation[i] < p.Elevation[i-1] {
					rise = 0
				}
				rise += math.Max(0, p.Elevation[i]-p.Elevation[i-1])
				if rise > s.Climb.Ascent+1e-6 {
					t.Fatalf("%s, seed %d: a rise of %g m at %g m, main climb %g m", name, seed, rise, p.Distance[i], s.Climb.Ascent)
				}
			}
		}
	}
}

// The ensemble is one: other seeds, other profiles; same seed, same profile.
func TestDrawVaries(t *testing.T) {
	s := sketches["plain"]
	places := map[float64]bool{}
	hills := map[int]bool{}
	for seed := uint64(1); seed <= 50; seed++ {
		p := s.Draw(rand.New(rand.NewPCG(seed, 7)))
		again := s.Draw(rand.New(rand.NewPCG(seed, 7)))
		for i := range p.Elevation {
			if p.Elevation[i] != again.Elevation[i] {
				t.Fatalf("seed %d draws two profiles", seed)
			}
		}
		places[p.At(7000)] = true
		hills[len(Climbs(p))] = true
	}
	if len(places) < 49 || len(hills) < 4 {
		t.Errorf("50 seeds gave %d elevations at 7 km and %d different numbers of climbs", len(places), len(hills))
	}
}

func TestSketchCheck(t *testing.T) {
	cases := map[string]struct {
		sketch Sketch
		want   string
	}{
		"nothing":          {Sketch{}, "neither distance nor lap length is given"},
		"negative":         {Sketch{Distance: -5}, "the distance is -5 m"},
		"not a number":     {Sketch{Distance: 5000, Ascent: math.NaN()}, "the ascent is NaN m"},
		"infinite":         {Sketch{Distance: math.Inf(1)}, "the distance is +Inf m"},
		"too short":        {Sketch{Distance: 300}, "a lap of 300 m; expected at least 500 m"},
		"too long":         {Sketch{Distance: 3e6}, "a course of 3000.0 km"},
		"too steep":        {Sketch{Distance: 10000, Ascent: 3000}, "3000 m of ascent do not fit into 10.0 km"},
		"loop too steep":   {Sketch{Distance: 10000, Ascent: 700}, "700 m of ascent do not fit into 10.0 km"},
		"laps disagree":    {Sketch{Distance: 25000, Laps: 2, LapLength: 9000}, "2 laps of 9.0 km and a lead-in of 0.0 km are 18.0 km, but the distance is 25.0 km"},
		"ascents disagree": {Sketch{Distance: 20000, Ascent: 300, Laps: 2, LapAscent: 100}, "2 laps of 100 m ascent are 200 m, but the ascent is 300 m"},
		"laps":             {Sketch{Distance: 20000, Laps: -1}, "-1 laps; expected 1 to 1000"},
		"lead-in":          {Sketch{Distance: 1000, LeadIn: 1000}, "the lead-in of 1.0 km is not shorter"},
		"summit of laps":   {Sketch{Distance: 20000, Ascent: 200, Laps: 2, SummitFinish: true}, "a summit finish and 2 laps"},
		"flat summit":      {Sketch{Distance: 20000, SummitFinish: true}, "a summit finish on a course without ascent"},
		"climb of nothing": {Sketch{Distance: 20000, Ascent: 200, Climb: &SketchClimb{}}, "neither length nor ascent"},
		"climb too long":   {Sketch{Distance: 20000, Ascent: 200, Climb: &SketchClimb{Length: 21000}}, "the main climb of 21.0 km is longer than the course of 20.0 km"},
		"climb too high":   {Sketch{Distance: 20000, Ascent: 200, Climb: &SketchClimb{Ascent: 250}}, "the main climb gains 250 m, but the course only 200 m"},
		"climb too steep":  {Sketch{Distance: 20000, Ascent: 300, Climb: &SketchClimb{Length: 1000, Ascent: 250}}, "25 % on average"},
		"climb on flat":    {Sketch{Distance: 20000, Climb: &SketchClimb{Length: 1000}}, "a main climb, but the course has no ascent"},
		"climb sticks out": {Sketch{Distance: 20000, Ascent: 300, Climb: &SketchClimb{Length: 1000, Start: 19500}}, "starts at 19.5 km and does not fit"},
		"climb in lead-in": {Sketch{Distance: 20000, Ascent: 300, LeadIn: 900, Climb: &SketchClimb{Length: 1000, Start: 500}}, "starts at 0.5 km, in the lead-in"},
		"climb nowhere":    {Sketch{Distance: 20000, Ascent: 300, Climb: &SketchClimb{Length: 1000, Start: math.NaN()}}, "the main climb's start is NaN"},
		"no way down":      {Sketch{Distance: 5000, Ascent: 300, Climb: &SketchClimb{Length: 4000, Ascent: 300, Start: -1}}, "300 m of ascent do not fit"},
		"nothing left":     {Sketch{Distance: 20000, Ascent: 300, SummitFinish: true, Climb: &SketchClimb{Length: 4000, Ascent: 300, Start: 2000}}, "ends 14.0 km before the finish"},
	}
	for name, c := range cases {
		err := c.sketch.Check()
		if err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: Check() = %v, want %q", name, err, c.want)
		}
		if err != nil && strings.ContainsAny(err.Error(), "\n\r") {
			t.Errorf("%s: more than one line", name)
		}
	}
}

// Whatever Check lets pass can be drawn.
func TestDrawNeverFailsAfterCheck(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 7))
	drawn := 0
	for range 20000 {
		s := Sketch{Distance: 500 * math.Exp(5*r.Float64()), SummitFinish: r.IntN(3) == 0}
		s.Ascent = s.Distance * 0.13 * r.Float64()
		if r.IntN(3) == 0 {
			s.Laps = r.IntN(4)
		}
		if r.IntN(3) == 0 {
			s.LeadIn = 0.2 * s.Distance * r.Float64()
		}
		if r.IntN(2) == 0 {
			c := SketchClimb{Start: UnknownStart}
			if r.IntN(3) > 0 {
				c.Length = s.Distance * r.Float64()
			}
			if r.IntN(3) > 0 {
				c.Ascent = s.Ascent * r.Float64()
			}
			if r.IntN(2) == 0 {
				c.Start = s.Distance * r.Float64()
			}
			s.Climb = &c
		}
		if s.Check() != nil {
			continue
		}
		drawn++
		p, c := s.draw(r)
		checkValid(t, p)
		checkTotals(t, s, p)
		if s.Climb != nil {
			checkMainClimb(t, s, p, c)
		}
		if t.Failed() {
			t.Fatalf("%+v %+v", s, s.Climb)
		}
	}
	if drawn < 2000 {
		t.Errorf("only %d sketches passed Check", drawn)
	}
}
