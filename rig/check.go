package rig

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"chainline/recording"
)

// Check looks at all a recording can show and says what is wrong, how large,
// how sure, and what cannot be said. It is deterministic and never fails:
// input that cannot be judged makes every subject unsaid, with the reason.
func Check(in CheckInput) Report {
	r := Report{Threshold: in.threshold()}
	if why := unfit(in); why != "" {
		for _, s := range Subjects {
			r.Unsaid = append(r.Unsaid, Unsaid{Subject: s, Because: why})
		}
		r.Verdicts = cannotSay(in, why)
		return r
	}
	l := newLook(in, &r)
	r.Minutes = l.minutes()
	if r.Minutes < leastMinutes {
		why := fmt.Sprintf("only %.1f minutes were ridden; %.0f are needed for anything, %.0f for the warm state", r.Minutes, leastMinutes, warmAfter)
		for _, s := range Subjects {
			l.unsaid(s, "", why)
		}
		r.Verdicts = cannotSay(in, why)
		return r
	}
	r.Warm = r.Minutes >= warmAfter+2
	l.examineRadio()
	l.examineSignals()
	l.examineHeart()
	l.examineControl()
	l.examineWheel()
	pairs := l.examinePairs()
	l.examineCoasts()
	l.examinePhysics()
	l.examineHistory()
	l.examineFirmware()
	l.examineLink()
	r.Verdicts = l.verdicts(pairs)
	l.order()
	return r
}

// unfit says why a recording cannot be looked at; empty: it can.
func unfit(in CheckInput) string {
	switch {
	case in.Recording == nil || len(in.Recording.Channels) == 0:
		return "nothing was recorded"
	case in.Recording.Validate() != nil:
		return "the recording is damaged: " + in.Recording.Validate().Error()
	case in.Other != nil && in.Other.Validate() != nil:
		return "the other recording is damaged: " + in.Other.Validate().Error()
	case !(in.threshold() > 20 && in.threshold() < 1000):
		return fmt.Sprintf("a threshold of %.0f W is nobody's; 20 to 1000 W were expected", in.Threshold)
	}
	for _, p := range in.Phases {
		if !(p.From >= 0 && p.To >= p.From) || p.From > in.Recording.End()+60 {
			return fmt.Sprintf("the part %q of the check lies from %.0f to %.0f s, and the recording ends at %.0f s", p.Kind, p.From, p.To, in.Recording.End())
		}
	}
	for q, plausible := range map[recording.Quantity][2]float64{recording.Power: {-500, 5000}, recording.Cadence: {-1, 500}, recording.HeartRate: {0, 400}, recording.WheelSpeed: {-1, 60}} {
		for _, source := range in.Recording.Sources(q) {
			if c, _ := in.Recording.Signal(q, source); len(c.Values) > 0 {
				if v := median(c.Values); v < plausible[0] || v > plausible[1] {
					return fmt.Sprintf("the %s of %s is about %.0f, which no rider makes; is its unit right?", q, source, v)
				}
			}
		}
	}
	return ""
}

// minutes in which something was pedalled, or else recorded.
func (l *look) minutes() float64 {
	moving := l.cadence
	if moving == nil && len(l.raw) > 0 {
		moving = l.raw[0]
	}
	if moving == nil {
		moving = l.wheel
	}
	if moving == nil {
		return 0
	}
	n := 0.0
	for i := 1; i < len(moving.t); i++ {
		if moving.v[i] > 0 {
			n += min(moving.t[i]-moving.t[i-1], hold)
		}
	}
	return n / 60
}

// cleaned is the input less the stretches that cannot be true.
func (l *look) cleaned() CheckInput {
	in := l.in
	rec := *in.Recording
	rec.Channels = slices.Clone(rec.Channels)
	for i, c := range rec.Channels {
		if ws := l.bad[c.Source]; c.Quantity == recording.Power && len(ws) > 0 {
			t := newTrack(c).without(ws)
			rec.Channels[i].Seconds, rec.Channels[i].Values = t.t, t.v
		}
	}
	in.Recording = &rec
	return in
}

// paired is what two sources say about each other.
type paired struct {
	a, b string
	compared
}

func (l *look) examinePairs() []paired {
	in := l.cleaned()
	pairs := powerPairs(in)
	if in.Other != nil {
		if c, err := ClockOf(in); err == nil {
			l.out.Clock = &c
		}
	}
	if len(pairs) == 0 {
		for _, s := range pairSubjects {
			if s != Smoothing {
				l.unsaid(s, "", "one source of watts alone has nothing to be compared with")
			}
		}
	}
	var out []paired
	for _, p := range pairs {
		c := comparePower(in, p)
		doubt := map[Subject]bool{}
		zero := l.zeroByPair(p)
		for _, u := range c.Unsaid {
			doubt[u.Subject] = true
			if u.Subject != Smoothing || !l.judgedSmoothing() {
				l.out.Unsaid = append(l.out.Unsaid, u)
			}
		}
		for _, f := range c.Findings {
			doubt[f.Subject] = true
			if f.Subject == Smoothing && l.hasFound(Smoothing) || zero && (f.Subject == Offset || f.Subject == CadenceBias || f.Subject == PowerBias) {
				continue
			}
			l.found(f)
		}
		for _, s := range pairSubjects {
			if !doubt[s] {
				l.right(s)
			}
		}
		out = append(out, paired{p.Source.Source, p.Against.Source, c})
	}
	return out
}

func (l *look) judgedSmoothing() bool { return l.clear[Smoothing] }

// examineCoasts are coast-downs, a plain trainer's curve and climbs outdoors.
func (l *look) examineCoasts() {
	take := func(fs []Finding, us []Unsaid) {
		for _, f := range fs {
			l.found(f)
		}
		l.out.Unsaid = append(l.out.Unsaid, us...)
	}
	take(coastFindings(l.in))
	curve, fs, us := curveFindings(l.cleaned())
	l.out.Curve = curve
	take(fs, us)
	take(climbFindings(l.in))
	for _, s := range []Subject{CoastDown, Repeatability} {
		said := l.hasFound(s)
		for _, u := range l.out.Unsaid {
			said = said || u.Subject == s
		}
		if !said {
			l.right(s)
		}
	}
}

// order sorts findings by what they make of the watts, tells what is clear,
// and leaves out what was said elsewhere.
func (l *look) order() {
	r := l.out
	slices.SortStableFunc(r.Findings, func(a, b Finding) int { return cmp.Compare(l.harm(b), l.harm(a)) })
	found := map[Subject]bool{}
	for _, f := range r.Findings {
		found[f.Subject] = true
	}
	for _, s := range Subjects {
		if l.clear[s] && !found[s] {
			r.Clear = append(r.Clear, s)
		}
	}
	seen := map[Unsaid]bool{}
	r.Unsaid = slices.DeleteFunc(r.Unsaid, func(u Unsaid) bool {
		key := Unsaid{Subject: u.Subject, Source: u.Source}
		again := seen[key]
		seen[key] = true
		return again
	})
}

// harms rank what does not make watts wrong by itself, as if by a share of
// threshold: our judgement.
var harms = map[Subject]float64{
	WrongWheel: 0.5, Stuck: 0.05, IgnoredCommands: 0.05, Smoothing: 0.04, BrakeLag: 0.03, Interference: 0.03, LostSamples: 0.025,
	Spikes: 0.02, Fading: 0.02, PowerNoCadence: 0.03, CadenceNoPower: 0.03, Impossible: 0.02, LockedHeart: 0.015, Circumference: 0.015,
	DeadTime: 0.01, Delay: 0.01, Overshoot: 0.01, FirmwareChange: 0.01, LinkLatency: 0.005, BrakeLimits: 0.005, Repeatability: 0.02,
}

func (l *look) harm(f Finding) float64 {
	return max(harms[f.Subject], (math.Abs(f.Watts.Mean)+0.5*f.Watts.SD)/l.threshold)
}

// usualThreshold is where errors are stated when the rider's is unknown, W.
const usualThreshold = 200.0

func (in CheckInput) threshold() float64 {
	if in.Threshold != 0 {
		return in.Threshold
	}
	return usualThreshold
}

// Subjects are all that a check looks at, in the order it reports what is clear.
var Subjects = []Subject{
	Gain, Offset, Delay, Smoothing, LostSamples, Stuck, Spikes, WarmUpDrift, CadenceBias, PowerBias,
	ZeroOffset, LockedHeart, BrakeLag, DeadTime, Overshoot, ControlError, IgnoredCommands, BrakeLimits,
	Interference, Fading, Quantisation, Circumference, TyreSlip, WrongWheel, OneSided, NoiseFloor,
	PowerNoCadence, CadenceNoPower, Impossible, AgainstPhysics, AgainstHistory, CoastDown, Repeatability, FirmwareChange,
	LinkLatency,
}
