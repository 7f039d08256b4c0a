package capacity

import (
	"fmt"
	"strings"
)

// The words of an inference: what was used and how.

// words is the piece of evidence as a person would name it.
func (e Evidence) words() string {
	var b strings.Builder
	switch e.Kind {
	case StatedThreshold:
		fmt.Fprintf(&b, "threshold of %.0f W", e.Watts)
		if e.From != "" {
			fmt.Fprintf(&b, " from %s", e.From)
		}
	case MaximalTest:
		fmt.Fprintf(&b, "%s maximal test, %.0f W", durationWords(e.Duration), e.Watts)
	case BestEffort:
		fmt.Fprintf(&b, "best %s of a ride, %.0f W", durationWords(e.Duration), e.Watts)
	case RideEffort:
		fmt.Fprintf(&b, "a ride's %s, %.0f W", durationWords(e.Duration), e.Watts)
	case HillTime:
		fmt.Fprintf(&b, "a hill of %.1f km and %.0f m up in %s", e.Length/1000, e.Ascent, durationWords(e.Duration))
	case EasyHeartRate:
		fmt.Fprintf(&b, "heart rate %.0f at %.0f W", e.HeartRate, e.Watts)
	case TalkTest:
		fmt.Fprintf(&b, "talking stops being comfortable at %.0f W", e.Watts)
	}
	switch e.Harder {
	case HarderNo:
		b.WriteString(", nothing left")
	case HarderLittle:
		b.WriteString(", a little left")
	case HarderMuch:
		b.WriteString(", much left")
	}
	if e.Source != "" && e.Kind != HillTime {
		fmt.Fprintf(&b, ", %s", e.Source)
	}
	if e.Where != "" {
		fmt.Fprintf(&b, ", %s", e.Where)
	}
	return b.String()
}

// explain fills the account's sentences.
func (in *inference) explain(r Rider, l Learnt) {
	in.fit(r)
	names := map[string]bool{}
	for _, o := range in.obs {
		if o.source >= 0 {
			names[r.Evidence[o.piece].Source] = true
		}
	}
	if len(names) == 1 {
		for name := range names {
			in.account.Source = name
		}
	}
	if len(names) > 1 {
		in.warn("The evidence comes from several power sources, or some of it does not say from which; each is taken with its own error.")
	}
	if in.tired != "" {
		in.warn("Several of the tests were ridden on one day (%s); tired legs blur critical power and W′, so they are taken as less certain.", in.tired)
	}
	if r.Mass <= 0 {
		in.warn("Your mass is not known, so an average one stands in for it.")
	}
	if l.Displayed.CriticalPower < leastCP {
		in.warn("The evidence leads to a critical power that nobody has. Check the watts.")
	}
	in.account.Model = in.model(r)
}

var kindNames = map[Kind]string{MaximalTest: "maximal test", StatedThreshold: "stated threshold", BestEffort: "best effort",
	HillTime: "hill time", EasyHeartRate: "easy heart rate", TalkTest: "talk test", RideEffort: "ridden effort"}

func (in *inference) model(r Rider) string {
	typical := fmt.Sprintf("what is typical of a %s", r.Level)
	if len(in.obs) == 0 {
		return "No usable evidence: this is " + typical + " of this mass, age and sex, not measured."
	}
	var from []string
	for _, k := range []Kind{MaximalTest, BestEffort, RideEffort, StatedThreshold, HillTime, TalkTest, EasyHeartRate} {
		n := 0
		for _, o := range in.obs {
			if r.Evidence[o.piece].Kind == k {
				n++
			}
		}
		if n > 0 {
			from = append(from, plural(n, kindNames[k]))
		}
	}
	return "From " + strings.Join(from, " and ") + ", combined with " + typical + " of this mass, age and sex."
}

func plural(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}
