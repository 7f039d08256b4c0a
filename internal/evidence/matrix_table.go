package evidence

import (
	"fmt"
	"strings"

	"chainline/internal/checksim"
	"chainline/rig"
)

// Share is a number of checks of so many.
type Share struct{ Of, Runs int }

// Value is the fraction; 0 of none.
func (s Share) Value() float64 {
	if s.Runs == 0 {
		return 0
	}
	return float64(s.Of) / float64(s.Runs)
}

func (s *Share) add(of, runs int) { s.Of, s.Runs = s.Of+of, s.Runs+runs }

// MatrixSummary is the matrix against what is asked of it.
type MatrixSummary struct {
	Detected [3]Share // by size, of the cells in which detection is demanded
	Covered  [3]Share // by size, of what was detected in all cells with an interval of their own
	Healthy  Share    // healthy checks with any finding
}

// Exact are subjects that are counted or read off: whoever finds one finds it
// to the digit, and an interval that holds it always is no fault.
var Exact = map[rig.Subject]bool{rig.Spikes: true, rig.Quantisation: true, rig.Stuck: true}

// SumMatrix pools the rows.
func SumMatrix(rows []MatrixRow) MatrixSummary {
	var s MatrixSummary
	for _, r := range rows {
		if r.Subject == Healthy {
			s.Healthy.add(r.WithOthers, r.Runs)
			continue
		}
		if r.Demanded {
			s.Detected[r.Step].add(r.Detected, r.Runs)
		}
		if !Exact[r.Subject] {
			s.Covered[r.Step].add(r.Covered, r.Detected)
		}
	}
	return s
}

var stepNames = []string{"small", "middle", "large"}

// MatrixTable is the matrix as people read it: a row a fault and rig, with
// detection, and coverage of the interval behind it, at the three sizes.
func MatrixTable(rows []MatrixRow) string {
	var b strings.Builder
	b.WriteString("| fault | rig | small | middle | large |\n|---|---|---|---|---|\n")
	for _, f := range checksim.Faults {
		for _, setup := range append(append([]checksim.Setup{}, f.Shows...), f.Partly...) {
			fmt.Fprintf(&b, "| %s | %s |", f.Subject, setup)
			for step := range f.Sizes {
				for _, r := range rows {
					if r.Subject == f.Subject && r.Setup == setup && r.Step == step {
						b.WriteString(matrixCell(r))
					}
				}
			}
			b.WriteString("\n")
		}
	}
	return b.String()
}

func matrixCell(r MatrixRow) string {
	found := 100 * float64(r.Detected) / float64(r.Runs)
	if r.Detected == 0 {
		return " not found |"
	}
	star := ""
	if !r.Demanded {
		star = "\\*"
	}
	return fmt.Sprintf(" %s: %.4g %%%s, holds %.4g %% |", sizeWords(r.Subject, r.Size), found, star, 100*float64(r.Covered)/float64(r.Detected))
}

// sizeWords is a size with its unit.
func sizeWords(s rig.Subject, size float64) string {
	switch s {
	case rig.Offset, rig.Quantisation:
		return fmt.Sprintf("%g W", size)
	case rig.Delay, rig.Smoothing, rig.Stuck, rig.BrakeLag:
		return fmt.Sprintf("%g s", size)
	case rig.Spikes:
		return fmt.Sprintf("%g", size)
	case rig.ZeroOffset:
		return fmt.Sprintf("%g N m", size)
	}
	return fmt.Sprintf("%g %%", 100*size)
}

// MatrixSummaryTable sets the matrix beside what was asked.
func MatrixSummaryTable(rows []MatrixRow) string {
	s := SumMatrix(rows)
	var b strings.Builder
	b.WriteString("| over all cells | small | middle | large | asked |\n|---|---|---|---|---|\n")
	line := func(name string, share [3]Share, asked string) {
		fmt.Fprintf(&b, "| %s |", name)
		for _, x := range share {
			fmt.Fprintf(&b, " %.1f %% of %d |", 100*x.Value(), x.Runs)
		}
		fmt.Fprintf(&b, " %s |\n", asked)
	}
	line("found", s.Detected, "95 % middle, 99 % large")
	line("interval holds the truth", s.Covered, "93 to 97 %")
	fmt.Fprintf(&b, "\nHealthy: %d of %d checks with any finding (asked: at most 1 %%)", s.Healthy.Of, s.Healthy.Runs)
	var by []string
	for _, r := range rows {
		if r.Subject == Healthy && r.WithOthers > 0 {
			by = append(by, fmt.Sprintf("%s: %d of %d, most often %s", r.Setup, r.WithOthers, r.Runs, r.Often))
		}
	}
	if len(by) > 0 {
		b.WriteString("; " + strings.Join(by, "; "))
	}
	b.WriteString(".\n")
	return b.String()
}

// ShowsTable says which rigs can show which fault at all.
func ShowsTable() string {
	var b strings.Builder
	b.WriteString("| fault |")
	for _, s := range checksim.Setups {
		fmt.Fprintf(&b, " %s |", s)
	}
	b.WriteString(" why not elsewhere |\n|---|" + strings.Repeat("---|", len(checksim.Setups)+1) + "\n")
	for _, f := range checksim.Faults {
		fmt.Fprintf(&b, "| %s |", f.Subject)
		for _, s := range checksim.Setups {
			word := "-"
			for _, x := range f.Shows {
				if x == s {
					word = "yes"
				}
			}
			for _, x := range f.Partly {
				if x == s {
					word = "if large"
				}
			}
			fmt.Fprintf(&b, " %s |", word)
		}
		fmt.Fprintf(&b, " %s |\n", f.Because)
	}
	return b.String()
}
