package evidence

import (
	"fmt"
	"math"
)

// What the issue of the rig check asks of the matrix, per cent.
const (
	askedMiddle, askedLarge = 95.0, 99.0
	askedHealthy            = 1.0
	pooledLow, pooledHigh   = 93.0, 97.0
	cellLow, cellHigh       = 88.0, 99.5
)

// fewest are the faults found from which on the coverage of a cell is judged
// too low: of fewer, a share says nothing. Too high it is called from more on:
// of fewer, intervals that hold 97 % of the time show no miss at all more
// often than once in twenty cells.
const fewest, fewestForTooHigh = 40, 100

// Unmet are the demands that rows do not reach: what, and the number that
// stands instead (per cent). Detection is judged in every cell in which it is
// demanded, coverage pooled by size and in every cell whose size is estimated.
func Unmet(rows []MatrixRow) map[string]float64 {
	out := map[string]float64{}
	s := SumMatrix(rows)
	for step, name := range stepNames {
		if c := 100 * s.Covered[step].Value(); s.Covered[step].Runs > 0 && (c < pooledLow || c > pooledHigh) {
			out["interval, pooled, "+name] = round1(c)
		}
	}
	if h := 100 * s.Healthy.Value(); h > askedHealthy {
		out["healthy with a finding"] = round1(h)
	}
	for _, r := range rows {
		if r.Subject == Healthy {
			continue
		}
		if r.Runs < MatrixRuns {
			out["checks a cell"] = float64(r.Runs)
		}
		where := fmt.Sprintf("%s, %s, %s", r.Subject, stepNames[r.Step], r.Setup)
		found := 100 * float64(r.Detected) / float64(r.Runs)
		if r.Demanded && (r.Step == 1 && found < askedMiddle || r.Step == 2 && found < askedLarge) {
			out["found: "+where] = round1(found)
		}
		if Exact[r.Subject] || r.Detected < fewest {
			continue
		}
		if c := 100 * float64(r.Covered) / float64(r.Detected); c < cellLow || c > cellHigh && r.Detected >= fewestForTooHigh {
			out["interval: "+where] = round1(c)
		}
	}
	return out
}

func round1(x float64) float64 { return math.Round(10*x) / 10 }
