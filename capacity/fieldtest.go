package capacity

import (
	"math"
	"regexp"
	"strings"
)

// Field tests of threshold: what is computed from raw watts, and what a
// threshold that somebody states is worth as evidence.

// Factors from the mean power of a field test to the threshold it estimates.
// 0.95 is the factor that the studies below examine; 0.90 of eight minutes is
// common practice (the study names the test; the factor is from memory); 0.75
// of the best minute of a ramp is a coaching rule of thumb for which we found
// no peer-reviewed check.
const (
	Factor20Min      = 0.95
	Factor8Min       = 0.90
	FactorBestMinute = 0.75
)

// Threshold20Min is the threshold in watts from the mean of an all-out 20 min.
func Threshold20Min(watts float64) float64 { return Factor20Min * watts }

// Threshold8Min is the threshold in watts from the mean of an all-out 8 min.
func Threshold8Min(watts float64) float64 { return Factor8Min * watts }

// ThresholdBestMinute is the threshold in watts from the best minute of a
// ramp to exhaustion. A rule of thumb.
func ThresholdBestMinute(watts float64) float64 { return FactorBestMinute * watts }

// Threshold60Min is the threshold in watts from the mean of an all-out hour:
// that mean itself.
func Threshold60Min(watts float64) float64 { return watts }

// Reading is what a stated threshold measures and how well: the power that
// can be held for Duration seconds (+Inf: critical power) is the stated watts
// times Factor, with a standard deviation of SD, a fraction of that.
type Reading struct {
	Name       string // "20-minute test"
	Duration   float64
	Factor, SD float64
	Source     string // where Factor and SD come from, and how that is known
}

// readings are tried in this order; the last one matches everything.
var readings = []struct {
	Reading
	match *regexp.Regexp // on lower case
}{
	{Reading{"submaximal half hour", math.Inf(1), 1 / 0.86, 0.12,
		"An even half hour that ends at 15 on the 6-20 scale was 86 % of critical power (30 min at maximal lactate steady state, 143 of 167 W, 10 riders; Perceptual and Motor Skills 2023, doi 10.1177/00315125231180383; abstract only); the spread is our judgement."},
		regexp.MustCompile(`submax|sub-max`)},
	{Reading{"3-minute all-out test", math.Inf(1), 1, 0.056,
		"End power equals critical power on average (Vanhatalo, Doust, Burnley 2007, MSSE 39:548), with limits of agreement of −30 to 19 W about 221 W (Goulding, Roche, Marwood 2021, EJAP; both abstract only)."},
		regexp.MustCompile(`\b(3|three)[- ]?min.*all[- ]?out|all[- ]?out.*\b(3|three)[- ]?min`)},
	{Reading{"20-minute test", math.Inf(1), 256. / 249, 13. / 249,
		"0.95 of 20 minutes was 249 W where critical power was 256 W, difference 7 ± 13 W, 17 riders (Karsten et al. 2021, Front Physiol 11:613151; abstract only)."},
		regexp.MustCompile(`\b(20|twenty)[- ]?(m\b|min)`)},
	{Reading{"8-minute test", math.Inf(1), 0.97, 0.07,
		"0.90 of eight minutes is above most laboratory thresholds (Sanders et al. 2020, JSCR; Gavin et al. 2012, JSCR; abstracts only, without figures in watts); the correction and the spread are our judgement."},
		regexp.MustCompile(`\b(8|eight)[- ]?(m\b|min)`)},
	{Reading{"ramp test", math.Inf(1), 1 / 1.045, 0.06,
		"0.75 of the best minute of five ramps was 4.5 % above critical power, −0.6 to 9.4 % (computed from the open data of Weigend et al. 2022); widened by our judgement, five people being few."},
		regexp.MustCompile(`ramp|step|best[- ]minute|\b(1|one)[- ]?min`)},
	{Reading{"hour", 3600, 1, 0.04,
		"The hour itself. Typical error of a 20-minute test 2.9 % (Borszcz et al. 2020, IJSM 41:175; abstract only), and a little more because few people ride an hour evenly (our judgement)."},
		regexp.MustCompile(`\b(60|sixty)[- ]?(m\b|min)|hour|\b1 ?h\b`)},
	{Reading{"laboratory threshold", math.Inf(1), 1.03, 0.07,
		"Lactate steady state lies a little below critical power; factor and spread are our judgement."},
		regexp.MustCompile(`lactate|\blab|mlss|ventilat|spiro`)},
	{Reading{"critical power", math.Inf(1), 1, 0.05,
		"Stated as critical power; the spread of a one-visit test, −30 to 19 W about 221 W (Goulding, Roche, Marwood 2021, EJAP; abstract only)."},
		regexp.MustCompile(`critical|\bcp\b`)},
	{Reading{"unknown origin", math.Inf(1), 1, 0.12,
		"Where the threshold comes from is not known; the spread is our judgement, wider than any single test's."},
		regexp.MustCompile(``)},
}

// ReadThreshold says what a stated threshold is worth, from the words about
// where it comes from ("20-minute test", "ramp", "lab", ...). Words that say
// nothing known give the reading of unknown origin, which is wide.
func ReadThreshold(from string) Reading {
	from = strings.ToLower(from)
	for _, r := range readings {
		if r.match.MatchString(from) {
			return r.Reading
		}
	}
	return readings[len(readings)-1].Reading
}
