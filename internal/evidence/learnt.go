package evidence

import (
	"fmt"
	"strings"

	"chainline/capacity"
	"chainline/estimate"
)

// Cases are simulated riders whose capacity is inferred and who ride nothing:
// what happens where the assumptions are wrong, and what a newcomer gets.
var Cases = []Case{
	{Name: "bests, slack half of what is assumed", Riders: 200, slack: 0.5, stratum: bests},
	{Name: "bests, slack double of what is assumed", Riders: 200, slack: 2, stratum: bests},
	{Name: "tests, level stated one class too low", Riders: 200, slack: 1, stratum: tests, level: -1},
	{Name: "tests, level stated one class too high", Riders: 200, slack: 1, stratum: tests, level: 1},
	{Name: newcomers, Riders: 500, slack: 1, newcomer: true},
}

const newcomers = "newcomers, a hill time and an easy heart rate"

// Case is a kind of simulated rider.
type Case struct {
	Name     string
	Riders   int
	slack    float64
	stratum  int
	level    int
	newcomer bool
}

// LearntRow is what was inferred of one rider.
type LearntRow struct {
	Case, Rider   int
	CP, Threshold Interval
	ThresholdSD   float64 // W
}

// LearntHeader names the columns of the rows.
const LearntHeader = "case,rider,cp_low80_w,cp_mean_w,cp_high80_w,cp_true_w,threshold_low80_w,threshold_mean_w,threshold_high80_w,threshold_true_w,threshold_sd_w"

// String is the row of the file the test compares with.
func (r LearntRow) String() string {
	return fmt.Sprintf("%d,%d,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.1f,%.2f", r.Case, r.Rider, r.CP.Low, r.CP.Mean, r.CP.High, r.CP.Truth,
		r.Threshold.Low, r.Threshold.Mean, r.Threshold.High, r.Threshold.Truth, r.ThresholdSD)
}

// ParseLearntRow reads what LearntRow.String wrote.
func ParseLearntRow(line string) (LearntRow, error) {
	var r LearntRow
	_, err := fmt.Sscanf(strings.ReplaceAll(line, ",", " "), "%d %d %g %g %g %g %g %g %g %g %g", &r.Case, &r.Rider, &r.CP.Low, &r.CP.Mean, &r.CP.High, &r.CP.Truth,
		&r.Threshold.Low, &r.Threshold.Mean, &r.Threshold.High, &r.Threshold.Truth, &r.ThresholdSD)
	return r, err
}

// Learn simulates one rider of a case.
func Learn(at, rider int) LearntRow {
	k := Cases[at]
	r := estimate.Stream(20261126, at*100000+rider)
	who := body(r)
	source := meter
	if k.newcomer {
		// Their trainer shows watts, known to 3.5 % only.
		who.Level, source = capacity.New, capacity.Source{Name: "trainer", SD: 0.035}
	}
	if k.level < 0 && who.Level == capacity.New || k.level > 0 && who.Level == capacity.Racer {
		who.Level = capacity.Club // there is no class beyond
	}
	s := capacity.Simulate(who, source, r)
	s.Slack = k.slack
	known := who
	known.Level += capacity.Level(k.level)
	if k.newcomer {
		length, gradient := 2000+4000*r.Float64(), 0.035+0.04*r.Float64()
		known.Evidence = []capacity.Evidence{s.Hill(length, length*gradient, 1+r.IntN(longestAgo)), s.EasyHeart(0.5+0.15*r.Float64(), 1+r.IntN(14))}
	} else {
		known.Evidence = evidenceOf(s, k.stratum, r)
	}
	learnt, _ := capacity.Infer(known, source, r)
	truth := s.Displayed()
	cp, _, _, _ := learnt.Displayed.Estimates("")
	e := learnt.Displayed.ThresholdEstimate("")
	return LearntRow{Case: at, Rider: rider, CP: interval(cp, truth.CriticalPower), Threshold: interval(e, truth.Threshold()), ThresholdSD: e.SD}
}

// LearntSummary is a case in one line.
type LearntSummary struct {
	Riders        int
	CP, Threshold float64 // coverage of the 80 % intervals
	HalfWidth     float64 // median half width of critical power's
	Within15      float64 // share of thresholds whose mean lies within 15 % of the truth
	SD            float64 // mean relative sd of the threshold, as stated
	Off           float64 // root mean square of the threshold's relative error
}

// SummariseLearnt the rows of a case.
func SummariseLearnt(rows []LearntRow, at int) LearntSummary {
	var s LearntSummary
	var half []float64
	for _, r := range rows {
		if r.Case != at {
			continue
		}
		s.Riders++
		s.CP += share(r.CP.Holds())
		s.Threshold += share(r.Threshold.Holds())
		half = append(half, r.CP.HalfWidth())
		off := r.Threshold.Mean/r.Threshold.Truth - 1
		s.Within15 += share(off < 0.15 && off > -0.15)
		s.SD += r.ThresholdSD / r.Threshold.Mean
		s.Off += off * off
	}
	n := float64(s.Riders)
	s.CP, s.Threshold, s.Within15, s.SD = s.CP/n, s.Threshold/n, s.Within15/n, s.SD/n
	s.Off, s.HalfWidth = root(s.Off/n), median(half)
	return s
}
