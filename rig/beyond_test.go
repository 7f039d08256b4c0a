package rig_test

import (
	"os"
	"strconv"
	"strings"
	"testing"

	"chainline/estimate"
	"chainline/internal/checksim"
	"chainline/rig"
)

// tally is how often a fault was found and its size held.
type tally struct{ rode, found, held int }

func (n *tally) ride(t *testing.T, c checksim.Case, stream int) (others []string) {
	t.Helper()
	in, truth := checksim.Ride(c, estimate.Stream(61, stream))
	if ok, why := rig.CanShow(in, c.Subject); !ok {
		t.Errorf("%s on %s cannot show: %s", c.Subject, c.Setup, why)
	}
	n.rode++
	seen := false
	for _, f := range rig.Check(in).Findings {
		if !truth.Finds(f) || seen {
			others = append(others, string(f.Subject)+" of "+f.Source)
			continue
		}
		seen = true
		n.found++
		if really := truth.Size(f); really >= f.Low95-1e-9 && really <= f.High95+1e-9 {
			n.held++
		}
		if f.What == "" || len(f.Do) == 0 || f.Sure < 0.9 || f.Source != truth.Source && f.Against != truth.Source ||
			len(f.Plot.Points)+len(f.Plot.Lines) == 0 && c.Subject != rig.FirmwareChange {
			t.Errorf("%s on %s says too little, or of another: %+v", c.Subject, c.Setup, f)
		}
	}
	return others
}

// The faults that are no rows of the matrix: at the middle size found in nine
// checks of ten, of the right source, with the size in its interval most often;
// but for what a heart can tell, which is found at the largest size. With
// CHAINLINE_BEYOND=12 twelve checks of every cell are ridden and told, as
// docs/rigcheck.md has them.
func TestFaultsBeyondTheMatrix(t *testing.T) {
	many, _ := strconv.Atoi(os.Getenv("CHAINLINE_BEYOND"))
	for _, f := range checksim.Beyond {
		var sum tally
		for step, size := range f.Sizes {
			demanded := step == 1 && f.Subject != rig.AgainstHistory || step == 2 && f.Subject == rig.AgainstHistory
			if !demanded && many == 0 {
				continue
			}
			for i, setup := range f.Shows {
				var cell tally
				for k := range max(many, (3+len(f.Shows))/len(f.Shows)) {
					others := cell.ride(t, checksim.Case{Setup: setup, Subject: f.Subject, Size: size}, 100*i+k)
					if many > 0 && len(others) > 0 {
						t.Logf("    also: %s", strings.Join(others, ", "))
					}
				}
				if many > 0 {
					t.Logf("%s on %s at %g: found %d of %d, held %d", f.Subject, setup, size, cell.found, cell.rode, cell.held)
				}
				if demanded {
					sum = tally{sum.rode + cell.rode, sum.found + cell.found, sum.held + cell.held}
				}
			}
		}
		if 10*sum.found < 9*sum.rode || 10*sum.held < 7*sum.found {
			t.Errorf("%s: found in %d checks of %d, held by %d", f.Subject, sum.found, sum.rode, sum.held)
		}
	}
}

// All that can be known beside the recording is known, and nothing is wrong.
func TestHealthyChecksWithAHistoryFindNothing(t *testing.T) {
	for _, c := range []checksim.Case{
		{Setup: checksim.Hub, Subject: rig.AgainstPhysics}, {Setup: checksim.Both, Subject: rig.AgainstHistory}, {Setup: checksim.Alone, Subject: rig.AgainstHistory},
		{Setup: checksim.Curve, Subject: rig.CoastDown}, {Setup: checksim.Hub, Subject: rig.Repeatability, Size: 0.02}, {Setup: checksim.Alone, Subject: rig.BrakeLimits},
	} {
		for i := range 4 {
			in, _ := checksim.Ride(c, estimate.Stream(62, i))
			for _, f := range rig.Check(in).Findings {
				t.Errorf("%s %d, healthy: %s of %s: %s", c.Setup, i, f.Subject, f.Source, f.What)
			}
		}
	}
}

// One device that fades is not all devices failing, and the other way round.
func TestOneFadingOrAllTogether(t *testing.T) {
	for i, setup := range checksim.Setups {
		for subject, not := range map[rig.Subject]rig.Subject{rig.Fading: rig.Interference, rig.Interference: rig.Fading} {
			in, truth := checksim.Ride(checksim.Case{Setup: setup, Subject: subject, Size: 0.05}, estimate.Stream(63, i))
			r := rig.Check(in)
			if f, ok := found(r, subject); !ok || !truth.Finds(f) {
				t.Errorf("%s on %s is not found", subject, setup)
			}
			if f, ok := found(r, not); ok {
				t.Errorf("%s on %s is taken for %s: %s", subject, setup, not, f.What)
			}
		}
	}
}
