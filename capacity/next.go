package capacity

import (
	"fmt"
	"math"
	"strings"

	"chainline/estimate"
)

// What to find out next: which test would narrow the threshold and the
// forecast most, among those this rider may do.

// Suggestion is the most useful next test.
type Suggestion struct {
	What        string  // in words; empty if nothing is suggested
	Maximal     bool    // to be ridden all out
	Recommended bool    // the threshold's sd is above NarrowEnough of its mean
	Now, Then   float64 // W, sd of the threshold now and expected after
	// RideNow and RideThen are the same of the power held for the ride's
	// duration, as fractions of it.
	RideNow, RideThen float64
	Sentence          string
}

// NarrowEnough is the relative sd of the threshold above which a test is
// recommended.
const NarrowEnough = 0.06

// littleNews: a test that leaves more than this share of the sd is not worth
// the legs to who is sure enough already. Our judgement.
const littleNews = 0.85

// candidate is a test that could be done: it would observe a quantity of the
// rider, in displayed watts, with an error of its logarithm.
type candidate struct {
	what     string
	maximal  bool
	quantity func(Capacity) float64
	sd       float64
}

func powerFor(seconds float64) func(Capacity) float64 {
	return func(c Capacity) float64 { return c.Power(seconds) }
}

func criticalPower(c Capacity) float64 { return c.CriticalPower }

// candidates are the tests this rider may do. A maximal one needs a screening
// and an adult, and is nobody's first: who rides for the first time starts with
// what ends before it hurts. What was done already is not asked for again where
// its error is the rider's own and would stay.
func candidates(r Rider, shown bool) []candidate {
	done := map[Kind]bool{}
	halfHour, hard := false, 0
	for _, e := range r.Evidence {
		done[e.Kind] = true
		if e.Kind == MaximalTest && e.Duration >= severeFrom {
			hard++
		}
		halfHour = halfHour || e.Kind == StatedThreshold && ReadThreshold(e.From).Name == "submaximal half hour"
	}
	var out []candidate
	elsewhere := ""
	if !shown {
		elsewhere = ", on a trainer that shows watts"
	}
	if MayTestMaximally(r) && !shown {
		// Slack, drag, wind, masses: as of a known hill.
		out = append(out, candidate{"the time up a hill you know (4 % or steeper, ten minutes or more), as hard as you can hold it", true, powerFor(900), 0.10})
	}
	if MayTestMaximally(r) && shown {
		for _, t := range []struct {
			what    string
			seconds float64
			sd      float64
		}{
			{"a maximal test of 3 to 4 minutes", 210, repeatError},
			{"a maximal test of 6 to 8 minutes", 420, repeatError},
			{"a maximal test of 12 to 20 minutes", 900, repeatError},
			{"an even hour, as hard as you can hold it", 3600, math.Hypot(repeatError, longError)},
		} {
			if t.seconds > severeTo && hard < leastToFit {
				continue // an hour is ridden well only by who knows its watts
			}
			out = append(out, candidate{t.what, true, powerFor(t.seconds), t.sd})
		}
	}
	if !halfHour {
		out = append(out, candidate{"an even half hour that ends hard but not flat out (15 on the 6-20 scale), noted as a threshold from a submaximal half hour" + elsewhere,
			false, criticalPower, 0.12})
	}
	if !done[TalkTest] {
		out = append(out, candidate{"a talk test (raise the power every three minutes and note the watts at which speaking in sentences stops being comfortable)" + elsewhere,
			false, criticalPower, talkError})
	}
	if max, sd, _, ok := r.MaxHeart(); ok && !done[EasyHeartRate] && r.Mass > 0 {
		// Two loads at about 60 % of the maximal oxygen uptake.
		const share = 0.6
		off := math.Sqrt(heartLineError*heartLineError + heartError*heartError/2 + math.Pow(sd/max*heartShare(share), 2))
		out = append(out, candidate{"heart rate at two easy loads, five minutes each" + elsewhere, false, powerFor(heartPower), off / 0.65 / share})
	}
	return out
}

// MayTestMaximally tells whether a maximal test may be suggested: an adult who
// has been through a health screening and has ridden hard before.
func MayTestMaximally(r Rider) bool {
	if !r.Screened || MaybeMinor(r.Age) {
		return false
	}
	if r.Level != New && r.Level != LevelUnknown {
		return true
	}
	for _, e := range r.Evidence {
		if e.Kind == MaximalTest || e.Kind == BestEffort || e.Kind == HillTime || e.Kind == StatedThreshold {
			return true
		}
	}
	return false
}

// Next is the test that would narrow most for a ride of the given duration in
// seconds. After a test of quantity q with error s, the variance expected of a
// target y is Var y − Cov(y, q)²/(Var q + s²), in logarithms over the draws
// (exact for normal ones). The test is chosen by the product of both
// narrowings. shown says that the rig shows watts; if not, they are true ones,
// and tests that need watts are to be done elsewhere.
func (l Learnt) Next(r Rider, seconds float64, shown bool) Suggestion {
	c := l.Displayed
	if !shown {
		c = l.True
	}
	threshold := logs(c.values(Capacity.Threshold))
	ride := logs(c.values(powerFor(math.Max(severeFrom, math.Min(seconds, PowerTo)))))
	mean := c.Threshold()
	var best Suggestion
	score := math.Inf(1)
	for _, k := range candidates(r, shown) {
		q := logs(c.values(k.quantity))
		now, then := narrowed(threshold, q, k.sd)
		rideNow, rideThen := narrowed(ride, q, k.sd)
		if s := then / now * rideThen / rideNow; s < score {
			score = s
			best = Suggestion{What: k.what, Maximal: k.maximal, Now: now * mean, Then: then * mean, RideNow: rideNow, RideThen: rideThen,
				Recommended: now > NarrowEnough}
		}
	}
	if best.What == "" || !best.Recommended && best.Then > littleNews*best.Now {
		return Suggestion{Now: best.Now, RideNow: best.RideNow}
	}
	best.Sentence = best.sentence(r)
	return best
}

// Checked is what a check of the ride's power source would bring, if it told
// the source's scale to within sd (fraction): the relative sd of the displayed
// power held for a time in seconds, now and after.
func (l Learnt) Checked(seconds, sd float64) (now, then float64) {
	power := logs(l.Displayed.values(powerFor(math.Max(severeFrom, math.Min(seconds, PowerTo)))))
	return narrowed(power, logs(append([]float64(nil), l.scales...)), sd)
}

func (s Suggestion) sentence(r Rider) string {
	var b strings.Builder
	lead := "If you want to know more: "
	if s.Recommended {
		lead = "Worth finding out: "
	}
	fmt.Fprintf(&b, "%s%s", lead, s.What)
	if s.Maximal {
		b.WriteString(", fresh, on another day")
	}
	fmt.Fprintf(&b, ". It would narrow your threshold from ±%.0f to about ±%.0f W.", estimate.Z80*s.Now, estimate.Z80*s.Then)
	if !r.Screened && !MaybeMinor(r.Age) {
		b.WriteString(" A maximal test only after a health screening.")
	}
	return b.String()
}

// narrowed are the sd of y now, and expected once q is known to within sd.
func narrowed(y, q []float64, sd float64) (now, then float64) {
	n := float64(len(y))
	my, mq := 0.0, 0.0
	for i := range y {
		my, mq = my+y[i]/n, mq+q[i]/n
	}
	yy, qq, yq := 0.0, 0.0, 0.0
	for i := range y {
		dy, dq := y[i]-my, q[i]-mq
		yy, qq, yq = yy+dy*dy/n, qq+dq*dq/n, yq+dy*dq/n
	}
	return math.Sqrt(yy), math.Sqrt(math.Max(0, yy-yq*yq/(qq+sd*sd)))
}

func logs(v []float64) []float64 {
	for i := range v {
		v[i] = math.Log(math.Max(1e-6, v[i]))
	}
	return v
}
