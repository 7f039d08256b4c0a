package capacity

import (
	"math"

	"chainline/physics"
)

// Power from the time up a known hill: on a steep road nearly all of it lifts
// mass, so that length, ascent, masses and a watch are a power meter.

// What is usual on a climb, with standard deviations; our judgement beside
// Lim et al. 2011, MSSE 43:853 (abstract): drag areas of 0.29 m² on the hoods,
// ± 0.04, rolling 0.005 to 0.007.
const (
	hillBikeMass, hillBikeSD  = 9.5, 1.5 // kg, with bottle and tools
	hillBikeTypedSD           = 0.5
	hillKitMass               = 1.5 // kg, clothes, shoes, helmet
	hillMassSD                = 1.5 // kg, of the rider then
	hillDragArea, hillDragSD  = 0.36, 0.06
	hillDragTypedSD           = 0.03
	hillRolling, hillRollSD   = 0.0055, 0.0012
	hillWindSD                = 1.5  // m/s along the road
	hillAscentError           = 0.02 // of the ascent
	hillEfficiency            = 0.97
	hillAir                   = 1.17 // kg/m³, a few hundred metres up, mild
	hillSteepest, hillFastest = 0.35, 14.0
)

func (e Evidence) unusableHill(r Rider) string {
	switch {
	case !(e.Length > 0 && e.Ascent > 0) || e.Ascent > hillSteepest*e.Length:
		return "its length and ascent are not those of a hill"
	case e.Length/e.Duration > hillFastest:
		return "too fast for a hill"
	case e.Duration < severeFrom:
		return "under two minutes, where a flying start decides"
	case r.Mass <= 0 && e.RiderMass <= 0:
		return "the mass is not known"
	case e.Ascent < 0.02*e.Length:
		return "under 2 %, where the wind decides more than the hill"
	}
	return ""
}

// HillWatts is what a hill time is taken for: mean true power in watts, and the
// standard deviation of its logarithm. ok is false where it is left out.
func HillWatts(r Rider, e Evidence) (watts, sd float64, ok bool) {
	if e.Kind != HillTime || e.unusable(r) != "" {
		return 0, 0, false
	}
	watts, sd = hillPower(r, e)
	return watts, sd, true
}

// hillPower is the mean true power in watts that the time up the hill needed,
// and the standard deviation of its logarithm from what is not known: drag,
// wind, rolling, masses, the ascent (first order, by differences).
func hillPower(r Rider, e Evidence) (watts, sd float64) {
	const (
		drag = iota
		wind
		rolling
		bike
		rider
		rise
		doubts
	)
	at := [doubts]float64{hillDragArea, 0, hillRolling, hillBikeMass, r.Mass + hillKitMass, e.Ascent}
	doubt := [doubts]float64{hillDragSD, hillWindSD, hillRollSD, hillBikeSD, hillMassSD, hillAscentError * e.Ascent}
	if e.DragArea > 0 {
		at[drag], doubt[drag] = e.DragArea, hillDragTypedSD
	}
	if e.BikeMass > 0 {
		at[bike], doubt[bike] = e.BikeMass, hillBikeTypedSD
	}
	if e.RiderMass > 0 {
		at[rider] = e.RiderMass + hillKitMass
	}
	power := func(x [doubts]float64) float64 {
		road := physics.Road{BikeMass: x[bike], CdA: x[drag], Crr: x[rolling], Efficiency: hillEfficiency, AirDensity: hillAir, Bearings: true, WheelDragArea: 0.0044}
		return road.Motion(x[rider]).PowerAt(e.Length/e.Duration, x[rise]/e.Length, x[wind])
	}
	watts = power(at)
	sum := 0.0
	for i := range at {
		up, down := at, at
		up[i] += doubt[i]
		down[i] -= doubt[i]
		half := (power(up) - power(down)) / (2 * watts)
		sum += half * half
	}
	return watts, math.Sqrt(sum)
}
