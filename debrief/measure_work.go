package debrief

import (
	"math"
	"slices"

	"chainline/capacity"
	"chainline/estimate"
)

// drawn is how many riders out of those the evidence allows judge domains and
// W′ balance.
const drawn = 100

// Domains is the time in the intensity domains, s, with its 80 % interval from
// the doubt about the borders.
type Domains struct {
	Moderate Interval `json:"moderate_s"`
	Heavy    Interval `json:"heavy_s"`
	Severe   Interval `json:"severe_s"`
	Extreme  Interval `json:"extreme_s"`
	// The borders, W: below the first moderate, above critical power severe,
	// and extreme what ends within two minutes.
	FirstW    Interval `json:"first_w"`
	CriticalW Interval `json:"critical_w"`
	ExtremeW  Interval `json:"extreme_w"`
}

// The borders. Heavy ends at critical power (Vanhatalo, Doust, Burnley 2007,
// introduction read). Moderate ends at the lactate or gas-exchange threshold,
// for which a share of critical power stands: 0.60 in ten people (101 of 167
// W; Perceptual and Motor Skills 2023, doi 10.1177/00315125231180383; abstract
// only); other groups lie higher, so that 0.65 ± 0.08 is our judgement. Extreme
// is what ends before oxygen uptake is maximal, about two minutes (Hill,
// Poole, Smith 2002, from memory).
const (
	firstShare, firstShareSD = 0.65, 0.08
	extremeEnds              = 120.0 // s
	domainSmoothing          = 30    // s, the mean that is judged, as in equivalent power (our judgement)
)

func (s *seconds) domains(c capacity.Capacity, seed uint64) *Domains {
	smooth := s.rolling(domainSmoothing)
	slices.Sort(smooth)
	var in [4][]float64
	var border [3][]float64
	for i := range drawn {
		r := estimate.Stream(seed, i)
		rider := c.Draw(r)
		share := firstShare + firstShareSD*math.Max(-3, math.Min(3, r.NormFloat64()))
		b := [3]float64{share * rider.CriticalPower, rider.CriticalPower, rider.Power(extremeEnds)}
		below := 0
		for k := range 4 {
			upTo := len(smooth)
			if k < 3 {
				upTo, _ = slices.BinarySearch(smooth, b[k])
				border[k] = append(border[k], b[k])
			}
			in[k] = append(in[k], float64(upTo-below))
			below = upTo
		}
	}
	of := func(v []float64) Interval { return interval(estimate.FromDraws(v, "")) }
	return &Domains{Moderate: of(in[0]), Heavy: of(in[1]), Severe: of(in[2]), Extreme: of(in[3]),
		FirstW: of(border[0]), CriticalW: of(border[1]), ExtremeW: of(border[2])}
}

// rolling is the mean of the last n seconds with power, one for each.
func (s *seconds) rolling(n int) []float64 {
	watts := slices.DeleteFunc(slices.Clone(s.watts), math.IsNaN)
	out, sum := make([]float64, len(watts)), 0.0
	for i, w := range watts {
		if sum += w; i >= n {
			sum -= watts[i-n]
		}
		out[i] = sum / float64(min(i+1, n))
	}
	return out
}

// BalanceSeries is W′ over a ride.
type BalanceSeries struct {
	CriticalPower float64        `json:"critical_power_w"` // as long rides fade
	WPrime        float64        `json:"w_prime_j"`
	Form          string         `json:"recovery"`
	Points        []BalancePoint `json:"points"`     // the lowest of each of at most 600 equal times
	Lowest        Interval       `json:"lowest_j"`   // Mean is that of Points
	LowestAtS     float64        `json:"lowest_s"`   //
	LowestAtM     float64        `json:"lowest_m"`   //
	BelowZero     float64        `json:"below_zero"` // chance that the capacity did not allow the ride
	Low           []LowStretch   `json:"low,omitempty"`

	joules []float64 // every second
}

// BalancePoint is what was left of W′ at a time.
type BalancePoint struct {
	S float64 `json:"s"`
	J float64 `json:"j"`
}

// LowStretch is where W′ ran low.
type LowStretch struct {
	FromS   float64 `json:"from_s"`
	ToS     float64 `json:"to_s"`
	FromM   float64 `json:"from_m,omitempty"`
	ToM     float64 `json:"to_m,omitempty"`
	LowestJ float64 `json:"lowest_j"`
}

// lowShare of W′ is low, and a stretch is over once backShare is there. Our
// judgement.
const (
	lowShare, backShare = 0.25, 0.35
	balancePoints       = 600
)

// bookKeeping is the balance of a rider for a ride of so many seconds with
// these watts.
func bookKeeping(c capacity.Capacity, form capacity.Recovery, watts []float64, speed float64) capacity.Balance {
	b := capacity.Balance{CriticalPower: c.SustainableCP(float64(len(watts))), WPrime: c.WPrime, Form: form, Speed: speed}
	if form != capacity.Integral {
		return b
	}
	sum, n := 0.0, 0
	for _, w := range watts {
		if w < b.CriticalPower {
			sum += b.CriticalPower - w
			n++
		}
	}
	b.MeanDeficit = sum / math.Max(1, float64(n))
	return b
}

// left is the balance at the end of each second; in a gap it stands.
func left(b capacity.Balance, watts []float64, known []bool) (joules []float64, lowest float64, at int) {
	joules = make([]float64, len(watts))
	w := b.WPrime
	lowest = w
	for i, p := range watts {
		if known[i] {
			w = b.Step(w, p, 1)
		}
		joules[i] = w
		if w < lowest {
			lowest, at = w, i
		}
	}
	return joules, lowest, at
}

// balance keeps the book: nothing is pedalled in a pause, and what is not
// known changes nothing.
func (s *seconds) balance(c capacity.Capacity, form capacity.Recovery, seed uint64) *BalanceSeries {
	watts, known := s.filled(), make([]bool, s.n())
	for i, w := range s.watts {
		known[i] = !math.IsNaN(w) || s.paused[i]
	}
	median, sd := 1.0, 0.0
	if !c.Exact {
		median, sd = capacity.RecoverySpread(form)
	}
	book := bookKeeping(c, form, watts, median)
	out := &BalanceSeries{CriticalPower: book.CriticalPower, WPrime: book.WPrime, Form: [...]string{"differential", "integral", "elite"}[form]}
	var lowest float64
	var at int
	out.joules, lowest, at = left(book, watts, known)
	lows := make([]float64, drawn)
	for i := range lows {
		r := estimate.Stream(seed, i)
		rider := c.Draw(r)
		_, lows[i], _ = left(bookKeeping(rider, form, watts, median*math.Exp(sd*r.NormFloat64())), watts, known)
		if lows[i] < 0 {
			out.BelowZero += 1. / drawn
		}
	}
	out.Lowest = interval(estimate.FromDraws(lows, ""))
	out.Lowest.Mean = lowest
	out.LowestAtS, out.LowestAtM = float64(at+1), s.place(at)
	out.Points = thinned(out.joules)
	out.Low = s.low(out.joules, book.WPrime)
	return out
}

func (s *seconds) place(i int) float64 { return known(s.position[i]) }

func thinned(joules []float64) []BalancePoint {
	var out []BalancePoint
	wide := (len(joules) + balancePoints - 1) / balancePoints
	for i := 0; i < len(joules); i += wide {
		lowest := i
		for k := i; k < min(len(joules), i+wide); k++ {
			if joules[k] < joules[lowest] {
				lowest = k
			}
		}
		out = append(out, BalancePoint{float64(lowest + 1), joules[lowest]})
	}
	return out
}

// low are the stretches in which little of W′ was left.
func (s *seconds) low(joules []float64, wPrime float64) []LowStretch {
	var out []LowStretch
	in := false
	for i, j := range joules {
		switch {
		case !in && j < lowShare*wPrime:
			in = true
			out = append(out, LowStretch{FromS: float64(i + 1), FromM: s.place(i), LowestJ: j})
		case in && j > backShare*wPrime:
			in = false
		}
		if in {
			l := &out[len(out)-1]
			l.ToS, l.ToM, l.LowestJ = float64(i+1), s.place(i), math.Min(l.LowestJ, j)
		}
	}
	return out
}

// at is what was left at a second since the start.
func (b *BalanceSeries) at(s *seconds, second float64) float64 {
	i := int(second) - 1
	if i < 0 || i >= len(b.joules) {
		return 0
	}
	return b.joules[i]
}

// Cadence is how the cranks turned.
type Cadence struct {
	Mean   float64 `json:"mean_rpm"` // of turning cranks, as the others
	Median float64 `json:"median_rpm"`
	Low80  float64 `json:"low80_rpm"` // 10 % of the turning time is below
	High80 float64 `json:"high80_rpm"`
	Max    float64 `json:"max_rpm"`
	StillS float64 `json:"still_s"` // known not to turn
}

func (s *seconds) cadenceSummary() *Cadence {
	var turning []float64
	still := 0.0
	for _, c := range s.cadence {
		switch {
		case c > 0:
			turning = append(turning, c)
		case c == 0:
			still++
		}
	}
	if len(turning) == 0 {
		return nil
	}
	slices.Sort(turning)
	m, _ := mean(turning)
	q := func(p float64) float64 { return estimate.Quantile(turning, p) }
	return &Cadence{Mean: m, Median: q(0.5), Low80: q(0.1), High80: q(0.9), Max: q(1), StillS: still}
}
