package brief

import (
	"math"
	"sort"

	"chainline/capacity"
	"chainline/course"
	"chainline/pacing"
)

func (s *sheet) plan(climbs []course.Climb) PlanSheet {
	r := s.res
	p := PlanSheet{Style: s.Style.String(), ChanceLimit: s.ask.ChanceLimit, Recovery: recoveryWords(s.Recovery),
		Reserve: r.Problem.Reserve, ForCP: r.Problem.Balance.CriticalPower, ForWPrime: r.Problem.Balance.WPrime,
		OptimumTime: r.OptimumTime, EvenWatts: r.EvenWatts, EvenTime: r.EvenTime}
	switch {
	case s.Given != nil:
		p.Style, p.ChanceLimit = "given", 0
	case s.Stated != nil:
		p.Style = "stated"
	}
	if s.Way.Sketch != nil {
		p.Time, p.BalanceMin, p.MeanWatts = r.Ruled.Time, r.Ruled.BalanceMin, r.Ruled.MeanWatts
	} else {
		p.Time, p.BalanceMin, p.MeanWatts = r.Plan.Outcome.Time, r.Plan.Outcome.BalanceMin, r.Plan.Outcome.MeanWatts
		p.Cues = s.cues(climbs)
		p.Trace = s.trace(p.Cues)
		s.load(&p)
		p.RulesTime = r.Ruled.Time
	}
	p.Rules = s.rules()
	if gain := p.EvenTime - p.OptimumTime; gain > 0.05 && p.BalanceMin > s.res.Problem.Reserve-1 { // a plan that overspends, or eats its reserve, keeps nothing
		p.Kept = math.Max(0, (p.EvenTime-p.Time)/gain)
	}
	return p
}

func recoveryWords(form capacity.Recovery) string {
	return [...]string{"differential", "integral", "elite"}[form]
}

// held is what a rider is told about holding some watts for some time.
type held struct {
	wPerKg, wheel, wheelLow, wheelHigh float64
	exertion                           int
	feel, gear, flag                   string
	heartLow, heartHigh                float64
}

const kmh = 3.6 // km/h in a m/s

// hold says watts in the rig's language and in the body's. Exertion goes by
// the rider's own critical power, not by the cautious one of the plan.
func (s *sheet) hold(watts, seconds float64) held {
	h := held{wPerKg: watts / s.Rider.Mass}
	cp := s.c.SustainableCP(s.res.Duration)
	h.exertion, h.feel = capacity.Feel(watts/cp, seconds)
	if watts < 1 {
		h.exertion, h.feel = 6, "no effort, let it roll"
	}
	if bpm, sd, _, ok := s.Rider.MaxHeart(); ok && s.Rig.HeartRate && watts >= 1 {
		if low, high, ok := capacity.HeartBand(s.c, s.Rider.Mass, bpm, sd, watts, seconds); ok {
			h.heartLow, h.heartHigh = low, high
		}
	}
	if s.Stated == nil && watts > 0 {
		on := s.Rig.Hold(watts)
		h.wheel, h.wheelLow, h.wheelHigh = kmh*on.WheelSpeed, kmh*on.Low, kmh*on.High
		h.flag = on.Flag
		if on.WheelSpeed > 0 || on.Flag != "" {
			h.gear = on.Gear // a brake that holds the watts in any gear needs no advice
		}
	}
	return h
}

func (s *sheet) cues(climbs []course.Climb) []Cue {
	plan, out := s.res.Plan.Plan, s.res.Plan.Outcome
	cp := s.res.Problem.Balance.CriticalPower
	cues := make([]Cue, len(plan))
	start := 0.0
	for i, piece := range plan {
		end, balance := at(out, piece.To)
		c := Cue{Number: i + 1, FromM: piece.From, ToM: piece.To, StartS: start, LastS: end - start, Watts: piece.Watts,
			Share: piece.Watts / cp, BalanceEnd: balance}
		h := s.hold(piece.Watts, c.LastS)
		c.WPerKg, c.WheelKmh, c.WheelLowKmh, c.WheelHighKmh = h.wPerKg, h.wheel, h.wheelLow, h.wheelHigh
		if piece.Watts > cp {
			// Above critical power exertion ends at its maximum when W′ does: what
			// is left bounds it. Our judgement.
			left := math.Max(0, balance/s.res.Problem.Balance.WPrime)
			if most := int(math.Round(20 - 6*left)); h.exertion > most {
				h.exertion, h.feel = most, capacity.FeelWords(most)
			}
		}
		c.Exertion, c.Feel, c.Gear, c.Flag, c.HeartLow, c.HeartHigh = h.exertion, h.feel, h.gear, h.flag, h.heartLow, h.heartHigh
		cues[i] = c
		start = end
	}
	nameCues(cues, climbs, s.Way.Profile)
	return cues
}

// at is the time and balance of an outcome at a place that ends a stretch.
func at(o pacing.Outcome, x float64) (seconds, balance float64) {
	i := sort.SearchFloat64s(o.At, x-1e-6)
	i = min(i, len(o.At)-1)
	return o.Seconds[i], o.Balance[i]
}

func (s *sheet) rules() []Rule {
	var out []Rule
	for i, r := range s.res.Rules {
		share := s.res.Ruled.Shares[i]
		// How long one goes on under a rule is not known; a typical stretch is.
		h := s.hold(r.Watts, math.Min(600, math.Max(60, share*s.res.Ruled.Time/6)))
		out = append(out, Rule{FromGradient: r.From, ToGradient: r.To, Name: gradientName(r.From, r.To), Watts: r.Watts, ShareOfTime: share,
			WPerKg: h.wPerKg, WheelKmh: h.wheel, WheelLowKmh: h.wheelLow, WheelHighKmh: h.wheelHigh, Exertion: h.exertion, Feel: h.feel,
			HeartLow: h.heartLow, HeartHigh: h.heartHigh, Gear: h.gear, Flag: h.flag})
	}
	return out
}

// trace samples plan and optimum for drawing: evenly, and at every cue's ends.
func (s *sheet) trace(cues []Cue) []TracePoint {
	total, out := s.Way.Profile.Length(), s.res.Plan.Outcome
	var places []float64
	for i := 0; i <= tracePoints; i++ {
		places = append(places, total*float64(i)/tracePoints)
	}
	for _, c := range cues {
		places = append(places, c.ToM)
	}
	sort.Float64s(places)
	var trace []TracePoint
	for i, x := range places {
		if i > 0 && x-places[i-1] < 1e-6 {
			continue
		}
		p := TracePoint{M: x, Elevation: s.Way.Profile.At(x), Watts: wattsAt(s.res.Plan.Plan, x),
			OptimumWatts: wattsAt(s.res.Optimum.Plan, x), Speed: s.world.Road.StartSpeed, Balance: s.res.Problem.Balance.WPrime}
		if x > 0 {
			j := min(sort.SearchFloat64s(out.At, x-1e-6), len(out.At)-1)
			from, before, v0, w0 := 0.0, 0.0, p.Speed, p.Balance
			if j > 0 {
				from, before, v0, w0 = out.At[j-1], out.Seconds[j-1], out.Speed[j-1], out.Balance[j-1]
			}
			share := math.Min(1, (x-from)/(out.At[j]-from))
			p.Seconds = before + share*(out.Seconds[j]-before)
			p.Speed = v0 + share*(out.Speed[j]-v0)
			p.Balance = w0 + share*(out.Balance[j]-w0)
		}
		trace = append(trace, p)
	}
	return trace
}

// wattsAt is a plan's power at a place; at a change, that of what follows.
func wattsAt(plan []pacing.Piece, x float64) float64 {
	i := sort.Search(len(plan), func(i int) bool { return plan[i].To > x })
	return plan[min(i, len(plan)-1)].Watts
}
