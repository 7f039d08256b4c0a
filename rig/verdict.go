package rig

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chainline/estimate"
	"chainline/recording"
)

// What makes a verdict. Two per cent with 90 % confidence is the demand; the
// other limits are our judgement.
const (
	fineError     = 0.02
	confidence    = 0.90
	correctableSD = 0.025 // fraction that may stay after a correction
	hopeless      = 0.05  // an error beyond this, by an unknown amount, is not to be used
)

// worth is what is believed of each source's error at threshold, as a normal
// distribution over all of them: prior from published accuracy, then what the
// check saw. Sources are taken as wrong independently of each other.
type worth struct {
	names  []string
	mean   []float64
	cov    [][]float64
	origin []string
	direct []bool // told against truth, or by its own zero
	paired []bool
}

func (l *look) worth() *worth {
	w := &worth{}
	for _, c := range l.power {
		w.add(c.source, 0, l.priorSD(c.source), l.priorOrigin(c.source))
	}
	return w
}

func (w *worth) add(name string, mean, sd float64, origin string) {
	for i := range w.cov {
		w.cov[i] = append(w.cov[i], 0)
	}
	w.names = append(w.names, name)
	w.mean = append(w.mean, mean)
	w.cov = append(w.cov, make([]float64, len(w.names)))
	w.cov[len(w.names)-1][len(w.names)-1] = sd * sd
	w.origin, w.direct, w.paired = append(w.origin, origin), append(w.direct, false), append(w.paired, false)
}

// seen takes in that h·errors was seen as value ± sd.
func (w *worth) seen(h []float64, value, sd float64) {
	n := len(w.mean)
	gain := make([]float64, n)
	s, expected := sd*sd, 0.0
	for i := range n {
		for j := range n {
			gain[i] += w.cov[i][j] * h[j]
		}
		expected += h[i] * w.mean[i]
	}
	for i := range n {
		s += h[i] * gain[i]
	}
	if s <= 0 {
		return
	}
	for i := range n {
		w.mean[i] += gain[i] / s * (value - expected)
	}
	for i := range n {
		for j := range n {
			w.cov[i][j] -= gain[i] * gain[j] / s
		}
	}
}

func (w *worth) index(name string) int { return slices.Index(w.names, name) }

func (l *look) kindOf(source string) SourceKind {
	if k, ok := l.in.Side[source]; ok {
		return k
	}
	if source == l.in.Rig.Source.Name || len(l.raw) == 1 {
		return l.in.Rig.Source.Kind
	}
	if l.machine != nil && l.machine.source == source {
		return SourceTrainer
	}
	return SourceNone
}

func (l *look) priorSD(source string) float64 {
	if l.in.Rig.Source.Accuracy > 0 && (source == l.in.Rig.Source.Name || len(l.raw) == 1) {
		return l.in.Rig.Source.Accuracy
	}
	switch l.kindOf(source) {
	case SourceTrainer, SourceNone:
		return trainerSD
	case SourceCurve:
		return l.in.Rig.curve().SD
	}
	return meterSD
}

func (l *look) priorOrigin(source string) string {
	if l.in.Rig.Source.Accuracy > 0 && (source == l.in.Rig.Source.Name || len(l.raw) == 1) {
		return "its accuracy as stated for the rig"
	}
	switch l.kindOf(source) {
	case SourceTrainer, SourceNone:
		return "published for a wheel-on trainer: ± 3.5 % (Peiffer and Losco 2011, abstract)"
	case SourceCurve:
		return l.in.Rig.curve().From
	}
	return "published for 54 mobile meters: ± 3.2 % (Maier et al. 2017, abstract)"
}

// verdicts are what each source of watts is worth.
func (l *look) verdicts(pairs []paired) []Verdict {
	w := l.worth()
	for _, p := range pairs {
		if w.index(p.b) < 0 {
			w.add(p.b, 0, l.priorSD(p.b), l.priorOrigin(p.b))
		}
	}
	for _, f := range l.out.Findings { // a zero that is off is the source's own error
		if i := w.index(f.Source); f.Subject == ZeroOffset && i >= 0 && f.Against == "" {
			w.mean[i] += f.Watts.Mean / l.threshold
			w.cov[i][i] += math.Pow(f.Watts.SD/l.threshold, 2)
			w.direct[i] = true
		}
	}
	for _, p := range pairs {
		if a, b := w.index(p.a), w.index(p.b); a >= 0 && b >= 0 && p.Difference.SD > 0 {
			h := make([]float64, len(w.names))
			h[a], h[b] = 1, -1
			w.seen(h, p.Difference.Mean, p.Difference.SD)
			w.paired[a], w.paired[b] = true, true
		}
	}
	for i, name := range w.names { // all climbs of a source at once: their errors are not independent
		if ratio, sd, n, _ := climbRatio(l.in.Outdoors, name); n > 0 && sd > 0 {
			h := make([]float64, len(w.names))
			h[i] = 1
			w.seen(h, ratio, sd)
			w.direct[i] = true
		}
	}
	var out []Verdict
	for i := range w.names {
		out = append(out, l.verdict(w, i))
	}
	if len(out) == 0 && l.wheel != nil && l.in.Rig.bySpeed() {
		out = append(out, l.curveVerdict())
	}
	return out
}

// within is the chance that a normal error is within ±limit.
func chanceWithin(mean, sd, limit float64) float64 {
	if sd <= 0 {
		if math.Abs(mean) < limit {
			return 1
		}
		return 0
	}
	cdf := func(x float64) float64 { return 0.5 * math.Erfc(-(x-mean)/sd/math.Sqrt2) }
	return cdf(limit) - cdf(-limit)
}

func (l *look) verdict(w *worth, i int) Verdict {
	name := w.names[i]
	mean, sd := w.mean[i], math.Sqrt(max(0, w.cov[i][i]))
	v := Verdict{Source: name, Error: estimate.Normal(mean, sd, w.origin[i]), Within2: chanceWithin(mean, sd, fineError)}
	broken := l.broken(name)
	far := 1 - chanceWithin(mean, sd, hopeless)
	switch {
	case broken != "":
		v.Kind, v.Because = DoNotUse, broken
	case !l.out.Warm:
		v.Kind, v.Because = CannotSay, fmt.Sprintf("%.0f minutes were ridden, and meters and brakes drift until they are warm, for some %.0f minutes", l.out.Minutes, warmAfter)
	case v.Within2 >= confidence:
		v.Kind = UseAsIs
		v.Because = fmt.Sprintf("its error at %.0f W is under %.0f W with %.0f %% confidence (%s)", l.threshold, fineError*l.threshold, 100*math.Floor(100*v.Within2)/100, w.origin[i])
	case (w.direct[i] || w.paired[i]) && sd <= correctableSD && math.Abs(mean) > max(1.5*sd, 0.01):
		v.Kind = UseCorrected
		v.Correct = l.correction(name, mean, sd)
		v.Because = fmt.Sprintf("it shows %.0f W too %s at %.0f W, give or take %.0f W, and that can be taken out", math.Abs(mean)*l.threshold, pick(mean > 0, "many", "few"), l.threshold, z95*sd*l.threshold)
	case far > 0.5:
		v.Kind = DoNotUse
		v.Because = fmt.Sprintf("its error at %.0f W is more likely than not beyond %.0f W, by an amount that is not known", l.threshold, hopeless*l.threshold)
	default:
		v.Kind = CannotSay
		v.Because = l.whyNot(w, i, v.Within2)
	}
	return v
}

// whyNot says what is missing for a verdict.
func (l *look) whyNot(w *worth, i int, within2 float64) string {
	chance := fmt.Sprintf("the chance of less than %.0f W of error at %.0f W is %.0f %%, and %.0f %% are asked for", fineError*l.threshold, l.threshold, 100*within2, 100*confidence)
	switch {
	case !w.paired[i] && !w.direct[i]:
		return chance + "; nothing was there to compare it with but what is " + w.origin[i] + ". A second meter, or a recorded steep climb outdoors, would tell"
	case w.paired[i]:
		return chance + "; another source agrees or not, but agreement is not truth. A recorded steep climb outdoors would tell"
	}
	return chance
}

// broken says why a source is not to be used at all; empty: nothing does.
func (l *look) broken(name string) string {
	var why []string
	for _, f := range l.out.Findings {
		if f.Source != name {
			continue
		}
		switch {
		case f.Subject == Stuck && f.Size.Mean >= 60:
			why = append(why, fmt.Sprintf("it stood still for %.0f s", f.Size.Mean))
		case f.Subject == LostSamples && f.Low95 > 0.25:
			why = append(why, fmt.Sprintf("it lost %.0f %% of its messages", 100*f.Size.Mean))
		case f.Subject == CadenceNoPower && f.Low95 > 0.1, f.Subject == PowerNoCadence && f.Against == "" && f.Low95 > 0.1:
			why = append(why, fmt.Sprintf("watts and cadence do not belong together for %.0f %% of the time", 100*f.Size.Mean))
		case f.Subject == NoiseFloor && f.Low95 > 0.25:
			why = append(why, fmt.Sprintf("it jumps by %.0f %% from second to second", 100*f.Size.Mean))
		}
	}
	return strings.Join(why, ", and ")
}

// correction takes out the zero first, as watts, and the rest as a gain.
func (l *look) correction(name string, mean, sd float64) Correction {
	c := Correction{Source: name, Gain: 1, SD: sd, From: "rig check"}
	for _, f := range l.out.Findings {
		if f.Source == name && (f.Subject == ZeroOffset && f.Against == "" || f.Subject == Offset) && c.OffsetW == 0 {
			share := f.Watts.Mean / l.threshold
			if share == 0 && f.Subject == Offset {
				share = f.Size.Mean / l.threshold
			}
			if share*mean > 0 && math.Abs(share) <= 1.5*math.Abs(mean) {
				c.OffsetW = math.Copysign(min(math.Abs(share), math.Abs(mean)), mean) * l.threshold
			}
		}
	}
	c.Gain = 1 + mean - c.OffsetW/l.threshold
	return c
}

// curveVerdict is that of watts computed from wheel speed.
func (l *look) curveVerdict() Verdict {
	curve := l.in.Rig.curve()
	if l.out.Curve != nil {
		curve = *l.out.Curve
	}
	v := Verdict{Source: "curve", Error: estimate.Normal(0, curve.SD, curve.From), Within2: chanceWithin(0, curve.SD, fineError)}
	mean := 0.0
	for _, f := range l.out.Findings {
		if f.Subject == Circumference || f.Subject == CoastDown && l.out.Curve == nil {
			mean += f.Watts.Mean / l.threshold
		}
	}
	v.Error = estimate.Normal(mean, curve.SD, curve.From)
	v.Within2 = chanceWithin(mean, curve.SD, fineError)
	switch {
	case l.hasFound(WrongWheel):
		v.Kind, v.Because = DoNotUse, "the speed sensor shows a standing wheel"
	case !l.out.Warm:
		v.Kind, v.Because = CannotSay, "tyre and brake are not warm yet"
	case v.Within2 >= confidence:
		v.Kind, v.Because = UseAsIs, fmt.Sprintf("its error at %.0f W is under %.0f W with %.0f %% confidence (%s)", l.threshold, fineError*l.threshold, 100*v.Within2, curve.From)
	case mean != 0 && math.Abs(mean) > curve.SD:
		v.Kind, v.Because = DoNotUse, pick(l.hasFound(Circumference), "set the wheel's circumference first", "the trainer runs down otherwise than when the curve was taken: see to tyre and clamp, or take the curve anew")
	default:
		v.Kind = CannotSay
		v.Because = fmt.Sprintf("watts from wheel speed are known to %.0f W at %.0f W (%s): good for holding the same effort, not for comparing with others. A meter borrowed for this check would tell", curve.SD*l.threshold, l.threshold, curve.From)
	}
	return v
}

// cannotSay is the verdict on every source of a recording that cannot be judged.
func cannotSay(in CheckInput, why string) []Verdict {
	if in.Recording == nil {
		return nil
	}
	var out []Verdict
	for _, source := range in.Recording.Sources(recording.Power) {
		out = append(out, Verdict{Source: source, Kind: CannotSay, Because: why})
	}
	return out
}
