package capacity

import (
	"fmt"
	"math"
)

// FitTwoParameter fits the three two-parameter forms. A form that the tests
// contradict is left out; the error is returned when none is left.
func FitTwoParameter(tests []Test) ([]Fit, error) {
	var fits []Fit
	var first error
	for _, fit := range []func([]Test) (Fit, error){FitLinear, FitInverse, FitHyperbolic} {
		f, err := fit(tests)
		if err == nil {
			fits = append(fits, f)
		} else if first == nil {
			first = err
		}
	}
	if len(fits) == 0 {
		return nil, first
	}
	return fits, nil
}

// Choose is the two-parameter fit with the smallest Score; the first of
// equals; false if there is none. The rule is that of the research code of
// Weigend et al. 2022 (arXiv 2207.14295; read in its source), which
// attributes it to Jones et al. 2019.
func Choose(fits []Fit) (Fit, bool) {
	best, found := Fit{}, false
	for _, f := range fits {
		if f.Form == ThreeParameter || f.Status != Fitted {
			continue
		}
		if !found || f.Score() < best.Score() {
			best, found = f, true
		}
	}
	return best, found
}

// Limits of a fit that is taken without a warning.
const (
	// longTest: critical power comes out too high and W′ too low when every
	// test is shorter than 10 to 12 min, whatever the form; tests of 12 to 20
	// min should be among them. Mattioni Maturana et al. 2018, J Sci Med
	// Sport 21:742 (abstract only).
	longTest = 720.0 // s
	// SE limits, as usually attributed to Muniz-Pumares et al. 2019 and Jones
	// et al. 2019 (from memory, unverified: they only ever cause a warning).
	maxSECriticalPower = 0.05 // fraction
	maxSEWPrime        = 0.10 // fraction
)

// Warnings are sentences on what is weak about the fit.
func (f Fit) Warnings() []string {
	var out []string
	if f.Longest < longTest {
		out = append(out, fmt.Sprintf("The longest test lasted %s, under 12 minutes: critical power probably comes out too high and W′ too low.", durationWords(f.Longest)))
	}
	if se := f.SECriticalPower / f.CriticalPower; se > maxSECriticalPower {
		out = append(out, fmt.Sprintf("The tests scatter: the standard error of critical power is %.0f %% (up to 5 %% is commonly accepted; we know that limit from memory only).", 100*se))
	}
	if se := f.SEWPrime / f.WPrime; se > maxSEWPrime {
		out = append(out, fmt.Sprintf("The tests say little about W′: its standard error is %.0f %% (up to 10 %% is commonly accepted; we know that limit from memory only).", 100*se))
	}
	return out
}

// durationWords is a duration as a person says it: "45 s", "3 min", "4:30 min".
func durationWords(seconds float64) string {
	s := int(math.Round(seconds))
	switch {
	case s < 120 && s%60 != 0:
		return fmt.Sprintf("%d s", s)
	case s%60 == 0:
		return fmt.Sprintf("%d min", s/60)
	default:
		return fmt.Sprintf("%d:%02d min", s/60, s%60)
	}
}
