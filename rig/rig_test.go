package rig

import (
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/estimate"
)

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s = %v, want %v ± %g", what, got, want, tolerance)
	}
}

func brake(t *testing.T, rows ...Point) BrakeTable {
	t.Helper()
	b, err := NewBrakeTable(rows)
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func curve(t *testing.T, rows ...Point) PowerCurve {
	t.Helper()
	c, err := NewPowerCurve(rows, 0, "maker's table")
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestSpeaks(t *testing.T) {
	for _, c := range []struct {
		name string
		rig  Rig
		want Language
	}{
		{"controllable with its own watts", Rig{Source: PowerSource{Kind: SourceTrainer}}, Watts},
		{"controllable that shows nothing", Rig{}, Watts},
		{"plain with a crank meter", Rig{Trainer: Trainer{Kind: Plain}, Source: PowerSource{Kind: SourceCrank}, SpeedSensor: true}, Watts},
		{"plain with a speed sensor", Rig{Trainer: Trainer{Kind: Plain}, SpeedSensor: true}, WheelSpeed},
		{"plain, watts computed from the curve", Rig{Trainer: Trainer{Kind: Plain}, Source: PowerSource{Kind: SourceCurve}, SpeedSensor: true}, WheelSpeed},
		{"rollers with a speed sensor", Rig{Trainer: Trainer{Kind: Rollers}, SpeedSensor: true}, WheelSpeed},
		{"rollers, bare", Rig{Trainer: Trainer{Kind: Rollers}, HeartRate: true}, Feel},
		{"bike that shows no watts", Rig{Trainer: Trainer{Kind: Bike}, SpeedSensor: true}, Feel},
		{"bike that shows watts", Rig{Trainer: Trainer{Kind: Bike}, Source: PowerSource{Kind: SourceTrainer}}, Watts},
	} {
		if got := c.rig.Speaks(); got != c.want {
			t.Errorf("%s: speaks %v, want %v", c.name, got, c.want)
		}
	}
}

// Maier et al. 2017, Int J Sports Med 38:456 (abstract only): 54 mobile power
// meters, −0.9 ± 3.2 % (mean ± SD), 6 of them beyond ±5 %. Peiffer and Losco
// 2011, Int J Sports Med (abstract only; authors from memory): electromagnetic
// wheel-on trainer, typical error of estimate 3.5 % (3.2-3.9).
func TestPublishedSourceSpread(t *testing.T) {
	for _, kind := range []SourceKind{SourceCrank, SourcePedal, SourceHub} {
		sd, origin := Rig{Source: PowerSource{Kind: kind}}.SourceSD()
		near(t, kind.String(), sd, 0.032, 1e-12)
		if !strings.Contains(origin, "Maier") {
			t.Errorf("%v: origin %q", kind, origin)
		}
		// The prior must foresee about as many meters beyond ±5 % as were found:
		// 6 of 54, with binomial doubt of about ±4 (two standard deviations 4.6).
		beyond := 54 * (math.Erfc((5-0.9)/3.2/math.Sqrt2) + math.Erfc((5+0.9)/3.2/math.Sqrt2)) / 2
		near(t, "meters beyond 5 %", beyond, 6, 4.6)
	}
	sd, _ := Rig{Source: PowerSource{Kind: SourceTrainer}}.SourceSD()
	if sd < 0.032 || sd > 0.039 {
		t.Errorf("trainer sd %v outside the published 3.2-3.9 %%", sd)
	}
}

func TestSourceSD(t *testing.T) {
	typed := curve(t, Point{5, 80}, Point{10, 250})
	for _, c := range []struct {
		name   string
		rig    Rig
		sd     float64
		origin string
	}{
		{"stated", Rig{Source: PowerSource{Kind: SourceCrank, Accuracy: 0.015}}, 0.015, "for the rig"},
		{"curve unknown", Rig{Trainer: Trainer{Kind: Plain}}, 0.35, "curve unknown"},
		{"curve typed", Rig{Trainer: Trainer{Kind: Plain, Curve: typed}, Source: PowerSource{Kind: SourceCurve}}, 0.10, "maker's table"},
		{"bike", Rig{Trainer: Trainer{Kind: Bike}, Source: PowerSource{Kind: SourceTrainer}}, 0.035, "our judgement"},
		{"bike without watts", Rig{Trainer: Trainer{Kind: Bike}}, 0, "nothing shows watts"},
		{"controllable, source not named", Rig{}, 0.035, "wheel-on"},
	} {
		sd, origin := c.rig.SourceSD()
		near(t, c.name, sd, c.sd, 1e-12)
		if !strings.Contains(origin, c.origin) {
			t.Errorf("%s: origin %q, want %q in it", c.name, origin, c.origin)
		}
	}
}

func TestUnknownCurve(t *testing.T) {
	c := UnknownCurve()
	near(t, "at 30 km/h", c.Watts(30/3.6), 200, 1e-9)
	near(t, "at 15 km/h", c.Watts(15/3.6), 50, 1e-9)
	h := Rig{Trainer: Trainer{Kind: Plain}, SpeedSensor: true}.Hold(200)
	near(t, "wheel speed", h.WheelSpeed*3.6, 30, 1e-9)
	// 80 % interval by hand: 30·exp(±1.28155·0.35/2).
	near(t, "low", h.Low*3.6, 23.973, 1e-3)
	near(t, "high", h.High*3.6, 37.542, 1e-3)
	if h.Flag != "" || h.Gear != "" {
		t.Errorf("nothing known, nothing to flag: %+v", h)
	}
}

func TestPowerCurveProperties(t *testing.T) {
	for seed := range uint64(200) {
		r := rand.New(rand.NewPCG(seed, 7))
		var rows []Point
		v, w := 3*r.Float64(), 20*r.Float64()
		if seed%4 == 0 {
			v, w = 0, 0
		} else {
			v, w = v+0.1, w+1
		}
		for range 2 + r.IntN(7) {
			rows = append(rows, Point{v, w})
			v, w = v+0.05+3*r.Float64(), w+0.5+120*r.Float64()
		}
		c := curve(t, rows...)
		for _, p := range rows {
			near(t, "through its row", c.Watts(p.WheelSpeed), p.Watts, 1e-9)
		}
		last := -1.0
		for s := 0.0; s < v+3; s += 0.01 {
			w := c.Watts(s)
			if w <= last && s > 0.02 {
				t.Fatalf("seed %d: watts do not rise at %v m/s: %v after %v", seed, s, w, last)
			}
			if back := c.WheelSpeed(w); s > 0 && math.Abs(back-s) > 1e-7 {
				t.Fatalf("seed %d: WheelSpeed(Watts(%v)) = %v", seed, s, back)
			}
			last = w
		}
	}
}

func TestPowerCurveRefuses(t *testing.T) {
	for name, rows := range map[string][]Point{
		"one row":            {{5, 80}},
		"falling watts":      {{5, 80}, {6, 79}},
		"equal watts":        {{5, 80}, {6, 80}},
		"falling speed":      {{5, 80}, {4, 90}},
		"not a number":       {{5, 80}, {math.NaN(), 90}},
		"infinite":           {{5, 80}, {6, math.Inf(1)}},
		"negative":           {{-5, 80}, {6, 90}},
		"watts at no speed":  {{0, 5}, {6, 90}},
		"no watts at speed":  {{1, 0}, {6, 90}},
		"infinitely fast":    {{5, 80}, {math.Inf(1), 90}},
		"negative low watts": {{1, -1}, {6, 90}},
	} {
		if _, err := NewPowerCurve(rows, 0, ""); err == nil {
			t.Errorf("%s: accepted", name)
		}
	}
	if _, err := NewBrakeTable([]Point{{0, 10}}); err == nil {
		t.Error("a brake limit at standstill: accepted")
	}
	if _, err := NewBrakeTable(nil); err == nil {
		t.Error("an empty brake table: accepted")
	}
	if _, err := NewBrakeTable([]Point{{5, 10}, {5, 20}}); err == nil {
		t.Error("two limits at one speed: accepted")
	}
}

// plainRig: a typed curve, linear on purpose: 30 W per m/s.
func plainRig(t *testing.T) Rig {
	return Rig{Trainer: Trainer{Kind: Plain, Curve: curve(t, Point{0, 0}, Point{5, 150}, Point{10, 300})},
		SpeedSensor: true, WheelCircumference: 2, Gears: Gears{Chainrings: []int{50, 34}, Cogs: []int{12, 17, 25}}}
}

func TestHoldPlain(t *testing.T) {
	r := plainRig(t)
	r.Trainer.Curve.slopes = []float64{30, 30, 30} // exactly linear, so that the hand calculation is exact
	h := r.Hold(240)
	near(t, "wheel speed", h.WheelSpeed, 8, 1e-8)
	near(t, "low", h.Low, 8*math.Exp(-estimate.Z80*0.1), 1e-8)
	near(t, "high", h.High, 8*math.Exp(estimate.Z80*0.1), 1e-8)
	// By hand: 8 m/s is 240 rpm of a 2 m wheel; 50×17 asks for 81.6 rpm, 34×12 for 84.7.
	near(t, "cadence", h.Cadence, 240*12/34.0, 1e-6)
	if h.Gear != "34×12" || h.Flag != "" {
		t.Errorf("240 W: %+v", h)
	}
	floor, ceiling := r.Limits()
	// By hand: 34×25 at 70 rpm is 3.1733 m/s, 50×12 at 100 rpm is 13.889 m/s.
	near(t, "floor", floor, 30*70*34/25.0*2/60, 1e-9)
	near(t, "ceiling", ceiling, 30*100*50/12.0*2/60, 1e-9)
	if h := r.Hold(330); h.Flag != "outside the table of this trainer, 0-36 km/h: a guess" {
		t.Errorf("330 W: %+v", h)
	}
	if h := r.Hold(60); h.Flag != "less than this trainer can hold: 95-417 W" || h.Gear != "34×25" {
		t.Errorf("60 W: %+v", h)
	}
	if h := r.Hold(450); h.Flag != "more than this trainer can hold: 95-417 W" || h.Gear != "50×12" {
		t.Errorf("450 W: %+v", h)
	}
	if h := r.Hold(0); h.WheelSpeed != 0 || h.High != 0 || h.Gear != "" || h.Flag != "" {
		t.Errorf("coasting needs nothing: %+v", h)
	}
}

func TestHoldPlainUnknownCurve(t *testing.T) {
	r := plainRig(t)
	r.Trainer.Curve = PowerCurve{}
	if floor, ceiling := r.Limits(); floor != 0 || !math.IsInf(ceiling, 1) {
		t.Errorf("limits %v %v of an unknown curve", floor, ceiling)
	}
	if h := r.Hold(1500); h.Flag != "164 rpm even in 50×12" {
		t.Errorf("%+v", h) // by hand: 22.82 m/s is 684.7 rpm of the wheel, ·12/50
	}
}

// brakeRig: at 3 m/s the brake reaches 150 W, at 12 m/s it cannot go below 90 W.
func brakeRig(t *testing.T) Rig {
	return Rig{
		Trainer:            Trainer{Floor: brake(t, Point{4, 30}, Point{12, 90}), Ceiling: brake(t, Point{3, 150}, Point{6, 600}, Point{12, 1500})},
		WheelCircumference: 2, Gears: Gears{Chainrings: []int{50, 34}, Cogs: []int{11, 15, 19, 25, 28}},
	}
}

func TestHoldBrake(t *testing.T) {
	r := brakeRig(t)
	floor, ceiling := r.Limits()
	// By hand: slowest 34×28 at 70 rpm, 2.8333 m/s; fastest 50×11 at 100 rpm, 15.15 m/s, beyond the table.
	near(t, "floor", floor, 30*70*34/28.0*2/60/4, 1e-9)
	near(t, "ceiling", ceiling, 1500, 1e-9)
	for _, c := range []struct {
		watts float64
		gear  string
		rpm   float64
		flag  string
	}{
		// The middle of ten gears by ratio is 34×15 (the sixth): 6.42 m/s at 85 rpm, 48-664 W.
		{200, "34×15", 85, ""},
		// 40 W: it would need 70.6 rpm there (5.33 m/s); 34×19 holds it at 85 (5.07 m/s, from 38 W).
		{40, "34×19", 85, ""},
		{35, "34×25", 85, "the middle gear 34×15 cannot hold this: use 34×25"},
		// 900 W needs 8 m/s: 34×11 is 8.76 m/s at 85 rpm, 34×15 only 7.56 m/s at 100.
		{900, "34×11", 85, "the middle gear 34×15 cannot hold this: use 34×11"},
		{1700, "50×11", 85, "more than this trainer can hold: 21-1500 W"},
		{10, "34×28", 70, "less than this trainer can hold: 21-1500 W"},
	} {
		h := r.Hold(c.watts)
		if h.Gear != c.gear || h.Flag != c.flag || h.Cadence != c.rpm {
			t.Errorf("%v W: %+v, want %s at %v: %q", c.watts, h, c.gear, c.rpm, c.flag)
		}
		if h.WheelSpeed != 0 {
			t.Errorf("%v W: a controllable trainer is not led by wheel speed: %+v", c.watts, h)
		}
	}
}

// The chosen seat against plain enumeration of every gear and whole cadence.
func TestHoldBrakeAgainstEnumeration(t *testing.T) {
	r := brakeRig(t)
	for watts := 5.0; watts <= 1700; watts += 5 {
		h := r.Hold(watts)
		nearest, held := math.Inf(1), false
		for _, ring := range r.Gears.Chainrings {
			for _, cog := range r.Gears.Cogs {
				for c := 70.0; c <= 100; c++ {
					low, high := r.brake(c / 60 * 2 * float64(ring) / float64(cog))
					if low <= watts && watts <= high {
						nearest, held = math.Min(nearest, math.Abs(c-85)), true
					}
				}
			}
		}
		floor, ceiling := r.Limits()
		if held != (watts >= floor-0.5 && watts <= ceiling+0.5) {
			t.Fatalf("%v W: held %v, limits %v-%v", watts, held, floor, ceiling)
		}
		if held && math.Abs(h.Cadence-85) != nearest {
			t.Fatalf("%v W: %+v, but some gear holds it %v rpm from 85", watts, h, nearest)
		}
		if held == strings.Contains(h.Flag, "than this trainer") {
			t.Fatalf("%v W: held %v, flag %q", watts, held, h.Flag)
		}
	}
}

func TestHoldNothingKnown(t *testing.T) {
	for name, r := range map[string]Rig{
		"no gears":  {Trainer: Trainer{Floor: brake(t, Point{4, 30})}},
		"no limits": {Gears: Gears{Chainrings: []int{50}, Cogs: []int{15}}},
		"bike":      {Trainer: Trainer{Kind: Bike}, Gears: Gears{Chainrings: []int{50}, Cogs: []int{15}}},
	} {
		if h := r.Hold(200); h != (Holding{}) {
			t.Errorf("%s: %+v", name, h)
		}
		if floor, ceiling := r.Limits(); floor != 0 || !math.IsInf(ceiling, 1) {
			t.Errorf("%s: limits %v %v", name, floor, ceiling)
		}
	}
	onlyFloor := brakeRig(t)
	onlyFloor.Trainer.Ceiling = BrakeTable{}
	if h := onlyFloor.Hold(10); h.Flag != "less than this trainer can hold: 21 W or more" {
		t.Errorf("%+v", h)
	}
}

func TestBrakeOutsideItsTable(t *testing.T) {
	b := brake(t, Point{4, 100}, Point{8, 400})
	for _, c := range []struct{ v, least, most float64 }{
		{0, 0, 0}, {2, 50, 50}, {4, 100, 100}, {6, 250, 250}, {8, 400, 400}, {16, 800, 400},
	} {
		near(t, "least", b.least(c.v), c.least, 1e-12)
		near(t, "most", b.most(c.v), c.most, 1e-12)
	}
}

func TestContradiction(t *testing.T) {
	if v, ok := brakeRig(t).Trainer.Contradiction(); ok {
		t.Errorf("a sound brake contradicts itself at %v m/s", v)
	}
	// By hand: at 12 m/s the floor has grown to 300 W and the ceiling stays at 200 W.
	mad := Trainer{Floor: brake(t, Point{4, 100}), Ceiling: brake(t, Point{3, 150}, Point{6, 200}, Point{12, 200})}
	if v, ok := mad.Contradiction(); !ok || v != 12 {
		t.Errorf("contradiction at %v %v, want 12", v, ok)
	}
	if _, ok := (Trainer{}).Contradiction(); ok {
		t.Error("no tables, no contradiction")
	}
}
