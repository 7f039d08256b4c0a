package evidence

import (
	"fmt"
	"hash/fnv"
	"math"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"

	"chainline/estimate"
	"chainline/internal/checksim"
	"chainline/rig"
)

// MatrixRuns are the simulated rig checks of one cell of the fault matrix,
// HealthyRuns those of a rig without a fault, spread over the rigs.
const (
	MatrixRuns  = 200
	HealthyRuns = 2000
)

// Healthy names the rows without a fault.
const Healthy = rig.Subject("healthy")

// MatrixCells are the squares of the matrix and, behind them, one healthy row
// a rig.
func MatrixCells() []checksim.Cell {
	cells := checksim.Cells()
	for _, s := range checksim.Setups {
		cells = append(cells, checksim.Cell{Case: checksim.Case{Setup: s}})
	}
	return cells
}

// RunsOf is how many checks a cell has.
func RunsOf(c checksim.Cell) int {
	if c.Subject == "" {
		return HealthyRuns / len(checksim.Setups)
	}
	return MatrixRuns
}

// Outcome is what a check said of a known truth.
type Outcome struct {
	Detected bool          // a finding names the fault
	Covered  bool          // and its 95 % interval holds the truth
	Size     float64       // found, without its sign
	Off      float64       // found less true
	Others   []rig.Subject // findings that are not the fault
}

// String is an outcome as one word of a file.
func (o Outcome) String() string {
	if !o.Detected {
		return fmt.Sprintf("none+%d", len(o.Others))
	}
	return fmt.Sprintf("%.5g+%d", o.Size, len(o.Others))
}

// CheckOnce rides and judges one check of a cell.
func CheckOnce(c checksim.Cell, run int) Outcome {
	in, truth := checksim.Ride(c.Case, matrixStream(c, run))
	return Judge(rig.Check(in), truth)
}

// CheckCase is the input and truth of one check, for those who look closer.
func CheckCase(c checksim.Cell, run int) (rig.CheckInput, checksim.Truth) {
	return checksim.Ride(c.Case, matrixStream(c, run))
}

// Judge compares a report with the truth. Of several findings of the fault
// the surest counts.
func Judge(r rig.Report, truth checksim.Truth) Outcome {
	var o Outcome
	best := -1.0
	for _, f := range r.Findings {
		if !truth.Finds(f) {
			o.Others = append(o.Others, f.Subject)
			continue
		}
		if f.Sure > best {
			best = f.Sure
			really := truth.Size(f)
			o.Detected, o.Size, o.Off = true, math.Abs(f.Size.Mean), f.Size.Mean-really
			o.Covered = really >= f.Low95-1e-9 && really <= f.High95+1e-9
		}
	}
	return o
}

// matrixStream gives each check its own stream, whatever cells are added.
func matrixStream(c checksim.Cell, run int) *rand.Rand {
	h := fnv.New64a()
	fmt.Fprintf(h, "%s|%d|%s", c.Subject, c.Step, c.Setup)
	return estimate.Stream(h.Sum64(), run)
}

// MatrixRow is a cell in one line.
type MatrixRow struct {
	Subject           rig.Subject
	Size              float64
	Step              int
	Setup             checksim.Setup
	Demanded          bool
	Runs              int
	Detected, Covered int
	Median            float64     // of the sizes found, without sign; 0 none
	MedianOff         float64     // of found less true
	WithOthers        int         // checks with findings that are not the fault
	Often             rig.Subject // which of them came most often; empty: none
	First             string      // outcome of the first check
}

// SumCell makes the row of a cell from its checks.
func SumCell(c checksim.Cell, outcomes []Outcome) MatrixRow {
	r := MatrixRow{Subject: c.Subject, Size: c.Size, Step: c.Step, Setup: c.Setup, Demanded: c.Demanded, Runs: len(outcomes), First: outcomes[0].String()}
	if c.Subject == "" {
		r.Subject = Healthy
	}
	var sizes, offs []float64
	counts := map[rig.Subject]int{}
	for _, o := range outcomes {
		if o.Detected {
			r.Detected++
			sizes, offs = append(sizes, o.Size), append(offs, o.Off)
		}
		if o.Covered {
			r.Covered++
		}
		if len(o.Others) > 0 {
			r.WithOthers++
		}
		slices.Sort(o.Others)
		for _, s := range slices.Compact(o.Others) {
			counts[s]++
		}
	}
	if len(sizes) > 0 {
		slices.Sort(sizes)
		slices.Sort(offs)
		r.Median, r.MedianOff = estimate.Quantile(sizes, 0.5), estimate.Quantile(offs, 0.5)
	}
	names := make([]rig.Subject, 0, len(counts))
	for s := range counts {
		names = append(names, s)
	}
	sort.Slice(names, func(i, j int) bool {
		return counts[names[i]] > counts[names[j]] || counts[names[i]] == counts[names[j]] && names[i] < names[j]
	})
	if len(names) > 0 {
		r.Often = names[0]
	}
	return r
}

// MatrixHeader names the columns of docs/evidence-matrix.csv.
const MatrixHeader = "fault,size,step,rig,demanded,runs,detected,covered,detected_pct,coverage_pct,median_size,median_off,runs_with_other_findings,most_often,first_run"

// String is the row of the file.
func (r MatrixRow) String() string {
	coverage := 0.0
	if r.Detected > 0 {
		coverage = 100 * float64(r.Covered) / float64(r.Detected)
	}
	return fmt.Sprintf("%s,%g,%d,%s,%d,%d,%d,%d,%.1f,%.1f,%.4g,%.3g,%d,%s,%s", r.Subject, r.Size, r.Step, r.Setup, number(r.Demanded), r.Runs, r.Detected, r.Covered,
		100*float64(r.Detected)/float64(r.Runs), coverage, r.Median, r.MedianOff, r.WithOthers, r.Often, r.First)
}

// ParseMatrixRow reads what MatrixRow.String wrote.
func ParseMatrixRow(line string) (MatrixRow, error) {
	f := strings.Split(line, ",")
	if len(f) != strings.Count(MatrixHeader, ",")+1 {
		return MatrixRow{}, fmt.Errorf("%d columns", len(f))
	}
	r := MatrixRow{Subject: rig.Subject(f[0]), Setup: checksim.Setup(f[3]), Often: rig.Subject(f[13]), First: f[14]}
	var demanded int
	_, err := fmt.Sscan(strings.Join([]string{f[1], f[2], f[4], f[5], f[6], f[7], f[10], f[11], f[12]}, " "),
		&r.Size, &r.Step, &demanded, &r.Runs, &r.Detected, &r.Covered, &r.Median, &r.MedianOff, &r.WithOthers)
	r.Demanded = demanded == 1
	return r, err
}
