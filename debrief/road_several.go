package debrief

import (
	"fmt"
	"math"
)

// JoinRoads is what several rides on one road say of it together. Each ride's
// fit has its own error, and rides differ by more than that: by what was worn,
// how one sat, how the tyres were. The difference between rides (DerSimonian
// and Laird 1986, Control Clin Trials 7:177, from memory) is part of the
// doubt about the next one, which is what the interval is of.
func JoinRoads(rides []RoadFit) RoadFit {
	f := RoadFit{LeftOut: map[string]int{}}
	for _, r := range rides {
		if r.CdA.Unsaid == "" {
			f.Seconds += r.Seconds
		}
	}
	f.CdA = joined(rides, func(r RoadFit) Fitted { return r.CdA })
	f.Crr = joined(rides, func(r RoadFit) Fitted { return r.Crr })
	f.Shelter = joined(rides, func(r RoadFit) Fitted { return r.Shelter })
	return f
}

// leastJoined is how many rides it takes to see how they differ.
const leastJoined = 2

func joined(rides []RoadFit, of func(RoadFit) Fitted) Fitted {
	var all []Fitted
	for _, r := range rides {
		if x := of(r); x.Unsaid == "" && x.SD > 0 {
			all = append(all, x)
		}
	}
	if len(all) < leastJoined {
		return Fitted{Unsaid: fmt.Sprintf("%d of the rides say it; it takes %d", len(all), leastJoined)}
	}
	between := betweenRides(all)
	mean, weight := weighted(all, between)
	return said(mean, math.Sqrt(1/weight+between), fmt.Sprintf("fitted to %d rides", len(all)))
}

// betweenRides is the variance of the rides about each other, beyond the errors
// of their fits; not negative.
func betweenRides(all []Fitted) float64 {
	mean, w := weighted(all, 0)
	q, squares := 0.0, 0.0
	for _, x := range all {
		one := 1 / (x.SD * x.SD)
		q += one * (x.Mean - mean) * (x.Mean - mean)
		squares += one * one
	}
	return math.Max(0, (q-float64(len(all)-1))/(w-squares/w))
}

func weighted(all []Fitted, between float64) (mean, weight float64) {
	for _, x := range all {
		w := 1 / (x.SD*x.SD + between)
		mean, weight = mean+w*x.Mean, weight+w
	}
	return mean / weight, weight
}
