package session

import (
	"fmt"
	"math"
	"math/rand/v2"

	"chainline/capacity"
	"chainline/estimate"
)

// The forecast of a scaled session: how long its legs last and what they do
// to W′.

// model is the rider as the forecast rides: critical power of the hard time
// there is, and the balance of W′.
type model struct {
	View
	hardS   float64 // s at or above hardFrom
	balance capacity.Balance
}

func (v View) model() model {
	m := model{View: v}
	m.balance = capacity.Balance{CriticalPower: v.CriticalPowerW, WPrime: v.WPrimeJ, Form: v.Recovery.Form, Speed: v.Recovery.SpeedMedian,
		MeanDeficit: (1 - usual[Easy][0]) * v.CriticalPowerW}
	return m
}

// capacity is the rider with the fade that makes Threshold the power of an
// hour. A threshold above what critical power and W′ allow gives none.
func (v View) capacity() capacity.Capacity {
	fade := (v.CriticalPowerW + v.WPrimeJ/3600 - v.ThresholdW) / math.Log(3600/capacity.FadeFrom)
	return capacity.Capacity{CriticalPower: v.CriticalPowerW, WPrime: v.WPrimeJ, MaxPower: v.MaxPowerW, Fade: math.Max(0, fade)}
}

// faded is the model with the critical power that the hard time of these legs
// leaves, and the mean deficit the integral form asks for.
func (m model) faded(legs []Leg) model {
	m.hardS = 0
	deficit, below := 0.0, 0.0
	for _, l := range legs {
		mean := (l.ridden(0) + l.ridden(1)) / 2
		if mean >= hardFrom*m.CriticalPowerW {
			m.hardS += l.PlanS
		}
		if d := m.CriticalPowerW - mean; d > 0 {
			deficit, below = deficit+d*l.PlanS, below+l.PlanS
		}
	}
	if below > 0 {
		m.balance.MeanDeficit = deficit / below
	}
	m.balance.CriticalPower = math.Max(0.5*m.CriticalPowerW, m.capacity().SustainableCP(m.hardS))
	return m
}

// ridden is what is ridden after a share of the leg: what the brake is set to
// where it cannot do what is asked for.
func (l Leg) ridden(share float64) float64 {
	if l.Brake != "" && l.HeldW > 0 {
		return l.HeldW + (l.HeldToW-l.HeldW)*share
	}
	return l.WattsAt(share)
}

// roughS is the length of a stage before it is known how long it lasts.
func (m model) roughS(e End) float64 {
	switch e.Kind {
	case AfterTime:
		return e.Seconds
	case AfterDistance:
		return e.Metres / m.speed(m.CriticalPowerW)
	}
	return e.MostS
}

// speed is the road speed for watts, m/s, never nought. The rider's own road
// comes with the view; else a flat road without wind, 85 kg, CdA 0.32 m²,
// Crr 0.005, 97 % drive (our judgement of an ordinary rider).
func (m model) speed(watts float64) float64 {
	if m.Speed != nil {
		return math.Max(0.5, m.Speed(watts))
	}
	v := 10.0
	for range 30 {
		f := 0.5*1.2*0.32*v*v*v + 0.005*85*9.81*v - 0.97*watts
		v = math.Max(0.5, v-f/(1.5*1.2*0.32*v*v+0.005*85*9.81))
	}
	return v
}

// allOut is the constant power that leaves nothing of a balance after a time,
// by the power curve of the capacity model with what is left for W′.
func (m model) allOut(seconds, balance float64) float64 {
	cp := m.balance.CriticalPower
	if balance <= 0 {
		return cp
	}
	return cp - balance/seconds*math.Expm1(-seconds*(m.MaxPowerW-cp)/balance)
}

// plan asks each leg of the rider in turn and rides it.
func (m model) plan(legs []Leg) {
	w, start := m.WPrimeJ, 0.0
	for i := range legs {
		l := &legs[i]
		m.ask(l, w)
		l.LeftJ = l.End.Left * m.WPrimeJ
		seconds, end, low := m.ride(*l, w)
		l.StartS, l.PlanS, l.PlanLowS, l.PlanHighS = start, seconds, seconds, seconds
		l.BalanceEnd, l.BalanceLow = end/m.WPrimeJ, low/m.WPrimeJ
		w, start = end, start+seconds
	}
}

// pieces is into how many steady parts a ramp is cut.
const pieces = 240

// ride is how long a leg lasts from a balance (J), the balance at its end and
// the lowest in it.
func (m model) ride(l Leg, w float64) (seconds, end, low float64) {
	most := l.End.MostS
	switch l.End.Kind {
	case AfterTime:
		most = l.End.Seconds
	case AfterDistance:
		most = l.End.Metres / m.speed((l.ridden(0)+l.ridden(1))/2)
	}
	n := pieces
	if l.AimW == l.ToW {
		n = 1
	}
	low = w
	for i := range n {
		part, watts := most/float64(n), l.ridden((float64(i)+0.5)/float64(n))
		stop := m.stop(l, w, watts, seconds, part)
		w = m.balance.Step(w, watts, stop)
		seconds, low = seconds+stop, math.Min(low, w)
		if stop < part {
			break
		}
	}
	return seconds, w, low
}

// stop is how much of a steady part is ridden before the leg is over. The
// balance goes one way at steady watts, so that bisection finds the instant.
func (m model) stop(l Leg, w, watts, already, part float64) float64 {
	var over func(balance float64) bool
	switch {
	case l.End.Kind == AtBalance && l.End.Back:
		over = func(b float64) bool { return b >= l.End.Left*m.balance.WPrime-1e-6*m.balance.WPrime }
	case l.End.Kind == AtBalance:
		over = func(b float64) bool { return b <= l.End.Left*m.balance.WPrime }
	case l.End.Kind == WhenSpent:
		over = func(b float64) bool { return b <= 0 }
	default:
		return part
	}
	from := math.Max(0, math.Min(part, l.End.LeastS-already))
	if over(m.balance.Step(w, watts, from)) {
		return from
	}
	to := part
	if !over(m.balance.Step(w, watts, to)) {
		return part
	}
	for range 40 {
		if mid := (from + to) / 2; over(m.balance.Step(w, watts, mid)) {
			to = mid
		} else {
			from = mid
		}
	}
	return to
}

// guessedRoad is by how much the time of a distance is off on a road that is
// a guess. Our judgement.
const guessedRoad = 0.10

// intervals opens the length of the legs that no clock ends: by the 80 %
// interval of W′ and of the speed of recovery, and on a distance by the band
// of watts.
func (m model) intervals(legs []Leg) {
	for _, z := range []float64{-estimate.Z80, estimate.Z80} {
		other := m
		other.balance.WPrime = math.Max(0.1*m.WPrimeJ, m.WPrimeJ+z*m.WPrimeSDJ)
		other.balance.Speed = m.speedMedian() * math.Exp(-z*m.Recovery.SpeedLogSD)
		w := other.balance.WPrime
		for i := range legs {
			var seconds float64
			seconds, w, _ = other.ride(legs[i], w)
			legs[i].open(seconds)
		}
	}
	for i := range legs {
		switch l := &legs[i]; l.End.Kind {
		case AfterDistance:
			doubt := 0.0
			if m.Speed == nil {
				doubt = guessedRoad
			}
			l.open(l.End.Metres / m.speed(l.HighW) * (1 - doubt))
			l.open(l.End.Metres / m.speed(l.LowW) * (1 + doubt))
		case AtWord:
			l.PlanLowS = 0
		}
	}
}

func (m model) speedMedian() float64 {
	if m.Recovery.SpeedMedian == 0 {
		return 1
	}
	return m.Recovery.SpeedMedian
}

func (l *Leg) open(seconds float64) {
	l.PlanLowS, l.PlanHighS = math.Min(l.PlanLowS, seconds), math.Max(l.PlanHighS, seconds)
}

// total sums the plan. The interval of the whole is that of legs that all go
// the same way, which is wide.
func (s *Scaled) total(m model) error {
	s.LowestBalance, s.LowestLeg = math.Inf(1), 0
	for i, l := range s.Legs {
		s.PlanS, s.PlanLowS, s.PlanHighS = s.PlanS+l.PlanS, s.PlanLowS+l.PlanLowS, s.PlanHighS+l.PlanHighS
		s.WorkJ += l.PlanS * (l.ridden(0) + l.ridden(1)) / 2
		if l.BalanceLow < s.LowestBalance {
			s.LowestBalance, s.LowestLeg = l.BalanceLow, i
		}
	}
	if s.PlanS > MaxPlanS {
		return fmt.Errorf("session: the whole lasts %s, expected at most %s", clock(s.PlanS), clock(MaxPlanS))
	}
	var watts []float64
	for _, l := range s.Legs {
		for t := float64(len(watts)) + 0.5 - l.StartS; t < l.PlanS; t++ {
			watts = append(watts, l.ridden(t/l.PlanS))
		}
	}
	s.EquivalentW = capacity.EquivalentPower(watts)
	s.LoadTh = capacity.Load(s.PlanS, s.EquivalentW, m.ThresholdW)
	return nil
}

// ChanceOfEmptying is the share of n riders, drawn from a capacity in the
// watts of the view, who run out of W′ in a leg that is led by watts: the
// session is then not rideable as written. Each rides the planned watts and
// times. Legs all out or by feel spend what is planned and empty nobody, for
// there the rider does what can be done. Recovery is drawn with the spread of
// the view; n > 0.
func (s Scaled) ChanceOfEmptying(v View, c capacity.Capacity, n int, random *rand.Rand) float64 {
	base := v.model().faded(s.Legs)
	emptied := 0
	for range n {
		drawn := c.Draw(random)
		m := base
		m.balance.WPrime = drawn.WPrime
		m.balance.CriticalPower = drawn.SustainableCP(base.hardS)
		m.balance.Speed = m.speedMedian() * math.Exp(v.Recovery.SpeedLogSD*random.NormFloat64())
		if m.empties(s.Legs) {
			emptied++
		}
	}
	return float64(emptied) / float64(n)
}

// empties rides the legs for their planned time.
func (m model) empties(legs []Leg) bool {
	w := m.balance.WPrime
	for _, l := range legs {
		l.End = End{Kind: AfterTime, Seconds: l.PlanS}
		_, end, low := m.ride(l, w)
		if low < 0 && l.Lead == ByWatts && l.Stage.End.Kind != WhenSpent {
			return true
		}
		w = math.Max(0, end)
	}
	return false
}
