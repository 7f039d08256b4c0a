package evidence

import (
	"bytes"
	"fmt"
	"strings"
)

// begin and end fence a table in docs/evidence.md.
func begin(name string) string { return "<!-- " + name + " begin: written by make evidence -->\n" }
func end(name string) string   { return "<!-- " + name + " end -->\n" }

// Replace puts a table between its fences in a document.
func Replace(doc []byte, name, table string) ([]byte, error) {
	from, to := bytes.Index(doc, []byte(begin(name))), bytes.Index(doc, []byte(end(name)))
	if from < 0 || to < from {
		return nil, fmt.Errorf("docs/evidence.md has no place for the table %q", name)
	}
	from += len(begin(name))
	return append(append(append([]byte{}, doc[:from]...), table...), doc[to:]...), nil
}

// Table is what stands between the fences.
func Table(doc []byte, name string) string {
	s := string(doc)
	_, rest, ok := strings.Cut(s, begin(name))
	if !ok {
		return ""
	}
	table, _, _ := strings.Cut(rest, end(name))
	return table
}

// SolverTable compares our plans with the general solver's.
func SolverTable(rows []Comparison) string {
	var b strings.Builder
	b.WriteString("| course | best even | general solver, 40 pieces | optimum | against solver | course rides | cues | rideable plan | against optimum |\n|---|---|---|---|---|---|---|---|---|\n")
	for _, c := range rows {
		fmt.Fprintf(&b, "| %s | %.2f s at %.1f W | %.2f s | %.2f s | %+.3f %% | %d | %d of %d | %.2f s | %+.3f %% |\n", c.Name, c.Even, c.EvenWatts,
			c.General, c.Optimum, 100*(c.Optimum/c.General-1), c.Rides, c.Used, c.Allowed, c.Cues, 100*(c.Cues/c.Optimum-1))
	}
	return b.String()
}

// CoverageTable sums the simulated riders up.
func CoverageTable(rows []Row) string {
	var b strings.Builder
	b.WriteString("| evidence | riders | finish inside its 80 % interval | its width | critical power inside | its median half width | threshold inside | all three | chance of running empty, forecast | ran empty |\n|---|---|---|---|---|---|---|---|---|---|\n")
	line := func(name string, s Summary) {
		fmt.Fprintf(&b, "| %s | %d | %.1f %% | %.1f %% of the time | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% |\n", name, s.Riders, 100*s.Time, 100*s.TimeWidth,
			100*s.CP, 100*s.HalfWidth, 100*s.Threshold, 100*s.Pooled(), 100*s.Chance, 100*s.Empty)
	}
	for i, name := range Strata {
		line(name, Summarise(rows, i))
	}
	line("all", Summarise(rows, -1))
	return b.String()
}

// LearntTable sums the cases up.
func LearntTable(rows []LearntRow) string {
	var b strings.Builder
	b.WriteString("| case | riders | critical power inside its 80 % interval | its median half width | threshold inside | its mean within 15 % of the truth | its error, root mean square | its sd as stated |\n|---|---|---|---|---|---|---|---|\n")
	for i, k := range Cases {
		s := SummariseLearnt(rows, i)
		fmt.Fprintf(&b, "| %s | %d | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% | %.1f %% |\n", k.Name, s.Riders, 100*s.CP, 100*s.HalfWidth, 100*s.Threshold, 100*s.Within15, 100*s.Off, 100*s.SD)
	}
	return b.String()
}

// ParseRow reads what Row.String wrote, so that the table can be summed from
// the file.
func ParseRow(line string) (Row, error) {
	var r Row
	var empty int
	_, err := fmt.Sscanf(strings.ReplaceAll(line, ",", " "), "%d %d %g %g %g %g %g %d %g %g %g %g %g %g %g %g", &r.Stratum, &r.Rider, &r.Low, &r.Median, &r.High,
		&r.Actual, &r.Chance, &empty, &r.CP.Low, &r.CP.Mean, &r.CP.High, &r.CP.Truth, &r.Threshold.Low, &r.Threshold.Mean, &r.Threshold.High, &r.Threshold.Truth)
	r.Empty = empty == 1
	return r, err
}
