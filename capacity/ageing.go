package capacity

import (
	"math"
	"slices"
)

// Capacity drifts: evidence of the past observes what the rider could do then.
// Without drift a best of two years ago would hold for ever and capacity could
// never fall.

const (
	// driftPerMonth is the standard deviation of the drift of all of a rider's
	// power over a month, of the logarithm; a random walk, so that it grows with
	// the square root of time. Our judgement: power profiles of one rider differ
	// by 2.6 to 7.0 % within a season and 4.3 to 12.5 % in preparation (Muriel et
	// al. 2023, JSCR 37:1131; abstract only), which this reaches in two months
	// to two years.
	driftPerMonth = 0.02
	month         = 30.44 // days
	// undatedAge is how old evidence without a date is taken to be, in days.
	// Our judgement.
	undatedAge = 60.0
	// mostSteps back in time are told apart; nearer dates share one.
	mostSteps = 6
	oldest    = 3650.0 // days; drift stops growing
)

// age gives every datum its steps back in time.
func (in *inference) age(evidence []Evidence) {
	ages := make([]float64, len(in.obs))
	for i, o := range in.obs {
		ages[i] = undatedAge
		if evidence[o.piece].Date != "" {
			ages[i] = math.Min(oldest, evidence[o.piece].Age)
		}
	}
	nodes := timeNodes(ages)
	before := 0.0
	for k, at := range nodes {
		position := in.add(driftPerMonth * math.Sqrt((at-before)/month))
		if k == 0 {
			in.firstStep = position
		}
		before = at
	}
	for i := range in.obs {
		for k, at := range nodes {
			if ages[i] >= 0.5 && ages[i] <= at+1e-9 {
				in.obs[i].steps = k + 1
				break
			}
		}
	}
}

// timeNodes are the ages in days, rising, that are told apart: distinct ages,
// the nearest neighbours by ratio merged (to the older) until few are left.
func timeNodes(ages []float64) []float64 {
	var nodes []float64
	for _, a := range ages {
		if a >= 0.5 {
			nodes = append(nodes, a)
		}
	}
	slices.Sort(nodes)
	nodes = slices.Compact(nodes)
	for len(nodes) > 1 {
		nearest := 1
		for k := 2; k < len(nodes); k++ {
			if nodes[k]-nodes[k-1] < nodes[nearest]-nodes[nearest-1] {
				nearest = k
			}
		}
		gap := nodes[nearest] - nodes[nearest-1]
		if len(nodes) <= mostSteps && gap > 3 {
			break
		}
		nodes = slices.Delete(nodes, nearest-1, nearest)
	}
	return nodes
}
