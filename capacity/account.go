package capacity

import (
	"fmt"
	"math"
	"strings"
)

// The words of an inference: what was used, how, and what to do next.

func (in *inference) warn(format string, args ...any) {
	in.account.Warnings = append(in.account.Warnings, fmt.Sprintf(format, args...))
}

// words is the piece of evidence as a person would name it.
func (e Evidence) words() string {
	var b strings.Builder
	if e.Kind == StatedThreshold {
		fmt.Fprintf(&b, "threshold of %.0f W", e.Watts)
		if e.From != "" {
			fmt.Fprintf(&b, " from %s", e.From)
		}
	} else {
		fmt.Fprintf(&b, "%s maximal test, %.0f W", durationWords(e.Duration), e.Watts)
	}
	if e.Source != "" {
		fmt.Fprintf(&b, ", %s", e.Source)
	}
	if e.Where != "" {
		fmt.Fprintf(&b, ", %s", e.Where)
	}
	return b.String()
}

// used are the indices of all evidence that entered.
func (in *inference) used() []int {
	var all []int
	for _, at := range [][]int{in.fitted, in.severe, in.other, in.thresholds, in.sprints} {
		all = append(all, at...)
	}
	return all
}

// explain fills the account's sentences.
func (in *inference) explain(r Rider) {
	names := map[string]bool{}
	for _, at := range in.used() {
		names[r.Evidence[at].Source] = true
	}
	if len(names) == 1 {
		for name := range names {
			in.account.Source = name
		}
	}
	if len(names) > 1 {
		in.warn("The evidence comes from several power sources, or some of it does not say from which; sources differ by a few percent.")
	}
	if r.Mass <= 0 && in.account.Fit == nil {
		in.warn("Your mass is not known, so an average one stands in for it.")
	}
	in.account.Model = in.model(r)
	in.account.Next = in.next(r)
}

func (in *inference) model(r Rider) string {
	typical := fmt.Sprintf("what is typical of a %s", r.Level)
	var from []string
	if f := in.account.Fit; f != nil {
		from = append(from, fmt.Sprintf("a least-squares fit (%s) to %d maximal tests", f.Form, f.Tests))
	}
	if n := len(in.severe) + len(in.other); n > 0 {
		from = append(from, plural(n, "single test"))
	}
	if n := len(in.thresholds); n > 0 {
		from = append(from, plural(n, "stated threshold"))
	}
	switch {
	case len(from) > 0:
		return "From " + strings.Join(from, " and ") + ", combined with " + typical + "."
	case len(in.sprints) > 0:
		return "Maximal power from a sprint; the rest is " + typical + " of this mass, age and sex, not measured."
	default:
		return "No usable evidence: this is " + typical + " of this mass, age and sex, not measured."
	}
}

func plural(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// screened ends every suggestion, because each of them may be ridden all out.
const screened = "; a maximal test only after a health screening."

// next is what would narrow the capacity most: the missing end of the
// power-duration curve. Nobody who may be untrained is sent to a maximal test
// first.
func (in *inference) next(r Rider) string {
	const (
		short  = "a maximal test of 3 to 4 minutes"
		long   = "a maximal test of 12 to 20 minutes"
		submax = "An even half hour that ends hard but not flat out (15 on the 6-20 scale), noted as a threshold from a submaximal half hour, would narrow these numbers most" + screened
	)
	suggest := func(what string) string {
		return strings.ToUpper(what[:1]) + what[1:] + ", fresh and on another day, would narrow these numbers most" + screened
	}
	tests := append(append([]int(nil), in.severe...), in.other...)
	shortest, longest := math.Inf(1), 0.0
	for _, at := range tests {
		shortest, longest = math.Min(shortest, r.Evidence[at].Duration), math.Max(longest, r.Evidence[at].Duration)
	}
	f := in.account.Fit
	switch {
	case f != nil && f.Longest < longTest && longest < longTest:
		return suggest(long)
	case f != nil && f.DOF < 2:
		return suggest("one more maximal test of 2 to 20 minutes, of another length than those you have")
	case f != nil && longest < FadeFrom:
		return "An even ride of an hour or more, as hard as you can hold it, would tell most about long rides" + screened
	case f != nil:
		return ""
	case len(tests) > 0 && longest < longTest:
		return suggest(long)
	case len(tests) > 0 && shortest > 300:
		return suggest(short)
	case len(tests) > 0:
		return suggest("a maximal test of 6 to 8 minutes")
	case len(in.thresholds) > 0:
		return suggest(short)
	case r.Level == New || r.Level == LevelUnknown:
		return submax
	default:
		return suggest(long)
	}
}
