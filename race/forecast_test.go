package race

import (
	"context"
	"math"
	"testing"

	"chainline/capacity"
)

var testClass = Category{Name: "brisk", Min: 2.9, Max: 3.7, OverS: 1200}

// someone is a rider known to about 3 %.
func someone(wkg float64) Me {
	mass := 70.0
	c := capacity.Capacity{CriticalPower: wkg * mass * 0.96, WPrime: 16000, MaxPower: 850, Fade: 0.09 * wkg * mass}
	c.Sigma[0][0], c.Sigma[1][1], c.Sigma[2][2], c.Sigma[3][3] = 0.03*c.CriticalPower, 2500, 60, 5
	return Me{Name: "me", Capacity: c, Mass: mass, MassSD: 0.5, Age: 35}
}

func testAsk(wkg float64, races int) Ask {
	return Ask{Way: hills(6000), Me: someone(wkg), Road: testRoad, BikeSD: 0.2, DragSD: 0.01, CrrSD: 0.0003, Field: Field{Category: testClass, Starters: 40}, Tactics: Usual, Races: races, Seed: 1, Workers: 2}
}

// TestMoreWattsHangOnLonger: the same races, the same rider with more watts at
// the same mass. The tolerance is the issue's.
func TestMoreWattsHangOnLonger(t *testing.T) {
	before, first, last := -1.0, 0.0, 0.0
	for i, wkg := range []float64{3.2, 3.5, 3.6, 3.9} {
		o, err := Forecast(context.Background(), testAsk(wkg, 30))
		if err != nil {
			t.Fatal(err)
		}
		t.Logf("%.1f W/kg: %.3f %v over %.2f lost %.0f s", wkg, o.Chance, o.ByShelter, o.OverLimit, o.LostS.Mean)
		if o.Chance < before-0.02 {
			t.Errorf("%.1f W/kg: the chance falls from %.3f to %.3f", wkg, before, o.Chance)
		}
		if before = o.Chance; i == 0 {
			first = o.Chance
		}
		last = o.Chance
	}
	if last-first < 0.4 {
		t.Errorf("0.8 W/kg more lifts the chance by %.2f only", last-first)
	}
}

// TestOpeningIsHarder is common practice, held by the model: whoever holds the
// front group rides the first five minutes harder than the whole.
func TestOpeningIsHarder(t *testing.T) {
	q := testAsk(3.4, 10)
	q.Way = flat(15000)
	o, err := Forecast(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	if !(o.OpeningW.Mean > 1.03*o.MeanW.Mean) {
		t.Errorf("opening %.0f W, whole %.0f W", o.OpeningW.Mean, o.MeanW.Mean)
	}
	if o.Along[0].Low != 1 || o.Along[alongPoints].Middle != o.ByShelter[1] {
		t.Errorf("along %+v … %+v, chance %v", o.Along[0], o.Along[alongPoints], o.ByShelter)
	}
	for i := 1; i < len(o.Along); i++ {
		if o.Along[i].High > o.Along[i-1].High+1e-9 {
			t.Errorf("the chance of still being there rises at %.0f m", o.Along[i].M)
		}
	}
}

func TestForecastIsTheSameForAnyNumberOfWorkers(t *testing.T) {
	a, b := testAsk(3.3, 8), testAsk(3.3, 8)
	b.Workers = 1
	x, err := Forecast(context.Background(), a)
	if err != nil {
		t.Fatal(err)
	}
	y, _ := Forecast(context.Background(), b)
	if x.Chance != y.Chance || x.FinishS != y.FinishS || x.OpeningW != y.OpeningW {
		t.Errorf("%v %v", x, y)
	}
}

func TestGhostsChangeNothing(t *testing.T) {
	race := benchmarkRace(20, 900)
	without := race.Run(streamOf(1))
	race.Riders = append(race.Riders, Rider{Capacity: capacity.Fixed(300, 20000, 1000), Motion: testRoad.Motion(70), Ghost: true})
	with := race.Run(streamOf(1))
	for i := range without.Riders {
		if math.Abs(without.Riders[i].FinishS-with.Riders[i].FinishS) > 1e-9 {
			t.Fatalf("rider %d: %.3f s without the ghost, %.3f s with it", i, without.Riders[i].FinishS, with.Riders[i].FinishS)
		}
	}
}
