package room

import (
	"math"

	"chainline/estimate"
)

// FanKind is a fan as people name it.
type FanKind int

// The kinds of fan.
const (
	Desk       FanKind = iota // on a table
	Pedestal                  // on a stand
	Floor                     // a high-velocity fan on the floor
	Industrial                // a drum or barrel fan
)

// FanSetting is how hard it blows.
type FanSetting int

// The settings of a fan.
const (
	Low FanSetting = iota
	Medium
	High
)

// Fan is a fan, or several of the same kind, blowing at chest and face.
type Fan struct {
	Count    int     // at least 1
	Kind     FanKind //
	Distance float64 // m from fan to rider
	Setting  FanSetting
}

// fanType is what is taken for a kind of fan on its high setting. All four
// rows are our judgement; household fans leave a few m/s at the grille and
// high-velocity ones 5 to 15 m/s (secondary: a trade page without sources).
type fanType struct {
	diameter float64 // m
	outlet   float64 // m/s at the grille
	watts    float64 // W from the mains, all of which heats the room
}

var fanTypes = [...]fanType{
	Desk:       {0.30, 3.0, 35},
	Pedestal:   {0.40, 4.0, 50},
	Floor:      {0.45, 7.0, 100},
	Industrial: {0.60, 9.0, 250},
}

// settings is the air speed on a setting as a share of that on high.
var settings = [...]float64{Low: 0.55, Medium: 0.75, High: 1}

const (
	// jetDecay is K in the far speed u₀·K·D/x on the axis of a fan's free jet.
	// A round jet out of a nozzle has about 6 (6.11 at a Reynolds number of
	// 19,400: Abdel-Rahman, Al-Fahed and Chakroun 1996, Mech Res Commun
	// 23:313, abstract). A fan's jet takes in more air: measured on pedestal
	// and table fans, the flow had grown fourfold seven diameters away in one
	// case (University of Moratuwa handle 123/14543, abstract), which is
	// K = 3.5 where momentum is kept and the profile Gaussian (own derivation).
	jetDecay = 3.5
	// riderRadius is that of the disc, in m, over which a fan's air is
	// averaged: chest, face, arms and thighs. Our judgement.
	riderRadius = 0.35
	// fanSpread is the sd of the logarithm of a described fan's air speed, and
	// typedSpread that of one typed in m/s: our judgement.
	fanSpread   = 0.35
	typedSpread = 0.10
)

// speed is the mean air speed in m/s over the rider from one fan, aimed well.
// A jet of outlet speed u₀ and diameter D keeps its momentum: on the axis
//
//	u = u₀/√(1 + (x/(K·D))²)
//
// with Gaussian width b = D·u₀/(√2·u), averaged over a disc of 0.35 m radius.
func (f Fan) speed() float64 {
	kind := fanTypes[f.Kind]
	spread := math.Hypot(1, f.Distance/(jetDecay*kind.diameter))
	width := kind.diameter * spread / math.Sqrt2
	ratio := riderRadius * riderRadius / (width * width)
	return settings[f.Setting] * kind.outlet / spread * -math.Expm1(-ratio) / ratio
}

// FanSpeed is the mean air speed in m/s over the rider that fans blow, as if
// well aimed: momenta of several add, so speeds add in squares. No fan is 0.
func FanSpeed(fans []Fan) estimate.Estimate {
	square := 0.0
	for _, f := range fans {
		square += float64(f.Count) * f.speed() * f.speed()
	}
	if square == 0 {
		return estimate.Exact(0, "no fan: only your own movement")
	}
	return logNormal(math.Sqrt(square), fanSpread, DescribeFans(fans))
}

// fanWatts is what fans draw from the mains, W; power falls with the square
// of the air speed (our judgement: less than the cube, motors being poor).
func fanWatts(fans []Fan) float64 {
	sum := 0.0
	for _, f := range fans {
		sum += float64(f.Count) * fanTypes[f.Kind].watts * settings[f.Setting] * settings[f.Setting]
	}
	return sum
}

// logNormal is an estimate whose logarithm is normal about that of median;
// Mean is the median, which is also what the typical Case uses.
func logNormal(median, sd float64, origin string) estimate.Estimate {
	return estimate.Estimate{Mean: median, SD: median * sd,
		Low80: median * math.Exp(-estimate.Z80*sd), High80: median * math.Exp(estimate.Z80*sd), Origin: origin}
}
