package race

import (
	"context"
	"flag"
	"math"
	"math/rand/v2"
	"testing"

	"chainline/estimate"
)

// many is how many forecasts the table in docs rests on.
var many = flag.Int("many", 600, "forecasts that are tried with -all")

// trial is one forecast, and the share of the races it was for in which the
// rider was with the front group at the end.
type trial struct{ chance, front float64 }

// worlds is how many races, each with a field and a shelter of its own, one
// forecast is tried on.
const worlds = 8

// trials forecasts riders and then rides races that the forecast did not see:
// fields crowded otherwise, of other sizes, shelter from below its low to
// above its high, the rider followed and counted like everybody else.
func trials(t *testing.T, n, races int) []trial {
	t.Helper()
	out := make([]trial, n)
	length := func(r *rand.Rand) float64 {
		if *all {
			return 9000 + 6000*r.Float64()
		}
		return 4500 + 1500*r.Float64()
	}
	for i := range out {
		r := estimate.Stream(770, i)
		way := flat(length(r))
		if i%2 == 1 {
			way = hills(length(r))
		}
		q := testAsk(2.9+1.0*r.Float64(), races)
		q.Way, q.Seed = way, uint64(i)+70_001
		o, err := Forecast(context.Background(), q)
		if err != nil {
			t.Fatal(err)
		}
		lasts := q.lasts()
		out[i].chance = o.Chance
		for range worlds {
			other := q.Field
			other.A, other.B, other.Starters = 1.5+3*r.Float64(), 1+r.Float64(), 25+r.IntN(40)
			me, _ := q.rider(r)
			me.Ghost, me.Leads = false, false
			riders := append(other.Draw(r, testRoad, lasts), me)
			race := Race{Way: way, Riders: riders, Shelter: Bunch(Strength(0.5 + 0.5*r.Float64())), Tactics: Usual, LastsS: lasts, Watch: -1}
			if race.Run(r).Riders[len(riders)-1].Front {
				out[i].front += 1. / worlds
			}
		}
	}
	return out
}

// TestChancesAreCalibrated: a forecast of p comes true about p of the time.
// Here on few races, as a guard; -args -all makes the table in docs.
func TestChancesAreCalibrated(t *testing.T) {
	n, races := 24, 5
	if *all {
		n, races = *many, 20
	}
	got := trials(t, n, races)
	brier, base, said := 0.0, 0.0, 0.0
	for _, x := range got {
		base, said = base+x.front/float64(n), said+x.chance/float64(n)
		brier += (x.front*(x.chance-1)*(x.chance-1) + (1-x.front)*x.chance*x.chance) / float64(n)
	}
	for low := 0.0; low < 1; low += 0.2 {
		count, sum, held := 0.0, 0.0, 0.0
		for _, x := range got {
			if x.chance >= low && (x.chance < low+0.2 || low > 0.7) {
				count, sum, held = count+1, sum+x.chance, held+x.front
			}
		}
		if count > 0 {
			t.Logf("csv,%.1f to %.1f,%.0f,%.3f,%.3f", low, low+0.2, count, sum/count, held/count)
		}
		if p := sum / math.Max(1, count); *all && count > 20 && math.Abs(held/count-p) > 3*math.Sqrt(p*(1-p)/count)+0.05 {
			t.Errorf("of forecasts of %.0f %% came true %.0f %%", 100*p, 100*held/count)
		}
	}
	t.Logf("csv,all,%d,%.3f,%.3f; Brier score %.3f, of the base rate %.3f", n, said, base, brier, base*(1-base))
	if brier >= base*(1-base) {
		t.Errorf("Brier score %.3f: the base rate alone scores %.3f", brier, base*(1-base))
	}
	if math.Abs(said-base) > 4*math.Sqrt(base*(1-base)/float64(n)) {
		t.Errorf("forecasts average %.2f, %.2f came true", said, base)
	}
}

// TestStepAccuracy states what steps of half a second cost: places and times
// against the same race at a quarter of that, averaged over races since the
// riders' turns fall otherwise.
func TestStepAccuracy(t *testing.T) {
	races := 4
	if *all {
		races = 20
	}
	at := func(step float64) (first, last float64) {
		for i := range races {
			race := benchmarkRace(40, 900)
			race.StepS = step
			res := race.Run(estimate.Stream(21, i))
			worst := 0.0
			for _, r := range res.Riders {
				worst = math.Max(worst, r.FinishS)
			}
			first, last = first+res.FirstS/float64(races), last+worst/float64(races)
		}
		return first, last
	}
	f, l := at(0.5)
	g, m := at(0.125)
	t.Logf("csv,first %.2f s at 0.5 s and %.2f s at 0.125 s (%.3f %%), last %.2f and %.2f s (%.3f %%)", f, g, 100*(f/g-1), l, m, 100*(l/m-1))
	if math.Abs(f/g-1) > 0.01 || math.Abs(l/m-1) > 0.02 {
		t.Errorf("steps of 0.5 s cost too much: first %.4f, last %.4f", f/g-1, l/m-1)
	}
}

// TestFieldCrowdsTowardsTheLimit is our judgement, held by a test.
func TestFieldCrowdsTowardsTheLimit(t *testing.T) {
	f := Field{Category: testClass, Starters: 400}
	r := estimate.Stream(3, 0)
	upper, out := 0, 0
	for _, rider := range f.Draw(r, testRoad, 3000) {
		w := wPerKg(rider.Capacity, 1200, rider.Motion.Mass-testRoad.BikeMass)
		if w > 3.3 {
			upper++
		}
		if w < 2.8 || w > 3.85 {
			out++
		}
	}
	if upper < 240 || out > 8 {
		t.Errorf("%d of 400 in the upper half, %d far outside", upper, out)
	}
}

// TestLearnFindsAnotherField: results of a stronger, tighter field move the
// field towards it, by watts and by times alike, over several lists.
func TestLearnFindsAnotherField(t *testing.T) {
	truth := Field{Category: testClass, Starters: 40, Shift: 0.08, Spread: 0.6}
	before := Field{Category: testClass, Starters: 40}
	const lists = 2
	var shift, spread [2]float64
	for i := range lists {
		way := flat(9000)
		if i%2 == 1 {
			way = hills(9000)
		}
		r := estimate.Stream(5, 50+i)
		riders := truth.Draw(r, testRoad, 900)
		res := (&Race{Way: way, Riders: riders, Shelter: Bunch(Middle), Tactics: Usual, LastsS: 900, Watch: -1}).Run(r)
		var watts, times []Shown
		for i, x := range res.Riders {
			watts = append(watts, Shown{Seconds: x.FinishS, WPerKg: x.MeanW / (riders[i].Motion.Mass - testRoad.BikeMass)})
			times = append(times, Shown{Seconds: x.FinishS})
		}
		for k, list := range [][]Shown{watts, times} {
			f := before.Learn(list, way, testRoad, Usual, uint64(i))
			if f.Learnt != 40 {
				t.Errorf("learnt from %d results, not 40", f.Learnt)
			}
			t.Logf("list %d, way %d of knowing: shift %.3f, spread %.2f", i, k, f.Shift, f.Spread)
			shift[k], spread[k] = shift[k]+f.Shift/lists, spread[k]+f.Spread/lists
		}
		if f := before.Learn(watts[:3], way, testRoad, Usual, 1); f.Learnt != 0 {
			t.Error("three results teach nothing")
		}
	}
	for k, by := range []string{"watts", "times"} {
		t.Logf("%s: shift %.3f (truth 0.08), spread %.2f (truth 0.6)", by, shift[k], spread[k])
		if math.Abs(shift[k]-0.08) > 0.03 || math.Abs(spread[k]-0.6) > 0.25 {
			t.Errorf("%s: shift %.3f, truth 0.08; spread %.2f, truth 0.6", by, shift[k], spread[k])
		}
	}
}

// TestRehandicap: results move what is known towards the truth, within the cap.
func TestRehandicap(t *testing.T) {
	before, after := 0.0, 0.0
	for g := range 3 {
		truth, known := invented(uint64(g)+40, 8)
		q := HandicapAsk{Way: flat(8000), Road: testRoad, Entrants: known, Tactics: Homeward, Races: 60, Seed: uint64(g), Workers: 2}
		alone := q.aloneTimes()
		bunch := bunches(alone, 8) // each alone: arrivals tell most
		gaps := gapsOf(alone, bunch)
		for event := range 3 {
			q.Seed = uint64(g + 100*event)
			list, err := q.tell(context.Background(), alone, bunch, gaps)
			if err != nil {
				t.Fatal(err)
			}
			real := q
			real.Entrants, real.Seed = truth, uint64(7000+g+10*event)
			changes := list.Rehandicap(real.run(0, bunch, gaps).arrive)
			for i, c := range changes {
				if math.Abs(c.Share) > MostChange+1e-12 {
					t.Fatalf("%s changes by %.3f", c.Name, c.Share)
				}
				off := func() float64 {
					return math.Log(q.Entrants[i].Capacity.CriticalPower / truth[i].Capacity.CriticalPower)
				}
				if event == 0 {
					before += off() * off()
				}
				q.Entrants[i] = q.Entrants[i].Changed(c)
				if event == 2 {
					after += off() * off()
				}
			}
		}
	}
	t.Logf("error of critical power %.2f %% before, %.2f %% after three events", 100*math.Sqrt(before/24), 100*math.Sqrt(after/24))
	if after >= before {
		t.Errorf("three events teach nothing: %.5f to %.5f", before, after)
	}
	list := StartList{Starts: []Start{{Name: "a", learn: regression{perS: -0.01}}, {Name: "b"}}}
	for _, c := range list.Rehandicap([]float64{100, math.NaN()}) {
		if c.Name == "b" && c.Share != 0 {
			t.Error("who did not finish stays as they are")
		}
	}
}
