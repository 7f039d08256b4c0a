package recording

import (
	"math"
	"sort"
)

// Totals is what a stretch of a recording comes to. NaN: not known.
type Totals struct {
	From    float64 `json:"from_s"`
	To      float64 `json:"to_s"`
	Words   string  `json:"words,omitempty"` // of the mark a lap began with
	Elapsed float64 `json:"elapsed_s"`
	Moving  float64 `json:"moving_s"` // outside pauses

	PowerKnown float64 `json:"power_known_s"` // of Moving
	WorkJ      float64 `json:"work_j"`        // by the power in use, outside pauses, where it is known
	MeanW      float64 `json:"mean_w"`        // WorkJ over PowerKnown
	MaxW       float64 `json:"max_w"`         // of one-second rows, as all highest values here

	MeanCadence float64 `json:"mean_cadence_rpm"` // of the time with turning cranks
	MaxCadence  float64 `json:"max_cadence_rpm"`
	MeanHeart   float64 `json:"mean_heart_bpm"`
	MaxHeart    float64 `json:"max_heart_bpm"`
	DistanceM   float64 `json:"distance_m"`    // by Position, less what was Brought
	MaxSpeed    float64 `json:"max_speed_m_s"` // by Speed
	AscentM     float64 `json:"ascent_m"`      // rises of Altitude added up

	// Watts is one value for each second outside pauses in which power is
	// known; gaps are left out. It is what equivalent power is computed from.
	Watts []float64 `json:"-"`
}

// Totals is what the whole recording comes to, with power from the named
// source or, if it is empty, as the ride went.
func (r *Recording) Totals(source string) Totals {
	return r.reckoner(source).totals(0, r.End())
}

// Laps is what each lap comes to: from the start or a Lap mark to the next.
// Without such marks all is one.
func (r *Recording) Laps(source string) []Totals {
	k := r.reckoner(source)
	var out []Totals
	from, words := 0.0, ""
	for _, m := range r.Marks {
		if m.Kind != Lap {
			continue
		}
		if m.Seconds > from {
			out = append(out, k.totals(from, m.Seconds))
			out[len(out)-1].Words = words
		}
		from, words = m.Seconds, m.Words
	}
	if end := r.End(); end > from || len(out) == 0 {
		out = append(out, k.totals(from, end))
		out[len(out)-1].Words = words
	}
	return out
}

// reckoner holds the signals of one reckoning.
type reckoner struct {
	rec                                     *Recording
	power, cadence, heart, pos, speed, alti Channel
	brought                                 Channel
}

func (r *Recording) reckoner(source string) *reckoner {
	k := &reckoner{rec: r}
	k.power, _ = r.Signal(Power, source)
	k.cadence, _ = r.Signal(Cadence, "")
	k.heart, _ = r.Signal(HeartRate, "")
	k.pos, _ = r.Signal(Position, "")
	k.brought, _ = r.Signal(Brought, "")
	k.speed, _ = r.Signal(Speed, "")
	k.alti, _ = r.Signal(Altitude, "")
	return k
}

func (k *reckoner) totals(from, to float64) Totals {
	active := k.rec.active(from, to)
	t := Totals{From: from, To: to, Elapsed: to - from}
	for _, s := range active {
		t.Moving += s.to - s.from
	}
	t.WorkJ, t.PowerKnown = k.power.integral(active)
	if t.MeanW = t.WorkJ / t.PowerKnown; t.PowerKnown == 0 {
		t.WorkJ = math.NaN()
	}
	t.MeanCadence = k.cadence.meanTurning(active)
	beats, known := k.heart.integral(active)
	t.MeanHeart = beats / known
	t.MaxW, t.MaxCadence, t.MaxHeart, t.MaxSpeed = math.NaN(), math.NaN(), math.NaN(), math.NaN()
	for _, row := range seconds(active) {
		higher(&t.MaxCadence, &k.cadence, row)
		higher(&t.MaxHeart, &k.heart, row)
		higher(&t.MaxSpeed, &k.speed, row)
		if w, ok := k.power.mean(row); ok {
			t.Watts = append(t.Watts, w)
			t.MaxW = larger(t.MaxW, w)
		}
	}
	t.DistanceM = k.pos.last(to) - k.pos.last(from) - (k.brought.upTo(to) - k.brought.upTo(from))
	t.AscentM = k.alti.ascent(from, to, &k.brought)
	return t
}

// seconds cuts stretches into rows on whole seconds.
func seconds(spans []span) []span {
	var out []span
	for _, s := range spans {
		for at := s.from; at < s.to; {
			end := min(math.Floor(at)+1, s.to)
			out = append(out, span{at, end})
			at = end
		}
	}
	return out
}

func (c *Channel) mean(s span) (float64, bool) {
	area, known := c.integral([]span{s})
	return area / known, known > 0 && known >= (s.to-s.from)/2-1e-9
}

func higher(highest *float64, c *Channel, s span) {
	if v, ok := c.mean(s); ok {
		*highest = larger(*highest, v)
	}
}

// larger takes NaN for nothing.
func larger(a, b float64) float64 {
	if math.IsNaN(a) || b > a {
		return b
	}
	return a
}

// meanTurning is the mean over the time in which the value is above 0.
func (c *Channel) meanTurning(spans []span) float64 {
	turning := Channel{Quantity: c.Quantity, Seconds: c.Seconds, Values: make([]float64, len(c.Values))}
	for i, v := range c.Values {
		if v > 0 {
			turning.Values[i] = 1
		}
	}
	time, _ := turning.integral(spans)
	area, _ := c.integral(spans)
	return area / time // 0/0 is NaN, not known
}

// last is the last value at or before an instant, however old; the first if
// there is none before.
func (c *Channel) last(seconds float64) float64 {
	if len(c.Values) == 0 {
		return math.NaN()
	}
	v := c.Values[0]
	for i, s := range c.Seconds {
		if s > seconds {
			break
		}
		v = c.Values[i]
	}
	return v
}

// upTo is the last value at or before an instant, 0 before the first: of what
// is counted from nothing.
func (c *Channel) upTo(seconds float64) float64 {
	i := sort.Search(len(c.Seconds), func(i int) bool { return c.Seconds[i] > seconds })
	if i == 0 {
		return 0
	}
	return c.Values[i-1]
}

// ascent is what was climbed, without what one was brought up.
func (c *Channel) ascent(from, to float64, brought *Channel) float64 {
	if len(c.Values) == 0 {
		return math.NaN()
	}
	up := 0.0
	for i := 1; i < len(c.Values); i++ {
		if c.Seconds[i] > from && c.Seconds[i] <= to && brought.upTo(c.Seconds[i]) == brought.upTo(c.Seconds[i-1]) {
			up += max(0, c.Values[i]-c.Values[i-1])
		}
	}
	return up
}
