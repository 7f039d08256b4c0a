package debrief

import (
	"math"

	"chainline/capacity"
)

// What a heart says of a ride. None of it is a medical measure.

// Trimp is the training impulse of a ride by its heart rate, minutes times
// weight. Zero: not known.
type Trimp struct {
	Banister float64 `json:"banister,omitempty"`   // heart-rate reserve, exponential
	FiveZone float64 `json:"five_zones,omitempty"` // tenths of the maximum, 1 to 5
	ByVT     float64 `json:"by_vt,omitempty"`      // below, between and above the ventilatory thresholds, 1 to 3
	Words    string  `json:"words,omitempty"`      // what was assumed
}

// Banister is the training impulse of minutes at a heart rate (bpm) between
// rest and maximum: minutes · x · 0.64·e^(1.92·x) for men, 0.86·e^(1.67·x) for
// women, x the share of the heart-rate reserve, held to 0 … 1. Banister 1991;
// Morton, Fitz-Clarke, Banister 1990, J Appl Physiol 69:1171 (the formula read
// in two texts that print it; the papers from memory).
func Banister(minutes, heart, rest, maximum float64, woman bool) float64 {
	x := math.Max(0, math.Min(1, (heart-rest)/(maximum-rest)))
	if woman {
		return minutes * x * 0.86 * math.Exp(1.67*x)
	}
	return minutes * x * 0.64 * math.Exp(1.92*x)
}

// FiveZones is the weight of a minute by tenths of the maximal heart rate: 1
// from 50 %, 5 from 90 %, nothing below. Edwards 1993 (read in two texts).
func FiveZones(heart, maximum float64) float64 {
	tenth := math.Floor(10*heart/maximum + 1e-9)
	return math.Max(0, math.Min(5, tenth-4))
}

// ByThresholds is the weight of a minute below (1), between (2) and above (3)
// the heart rates of the two ventilatory thresholds. Lucía's form, named by
// Cejuela and Esteve-Lanao 2011; the weights from memory.
func ByThresholds(heart, vt1, vt2 float64) float64 {
	switch {
	case heart < vt1:
		return 1
	case heart < vt2:
		return 2
	}
	return 3
}

func (m *Measures) byHeart(q MeasureRequest, s *seconds) {
	_, n := mean(s.heart)
	if q.Rider.HeartRateOff || n == 0 {
		m.Whole.MeanHeart, m.Whole.MaxHeart = 0, 0
		if q.Rider.HeartRateOff {
			for i := range s.heart {
				s.heart[i] = math.NaN()
			}
		}
		return
	}
	m.Trimp = trimp(q, s)
	var why string
	if m.Drift, why = s.drift(); why != "" {
		m.unsaid("Heart-rate drift at equal power: cannot say, because " + why + ".")
	}
	if q.Capacity != nil {
		m.Recoveries = s.recoveries(*q.Capacity)
	}
}

func trimp(q MeasureRequest, s *seconds) *Trimp {
	maximum, _, from, ok := q.Rider.MaxHeart()
	t := &Trimp{}
	woman := q.Rider.Sex == capacity.Female
	for _, h := range s.heart {
		if math.IsNaN(h) {
			continue
		}
		if ok && q.RestHeart > 0 && q.RestHeart < maximum && q.Rider.Sex != capacity.SexUnknown {
			t.Banister += Banister(1./60, h, q.RestHeart, maximum, woman)
		}
		if ok {
			t.FiveZone += FiveZones(h, maximum) / 60
		}
		if q.VT1 > 0 && q.VT2 > q.VT1 {
			t.ByVT += ByThresholds(h, q.VT1, q.VT2) / 60
		}
	}
	if *t == (Trimp{}) {
		return nil
	}
	if ok {
		t.Words = "maximal heart rate " + from
	}
	return t
}

// Drift is how much higher the heart beats at equal power later in a ride.
type Drift struct {
	FromS float64 `json:"from_s"`
	ToS   float64 `json:"to_s"`
	// Decoupling is the loss of mean power over mean heart rate from the first
	// to the second half, as a fraction of the first. It is a drift only where
	// the halves were ridden alike: Alike.
	Decoupling float64 `json:"decoupling"`
	Alike      bool    `json:"halves_alike"`
	// AtEqualW is the rise (bpm) between minutes of equal power in the two
	// halves, within 10 W; Minutes of each half were compared. 0 minutes: none
	// were equal.
	AtEqualW float64 `json:"at_equal_power_bpm"`
	Minutes  int     `json:"minutes"`
	Words    string  `json:"words"`
}

// Decoupling is the fall of mean power over mean heart rate between two
// stretches, as a fraction of the first: watts and bpm.
func Decoupling(firstWatts, firstHeart, secondWatts, secondHeart float64) float64 {
	first, second := firstWatts/firstHeart, secondWatts/secondHeart
	return (first - second) / first
}

// Drift begins about ten minutes into constant work (Wingo, Ganio, Cureton
// 2012, ESSR 40:88, introduction read); the rest is our judgement.
const (
	driftFrom    = 600  // s
	driftLeast   = 1800 // s from there that have to be there
	alikeHalves  = 0.05 // of mean power by which alike halves differ at most
	equalWatts   = 10.0 // W by which equal minutes differ at most
	leastMinutes = 5
)

func (s *seconds) drift() (*Drift, string) {
	var watts, heart []float64
	for i := driftFrom; i < s.n(); i++ {
		if !math.IsNaN(s.watts[i]) && !math.IsNaN(s.heart[i]) {
			watts, heart = append(watts, s.watts[i]), append(heart, s.heart[i])
		}
	}
	if len(watts) < driftLeast {
		return nil, "it takes half an hour with power and heart rate after the first ten minutes"
	}
	half := len(watts) / 2
	w1, _ := mean(watts[:half])
	w2, _ := mean(watts[half:])
	h1, _ := mean(heart[:half])
	h2, _ := mean(heart[half:])
	if !(w1 > 0 && w2 > 0 && h1 > 0 && h2 > 0) {
		return nil, "a half of the ride has no power or no heart beat"
	}
	d := &Drift{FromS: driftFrom, ToS: float64(s.n()), Decoupling: Decoupling(w1, h1, w2, h2), Alike: math.Abs(w2-w1) <= alikeHalves*w1,
		Words: "Heat, drinking and the fan move a heart as much as fitness does: compare only rides in the same room."}
	d.AtEqualW, d.Minutes = equalPower(minutes(watts[:half], heart[:half]), minutes(watts[half:], heart[half:]))
	if d.Minutes < leastMinutes {
		d.AtEqualW, d.Minutes = 0, 0
		if !d.Alike {
			return nil, "the two halves of the ride hardly share a power"
		}
	}
	return d, ""
}

// minute is the mean of a minute's power, and the heart rate of its last half,
// which has followed.
type minute struct{ watts, heart float64 }

func minutes(watts, heart []float64) []minute {
	var out []minute
	for i := 0; i+60 <= len(watts); i += 60 {
		w, _ := mean(watts[i : i+60])
		h, _ := mean(heart[i+30 : i+60])
		out = append(out, minute{w, h})
	}
	return out
}

// equalPower pairs each minute of the first half with the unpaired one of the
// second half that is nearest in power, and takes the mean rise in bpm.
func equalPower(first, second []minute) (rise float64, pairs int) {
	used := make([]bool, len(second))
	for _, a := range first {
		nearest, off := -1, equalWatts
		for k, b := range second {
			if d := math.Abs(a.watts - b.watts); !used[k] && a.watts > 0 && d <= off {
				nearest, off = k, d
			}
		}
		if nearest >= 0 {
			used[nearest] = true
			rise += second[nearest].heart - a.heart
			pairs++
		}
	}
	if pairs == 0 {
		return 0, 0
	}
	return rise / float64(pairs), pairs
}

// HeartRecovery is how far the heart rate fell in the minute after an effort.
type HeartRecovery struct {
	AtS      float64 `json:"at_s"` // the end of the effort
	EffortW  float64 `json:"effort_w"`
	AfterW   float64 `json:"after_w"` // ridden in the minute after
	FromBpm  float64 `json:"from_bpm"`
	AfterBpm float64 `json:"after_bpm"`
}

// An effort is a minute of at least effortShare of critical power, and over
// when the minute behind it is below restShare. Our judgement.
const (
	effortShare = 0.9
	restShare   = 0.6
)

func (s *seconds) recoveries(c capacity.Capacity) []HeartRecovery {
	around := func(i int) (before, after float64, ok bool) {
		before, n1 := mean(s.watts[i-60 : i])
		after, n2 := mean(s.watts[i : i+60])
		return before, after, n1 == 60 && n2 == 60 && before >= effortShare*c.CriticalPower && after <= restShare*c.CriticalPower
	}
	var out []HeartRecovery
	for i := 60; i+60 <= s.n(); i++ {
		before, after, ok := around(i)
		if !ok {
			continue
		}
		end := i
		for k := i + 1; k <= min(i+60, s.n()-60); k++ { // it ends where the fall is greatest
			if b, a, _ := around(k); b-a > before-after {
				before, after, end = b, a, k
			}
		}
		from, k1 := mean(s.heart[end-5 : end])
		to, k2 := mean(s.heart[end+55 : end+60])
		if k1 > 0 && k2 > 0 {
			out = append(out, HeartRecovery{float64(end), before, after, from, to})
		}
		i = end + 60
	}
	return out
}
