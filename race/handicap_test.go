package race

import (
	"context"
	"flag"
	"fmt"
	"math"
	"testing"
	"time"

	"chainline/capacity"
	"chainline/estimate"
)

// all runs the experiments of docs/evidence.md at full size:
//
//	go test ./race -v -run 'HandicapBeats|Calibrated|StepAccuracy' -timeout 90m -args -all
//
// and -groups 25 -many 150 for a tenth of an hour.
var (
	all        = flag.Bool("all", false, "the experiments of docs at full size")
	groupsEach = flag.Int("groups", 250, "groups on each of two courses with -all")
	workers    = flag.Int("workers", 2, "races ridden at a time")
)

// invented is a group of mixed ability: truth, and what its handicapper knows
// to 3 % in critical power.
func invented(seed uint64, n int) (truth, known []Me) {
	r := estimate.Stream(seed, 7)
	for i := range n {
		mass := 72 * math.Exp(0.14*r.NormFloat64())
		wkg := 3.0 * math.Exp(0.17*r.NormFloat64())
		w := 215 * mass * math.Exp(0.25*r.NormFloat64())
		c := capacity.Capacity{CriticalPower: wkg*mass - w/1200, WPrime: w, MaxPower: 11 * mass * math.Exp(0.15*r.NormFloat64())}
		c.CriticalPower = math.Max(c.CriticalPower, 1.2*mass)
		c.Fade = 0.09 * c.CriticalPower
		off := math.Exp(0.03 * r.NormFloat64())
		k := c
		k.CriticalPower, k.WPrime, k.Fade = c.CriticalPower*off, c.WPrime*math.Exp(0.15*r.NormFloat64()), c.Fade*off
		k.Sigma[0][0], k.Sigma[1][1], k.Sigma[2][2], k.Sigma[3][3] = 0.03*k.CriticalPower, 0.15*k.WPrime, 50, 0.1*k.Fade
		truth = append(truth, Me{Name: fmt.Sprint(i), Capacity: c, Mass: mass})
		known = append(known, Me{Name: fmt.Sprint(i), Capacity: k, Mass: mass})
	}
	return truth, known
}

// byRule are times by W/kg alone, scaled at the median: the rule to beat.
func byRule(known []Me, alone []float64, power float64) []float64 {
	logs := make([]float64, len(known))
	for i, m := range known {
		logs[i] = -power * math.Log(m.Capacity.Threshold()/m.Mass)
	}
	scale := math.Log(median(alone)) - median(logs)
	out := make([]float64, len(known))
	for i := range out {
		out[i] = math.Exp(scale + logs[i])
	}
	return out
}

// onePercent is the sd of power from day to day that makes one of 1 % in time.
func onePercent(q HandicapAsk) float64 {
	before := median(q.aloneTimes())
	more := q
	more.Entrants = nil
	for _, e := range q.Entrants {
		more.Entrants = append(more.Entrants, e.Changed(Change{Share: 0.02}))
	}
	return 0.01 * math.Log(1.02) / math.Log(before/median(more.aloneTimes()))
}

// tally is what one way of handicapping came to over many groups.
type tally struct {
	spread, chance float64
	byStart        map[int]float64 // wins by place on the start list, from the limit on
	once           map[int]float64 // the same in the first race of each group
	races          float64
}

func newTally() *tally { return &tally{byStart: map[int]float64{}, once: map[int]float64{}} }

func (y *tally) add(runs []handicapRun, rank []int) {
	n := float64(len(rank))
	wins := make([]float64, len(rank))
	y.once[rank[first(runs[0].arrive)]]++
	for _, r := range runs {
		wins[first(r.arrive)]++
		y.spread += spread(r.arrive)
		y.races++
	}
	for i, w := range wins {
		y.byStart[rank[i]] += w
		y.chance += (w/float64(len(runs)) - 1/n) * (w/float64(len(runs)) - 1/n) / n
	}
}

func ranks(times []float64) []int {
	out := make([]int, len(times))
	for i := range out {
		for j := range times {
			if times[j] > times[i] || times[j] == times[i] && j < i {
				out[i]++
			}
		}
	}
	return out
}

// TestHandicapBeatsRules sends groups off by this program, by expected times
// alone and by the W/kg rule, each with the same number of bunches, and rides
// them as they truly are.
func TestHandicapBeatsRules(t *testing.T) {
	groups, n, each, length, rounds := 3, 8, 20, 5000.0, 6 // a glance; the numbers of docs come from -all
	if *all {
		groups, n, length, rounds = *groupsEach, 10, 10000, 0
	}
	for _, c := range []struct {
		name  string
		way   *Way
		power float64
	}{{"flat", flat(length), 1. / 3}, {"hilly", hills(length), 1. / 2}} {
		if !*all && c.name == "flat" {
			continue // on 5 km of level road all come together whoever leaves when
		}
		t.Run(c.name, func(t *testing.T) { beats(t, c.name, c.way, c.power, groups, n, each, rounds) })
	}
}

func beats(t *testing.T, name string, way *Way, power float64, groups, n, each, rounds int) {
	began, day := time.Now(), 0.0
	type tallies struct{ known, truth *tally } // arrivals drawn from what is known of riders, and from what they are
	by := []string{"ours", "expected time alone", "W/kg rule in as many bunches", "W/kg rule each alone"}
	of := map[string]tallies{}
	for _, b := range by {
		of[b] = tallies{newTally(), newTally()}
	}
	for g := range groups {
		seed := uint64(g) + groupSeed
		truth, known := invented(seed, n)
		q := HandicapAsk{Way: way, Road: testRoad, Entrants: known, Tactics: Homeward, Races: 1, Rounds: rounds, Seed: seed, Workers: *workers}
		q.DaySD = onePercent(q)
		day += q.DaySD / float64(groups)
		list, err := Handicap(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		times := q.aloneTimes()
		rank := ranks(times)
		ride := func(b string, bunch []int, gaps []float64) {
			for y, entrants := range map[*tally][]Me{of[b].known: known, of[b].truth: truth} {
				real := q
				real.Seed, real.Entrants = seed+1_000_000, entrants
				runs, err := real.runs(context.Background(), 0, each, bunch, gaps)
				if err != nil {
					t.Fatal(err)
				}
				y.add(runs, rank)
			}
		}
		own := make([]int, n)
		for i, s := range list.Starts {
			own[i] = s.Bunch
		}
		ride("ours", own, list.Gaps)
		bunch := bunches(times, q.bunchCount())
		ride("expected time alone", bunch, gapsOf(times, bunch))
		rule := byRule(known, times, power)
		ruled, one := bunches(rule, q.bunchCount()), bunches(rule, n)
		ride("W/kg rule in as many bunches", ruled, gapsOf(rule, ruled))
		ride("W/kg rule each alone", one, gapsOf(rule, one))
	}
	for _, b := range by {
		of[b].known.report(t, name+",as known,"+b, n, groups)
	}
	for _, b := range by {
		of[b].truth.report(t, name+",as they are,"+b, n, groups)
	}
	t.Logf("%s: a day of %.2f %% of power, %.0f s", name, 100*day, time.Since(began).Seconds())
	bar := 0.65
	if !*all {
		bar = 0.9
	}
	for _, as := range []func(tallies) *tally{func(x tallies) *tally { return x.known }, func(x tallies) *tally { return x.truth }} {
		ours := as(of["ours"])
		rule := math.Min(as(of["W/kg rule in as many bunches"]).spread, as(of["W/kg rule each alone"]).spread)
		if t.Logf("%s: spread %.0f %% of the rule's", name, 100*ours.spread/rule); ours.spread > bar*rule {
			t.Errorf("%s: spread %.1f s, %.0f %% of the rule's", name, ours.spread/ours.races, 100*ours.spread/rule)
		}
		if timed := as(of["expected time alone"]); ours.chance >= timed.chance {
			t.Errorf("%s: chances spread %.4f, by times alone %.4f", name, ours.chance, timed.chance)
		}
		if *all {
			fair(t, name, ours, n, groups)
		}
	}
}

// groupSeed begins the seeds of the groups in docs/evidence-races.csv; nothing
// was tuned on them.
const groupSeed = 20_000

func (y *tally) report(t *testing.T, by string, n, groups int) {
	t.Helper()
	line := fmt.Sprintf("csv,%s,%d,%.2f,%.4f", by, groups, y.spread/y.races, math.Sqrt(y.chance/float64(groups)))
	for k := range n {
		line += fmt.Sprintf(",%.4f", y.byStart[k]/y.races)
	}
	for k := range n {
		line += fmt.Sprintf(",%.0f", y.once[k])
	}
	t.Log(line)
}

// fair checks that nobody is favoured: in one race of each group the limit,
// the middle and the scratch third of the start list win as often as they have
// riders, within two standard errors, and all places together fit a fair
// lottery (chi-squared with n−1 = 9 degrees of freedom, 95 %: 16.92).
func fair(t *testing.T, name string, y *tally, n, groups int) {
	chi := 0.0
	thirds, riders := [3]float64{}, [3]float64{}
	for k := range n {
		e := float64(groups) / float64(n)
		chi += (y.once[k] - e) * (y.once[k] - e) / e
		thirds[3*k/n] += y.once[k]
		riders[3*k/n]++
	}
	for i, w := range thirds {
		p := riders[i] / float64(n)
		if z := (w - p*float64(groups)) / math.Sqrt(p*(1-p)*float64(groups)); math.Abs(z) > 2 {
			t.Errorf("%s: third %d wins %.0f of %d races with %.0f riders of %d: %.1f standard errors", name, i, w, groups, riders[i], n, z)
		} else {
			t.Logf("%s: third %d is %.1f standard errors from fair", name, i, z)
		}
	}
	if t.Logf("%s: chi-squared %.1f", name, chi); chi > 16.92 {
		t.Errorf("%s: chi-squared %.1f", name, chi)
	}
}

func TestBunchesOfNeighbours(t *testing.T) {
	got := bunches([]float64{100, 205, 101, 300, 200, 99}, 3)
	want := []int{2, 1, 2, 0, 1, 2}
	for i := range want {
		if got[i] != want[i] {
			t.Fatalf("%v, want %v", got, want)
		}
	}
	if g := gapsOf([]float64{100, 205, 101, 300, 200, 99}, want); g[0] != 0 || g[1] != 100 || g[2] != 200 {
		t.Errorf("%v", g)
	}
}
