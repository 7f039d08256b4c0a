package recording

import (
	"bytes"
	"fmt"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// ridden is an invented hour: efforts, coasting, sprints that come and go as
// sprints do. fault may change a reading, or leave it out by NaN.
func ridden(seed uint64, sprints int, fault func(q Quantity, s, v float64) float64) *Recording {
	rng := rand.New(rand.NewPCG(seed, 9))
	b := NewBuilder("ride", 1.7e9, 0, "road cycling")
	sprint := map[int]float64{} // watts above, by second
	for range sprints {
		at, peak, length := 200+rng.IntN(3000), 400+1500*rng.Float64(), 4+rng.IntN(16)
		for k := range length + 4 {
			x := float64(k)
			sprint[at+k] = peak * math.Min(1, (x+1)/2.5) * math.Exp(-math.Max(0, x-2)/float64(length)) * math.Min(1, float64(length+4-k)/3)
		}
	}
	level, way, heart := 180.0, 0.0, 120.0
	for k := range 3600 {
		s := float64(k)
		if k%75 == 0 {
			level = 100 + 200*rng.Float64()
		}
		coasting := k%400 > 370
		cadence := math.Round(86 + 6*math.Sin(s/37) + 2*rng.NormFloat64())
		w := math.Round(math.Max(0, level+25*rng.NormFloat64()) + sprint[k])
		if sprint[k] > 100 {
			cadence += 20
		} else if coasting {
			w, cadence = 0, 0
		}
		heart += (100 + math.Min(w, 350)/4 - heart) / 40
		v := 9 + 2*math.Sin(s/60)
		way += v
		put := func(q Quantity, source string, v float64) {
			if fault != nil {
				v = fault(q, s, v)
			}
			if !math.IsNaN(v) {
				_ = b.Add(q, source, s, v)
			}
		}
		put(Power, "meter", w)
		put(Cadence, "meter", cadence)
		put(HeartRate, "belt", math.Round(heart))
		put(Speed, "recorded", v)
		put(Altitude, "recorded", math.Round(200+40*math.Sin(s/400)))
		put(Position, "recorded", way)
	}
	r := b.Recording(true)
	return &r
}

// Real rides with real sprints are left alone: four hundred sprints of 400 to
// 1,900 W above the effort they come from, 8 to 23 s with their rise and fall.
func TestCleanKeepsSprints(t *testing.T) {
	for seed := range uint64(20) {
		r := ridden(seed, 20, nil)
		if _, changes := Clean(r); len(changes) > 0 {
			t.Errorf("ride %d: %+v", seed, changes[0])
		}
	}
	// A standing start: the first two turns of the cranks after a stop.
	start := ridden(3, 0, func(q Quantity, s, v float64) float64 {
		if q == Power && s >= 1000 && s < 1012 {
			return []float64{0, 0, 0, 0, 620, 980, 900, 700, 520, 400, 0, 0}[int(s)-1000]
		}
		return v
	})
	for _, c := range Suspect(start) {
		if c.Kind == Spike {
			t.Errorf("a standing start: %+v", c)
		}
	}
}

// plant is a fault put into a ride and what is to be found of it.
type plant struct {
	fault    func(Quantity, float64, float64) float64
	kind     ChangeKind // empty: it is to be kept
	quantity Quantity
	from, to float64
}

func planted() map[string]plant {
	nan := math.NaN()
	at := func(q Quantity, from, to, value float64) func(Quantity, float64, float64) float64 {
		return func(have Quantity, s, v float64) float64 {
			if (have == q || q == "") && s >= from && s <= to {
				return value
			}
			return v
		}
	}
	both := func(a, b func(Quantity, float64, float64) float64) func(Quantity, float64, float64) float64 {
		return func(q Quantity, s, v float64) float64 { return b(q, s, a(q, s, v)) }
	}
	steady := func(q Quantity, s, v float64) float64 {
		if q == Power && s >= 990 && s < 1012 {
			return 240 + math.Mod(s, 7)
		}
		return v
	}
	return map[string]plant{
		"a lonely peak":              {at(Power, 1000, 1000, 2900), Spike, Power, 1000, 1000},
		"power of no rider":          {at(Power, 1000, 1003, 9999), Spike, Power, 1000, 1003},
		"power lost for 3 s":         {both(steady, at(Power, 1000, 1002, 0)), DropOut, Power, 1000, 1002},
		"power stuck while it rolls": {at(Power, 1165, 1190, 231), Stuck, Power, 1174, 1190},
		"a belt that heard nothing":  {at(HeartRate, 500, 900, 0), DropOut, HeartRate, 500, 900},
		"a heart that jumps":         {at(HeartRate, 1000, 1003, 230), Spike, HeartRate, 1000, 1003},
		"a heart stuck":              {at(HeartRate, 1000, 1700, 141), Stuck, HeartRate, 1001, 1700},
		"cadence of nobody":          {at(Cadence, 1000, 1001, 250), Spike, Cadence, 1000, 1001},
		"a cadence that jumps":       {at(Cadence, 1000, 1000, 190), Spike, Cadence, 1000, 1000},
		"cadence lost under load":    {both(at(Cadence, 1000, 1004, 0), at(Power, 998, 1006, 240)), "", "", 0, 0}, // the same watts all through: perhaps they are the stuck ones
		"cadence lost":               {at(Cadence, 1000, 1004, 0), DropOut, Cadence, 1000, 1004},
		"a speed that jumps":         {at(Speed, 1000, 1000, 31), Spike, Speed, 1000, 1000},
		"a height that jumps":        {at(Altitude, 1000, 1000, 480), Spike, Altitude, 1000, 1000},
		"the device stood": {func(q Quantity, s, v float64) float64 {
			if s > 1000 && s < 1120 {
				return nan
			}
			if q == Position && s >= 1120 {
				return v - 1200
			}
			return v
		}, Stopped, "", 1000, 1120},
		"all sensors lost on the way": {at("", 1001, 1119, nan), "", "", 0, 0},
	}
}

// What is planted is found, and nothing else is touched.
func TestCleanFinds(t *testing.T) {
	for name, c := range planted() {
		r := ridden(5, 10, c.fault)
		var before bytes.Buffer
		if err := Write(&before, r); err != nil {
			t.Fatal(err)
		}
		cleaned, changes := Clean(r)
		var after bytes.Buffer
		if err := Write(&after, r); err != nil || !bytes.Equal(before.Bytes(), after.Bytes()) {
			t.Errorf("%s: the original was touched", name)
		}
		if c.kind == "" {
			if len(changes) != 0 {
				t.Errorf("%s: %+v", name, changes)
			}
			continue
		}
		if len(changes) != 1 || changes[0].Kind != c.kind || changes[0].Quantity != c.quantity || math.Abs(changes[0].From-c.from) > 3 || changes[0].To != c.to {
			t.Errorf("%s: %+v", name, short(changes))
			continue
		}
		if err := cleaned.Validate(); err != nil {
			t.Errorf("%s: %v", name, err)
		}
		if x := changes[0]; x.Why == "" || strings.Contains(x.Why, "%!") {
			t.Errorf("%s: why: %q", name, x.Why)
		}
		if c.kind == Stopped && cleaned.Totals("").Moving > r.Totals("").Moving-119 {
			t.Errorf("the stop is not taken from the time ridden")
		}
	}
}

func short(changes []Change) (out []string) {
	for _, c := range changes {
		out = append(out, fmt.Sprintf("%s %s %g-%g (%d): %s", c.Kind, c.Quantity, c.From, c.To, len(c.Was), c.Why))
	}
	return out
}

// All changes taken back, in any order, give the original to the bit; any
// some of them may be made.
func TestUndo(t *testing.T) {
	rng := rand.New(rand.NewPCG(1, 2))
	r := ridden(5, 10, func(q Quantity, s, v float64) float64 {
		switch {
		case q == Power && (s == 500 || s == 1200):
			return 2600
		case q == Power && s >= 700 && s < 703, q == HeartRate && s >= 800 && s < 1300:
			return 0
		case s > 2000 && s < 2100:
			return math.NaN()
		case q == Position && s >= 2100:
			return v - 1000
		}
		return v
	})
	cleaned, changes := Clean(r)
	if len(changes) != 5 {
		t.Fatalf("%v", short(changes))
	}
	var want bytes.Buffer
	if err := Write(&want, r); err != nil {
		t.Fatal(err)
	}
	for range 20 {
		back := cleaned
		for _, i := range rng.Perm(len(changes)) {
			var err error
			if back, err = Undo(back, changes[i]); err != nil {
				t.Fatal(err)
			}
		}
		var got bytes.Buffer
		if err := Write(&got, back); err != nil || !bytes.Equal(got.Bytes(), want.Bytes()) {
			t.Fatal("not the original")
		}
	}
	one, err := Undo(cleaned, changes[2])
	some := Apply(r, slices.Delete(slices.Clone(changes), 2, 3))
	var a, b bytes.Buffer
	if err != nil || Write(&a, one) != nil || Write(&b, some) != nil || !bytes.Equal(a.Bytes(), b.Bytes()) {
		t.Error("one taken back is not the same as all but one made")
	}
	for _, c := range changes {
		if _, err := Undo(r, c); err == nil {
			t.Errorf("%s was taken back where it had not been made", c.Kind)
		}
	}
	if again := Suspect(cleaned); len(again) != 0 {
		t.Errorf("cleaned, and suspect again: %v", short(again))
	}
}

func TestCleanNothing(t *testing.T) {
	for _, r := range []*Recording{{}, {Channels: []Channel{{Quantity: Power, Source: "x"}}}, {Channels: []Channel{{Quantity: Power, Seconds: []float64{1}, Values: []float64{200}}}}} {
		if _, changes := Clean(r); len(changes) != 0 {
			t.Errorf("%+v", changes)
		}
	}
	constant := NewBuilder("steady", 0, 0, "")
	for k := range 3600 {
		_ = constant.Add(Power, "trainer", float64(k), 200)
		_ = constant.Add(HeartRate, "belt", float64(k), 140)
		_ = constant.Add(Cadence, "trainer", float64(k), 90)
	}
	r := constant.Recording(true)
	if _, changes := Clean(&r); len(changes) != 0 {
		t.Errorf("an hour held by a trainer: %v", short(changes))
	}
}

func BenchmarkClean(b *testing.B) {
	r := ridden(1, 20, nil)
	for b.Loop() {
		Clean(r)
	}
}
