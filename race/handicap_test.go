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
	began := time.Now()
	ours, alone, rule, single := newTally(), newTally(), newTally(), newTally()
	for g := range groups {
		_, known := invented(uint64(g)+100, n)
		q := HandicapAsk{Way: way, Road: testRoad, Entrants: known, Tactics: Homeward, Races: 1, Rounds: rounds, Seed: uint64(g), Workers: 2}
		list, err := Handicap(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		real := q
		real.Seed = uint64(g) + 9000
		times := q.aloneTimes()
		rank := ranks(times)
		ride := func(y *tally, bunch []int, gaps []float64) {
			runs, err := real.runs(context.Background(), 0, each, bunch, gaps)
			if err != nil {
				t.Fatal(err)
			}
			y.add(runs, rank)
		}
		bunch := bunches(times, q.bunchCount())
		own := make([]int, n)
		for i, s := range list.Starts {
			own[i] = s.Bunch
		}
		ride(ours, own, list.Gaps)
		ride(alone, bunch, gapsOf(times, bunch))
		by := byRule(known, times, power)
		ruled := bunches(by, q.bunchCount())
		ride(rule, ruled, gapsOf(by, ruled))
		one := bunches(by, n)
		ride(single, one, gapsOf(by, one))
	}
	report := func(by string, y *tally) {
		line := fmt.Sprintf("csv,%s,%s,%d,%.2f,%.4f", name, by, groups, y.spread/y.races, math.Sqrt(y.chance/float64(groups)))
		for k := range n {
			line += fmt.Sprintf(",%.4f", y.byStart[k]/y.races)
		}
		for k := range n {
			line += fmt.Sprintf(",%.0f", y.once[k])
		}
		t.Log(line)
	}
	report("ours", ours)
	report("expected time alone", alone)
	report("W/kg rule in as many bunches", rule)
	report("W/kg rule each alone", single)
	t.Logf("%s: %.0f s", name, time.Since(began).Seconds())
	least := math.Min(rule.spread, single.spread)
	bar := 0.65
	if !*all {
		bar = 0.9
	}
	if ours.spread > bar*least {
		t.Errorf("%s: spread %.1f s, %.0f %% of the rule's", name, ours.spread/ours.races, 100*ours.spread/least)
	}
	if ours.chance >= alone.chance {
		t.Errorf("%s: chances spread %.4f, by times alone %.4f", name, ours.chance, alone.chance)
	}
	if *all {
		fair(t, name, ours, n, groups)
	}
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
