package capacity

import (
	"fmt"
	"math"
)

// What a rider answers after a ride to 'could you have gone harder?' is
// evidence of how far the effort nearest to the limit lay below what was
// possible: an answer stands for a band of that slack, not for a number. The
// answer is the datum, the watts are given: a ride that was planned easy says
// nothing about capacity but that it is at least that.

// Bands of the share left unridden (as a logarithm). Our judgement.
const (
	answerNoTo     = 0.02
	answerLittleTo = 0.08
	// answerBlur is how exactly a rider feels it, besides the repeat error of
	// tests: the sd of one answer. Our judgement.
	answerBlur = 0.015
	// Riders differ in how they answer, all of their answers together: habit is
	// how much more than was left they think was left, habitError how they
	// differ. Our judgement, and with it answers alone never tell power better
	// than that.
	habit, habitError = 0.015, 0.009
)

// slackBand is what an answer says was left; no answer: at least nothing.
func slackBand(h Harder) (from, to float64) {
	switch h {
	case HarderNo:
		return 0, answerNoTo
	case HarderLittle:
		return answerNoTo, answerLittleTo
	case HarderMuch:
		return answerLittleTo, math.Inf(1)
	}
	return 0, math.Inf(1)
}

// answered is what an effort with its answer observes, and the words for it.
func (in *inference) answered(e Evidence, o datum) (datum, string) {
	o.slack, o.banded = 0, true
	o.bandFrom, o.bandTo = slackBand(e.Harder)
	o.sd = math.Hypot(o.sd, answerBlur)
	if e.Harder != HarderUnknown {
		if in.habit < 0 {
			in.habit = in.add(habitError)
		}
		o.habit = true
	}
	what := durationWords(e.Duration)
	switch {
	case e.Harder == HarderUnknown || e.Harder == HarderMuch && math.IsInf(o.bandTo, 1):
		return o, fmt.Sprintf("as at least %.0f %% more than this held for %s", 100*o.bandFrom, what)
	default:
		return o, fmt.Sprintf("as %.0f to %.0f %% below the power held for %s", 100*o.bandFrom, 100*o.bandTo, what)
	}
}

// lnDensity is the logarithm of how probable an offset is, by the datum's kind.
func (o *datum) lnDensity(off, sd float64) float64 {
	if o.banded {
		return lnBand(off, sd, o.bandFrom, o.bandTo)
	}
	return lnSlack(off, sd, o.slack)
}

// slopes are the first and second derivative of −lnDensity by the offset.
func (o *datum) slopes(off, sd float64) (first, second float64) {
	if o.banded {
		return bandSlopes(off, sd, o.bandFrom, o.bandTo)
	}
	return slackSlopes(off, sd, o.slack)
}

// beyond is how far an offset lies outside of what the datum says, for the
// look at contradictions.
func (o *datum) beyond(off float64) float64 {
	switch {
	case !o.banded:
		return off
	case -off < o.bandFrom:
		return off + o.bandFrom
	case -off > o.bandTo:
		return off + o.bandTo
	}
	return 0
}

// lnBand is the logarithm of the chance that slack = noise − off lies in a
// band, noise being normal with standard deviation sd > 0:
//
//	ln(Φ((−off − from)/sd) − Φ((−off − to)/sd))
//
// It is concave: a normal distribution convolved with a uniform one.
func lnBand(off, sd, from, to float64) float64 {
	a, b := (-off-from)/sd, (-off-to)/sd
	if math.IsInf(b, -1) {
		return lnPhi(a)
	}
	if b > 0 { // the same difference in the lower tail, where it keeps its digits
		a, b = -b, -a
	}
	high, low := lnPhi(a), lnPhi(b)
	return high + math.Log(math.Max(1e-300, -math.Expm1(low-high)))
}

// bandSlopes are the first and second derivative of −lnBand by off.
func bandSlopes(off, sd, from, to float64) (first, second float64) {
	ln := lnBand(off, sd, from, to)
	share := func(z float64) (phi, zphi float64) { // φ(z) and z·φ(z) over the chance
		if math.IsInf(z, 0) {
			return 0, 0
		}
		phi = math.Exp(-0.5*z*z - 0.5*math.Log(2*math.Pi) - ln)
		return phi, z * phi
	}
	pa, za := share((-off - from) / sd)
	pb, zb := share((-off - to) / sd)
	first = (pa - pb) / sd
	return first, math.Max(0, first*first+(za-zb)/(sd*sd))
}
