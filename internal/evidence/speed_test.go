package evidence

import (
	"context"
	"flag"
	"fmt"
	"os/exec"
	"strings"
	"testing"
	"time"
)

var speed = flag.Bool("speed", false, "run the general solver beside ours and compare their times (minutes; needs python3 with scipy)")

// TestSpeed solves the 10 km hill by our method and by the general solver in
// the same run, one start each. It runs from `make bench` only: it takes
// minutes and needs scipy.
func TestSpeed(t *testing.T) {
	if !*speed {
		t.Skip("asked for by make bench only: -args -speed")
	}
	fixtures, err := Fixtures()
	if err != nil {
		t.Fatal(err)
	}
	var hill Fixture
	for _, f := range fixtures {
		if f.Name == "hill" {
			hill = f
		}
	}
	p := hill.Problem()
	const runs = 20
	began := time.Now()
	for range runs {
		if _, err := p.Optimum(context.Background()); err != nil {
			t.Fatal(err)
		}
	}
	ours := time.Since(began) / runs
	out, err := exec.Command("python3", "slsqp/time_hill.py").Output()
	if err != nil {
		// Not every python3 has Debian's scipy.
		out, err = exec.Command("/usr/bin/python3", "slsqp/time_hill.py").Output()
	}
	if err != nil {
		t.Fatalf("the general solver did not run (python3 with scipy is needed): %v", err)
	}
	var seconds, found float64
	if _, err := fmt.Sscan(strings.TrimSpace(string(out)), &seconds, &found); err != nil {
		t.Fatalf("%q: %v", out, err)
	}
	ratio := seconds / ours.Seconds()
	t.Logf("10 km hill: ours %v; general solver %.1f s from one start (%.2f s of riding); %.0f times", ours, seconds, found, ratio)
	if ratio < 50 {
		t.Errorf("only %.0f times faster than the general solver", ratio)
	}
}
