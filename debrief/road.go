package debrief

import (
	"fmt"
	"math"

	"chainline/estimate"
	"chainline/physics"
)

// What a road takes from this rider: drag, rolling and shelter, fitted to what
// was ridden alone by the balance of energy,
//
//	ΔE = g·η·W − c·½ρ∫v³ − r·m·g·∫v·cos − what is known
//
// over windows of some seconds. ΔE is kinetic and potential energy, W the
// displayed work; c is CdA, r is Crr, and g is one over the source's scale.

// Company is whether anybody was near enough to give shelter.
type Company int

const (
	CompanyUnknown Company = iota
	Alone
	Near
)

// RoadRow is one second of a ride: means over the second, NaN if not known.
type RoadRow struct {
	Watts    float64 // displayed
	Speed    float64 // m/s
	Gradient float64 // fraction, of the course
	Company  Company
	Bend     bool // a bend or a stop, where a rider may brake
}

// RoadRide is a ride to learn from. Road holds what is known of the road; its
// CdA and Crr are what was believed before, CrrSD how well.
type RoadRide struct {
	Rows      []RoadRow
	Road      physics.Road
	RiderMass float64 // kg
	MassSD    float64 // kg, of rider and bicycle together
	CrrSD     float64
	DensitySD float64 // of the air, as a fraction
	SourceSD  float64 // sd of the source's scale, as a fraction; 0 where displayed watts are what moves the rider
	TimeTrial bool    // nobody gave shelter where Company is not known
	StillAir  bool    // no wind: a road that is reckoned, or a hall
}

// Fitted is a number with its 95 % interval, or why it cannot be said.
type Fitted struct {
	estimate.Estimate         // its keys stand beside the others
	Low95             float64 `json:"low95"`
	High95            float64 `json:"high95"`
	Unsaid            string  `json:"unsaid,omitempty"` // empty if it is said
}

// RoadFit is what a ride taught about its road.
type RoadFit struct {
	CdA     Fitted         `json:"cda_m2"`
	Crr     Fitted         `json:"crr"`
	Shelter Fitted         `json:"shelter"`            // share of the drag left when somebody was near
	Seconds float64        `json:"seconds"`            // ridden alone and looked at
	LeftOut map[string]int `json:"left_out,omitempty"` // s, by reason
}

// What a fit needs and refuses; our judgement.
const (
	windowRows  = 30  // s of a window
	blockRows   = 6   // windows that are taken as one when errors are reckoned
	leastFit    = 600 // s alone
	leastShared = 300 // s with somebody near
	nearCap     = 0.97
	slowestFit  = 2.0 // m/s
	// A road or a shelter that was not the same all the way shows in what the
	// fit leaves over: refused if windows differ by so much of the mean drag,
	// or blocks by so much and more than chance.
	mostWindow, mostBlock, mostChance = 0.06, 0.015, 2.5
	leastSpread                       = 1.25 // of window speeds, 90th over 10th percentile
	mostDoubt                         = 0.10 // sd over value
	outlying                          = 4.0  // robust sd
	mostGained, mostLost              = 0.05, 0.01
	braking                           = 30.0 // W; who pedals more does not brake
	leastCdA, mostCdA                 = 0.17, 0.80
	// rowsDrag and rowsRolling are what rows of a second, taken for what
	// happened within them, may be off by, as fractions (sd).
	rowsDrag, rowsRolling = 0.002, 0.006
	z95                   = 1.959964
)

// FitRoad learns CdA, Crr and shelter from one ride.
func FitRoad(ride RoadRide) RoadFit {
	f := RoadFit{LeftOut: map[string]int{}}
	if !ride.StillAir {
		return f.unsaid("there may have been wind, which nobody measured")
	}
	alone := ride.windows(Alone, f.LeftOut)
	f.Seconds = float64(len(alone) * windowRows)
	if f.Seconds < leastFit {
		if f.LeftOut["nothing says whether anybody was near"] >= leastFit {
			return f.unsaid("nothing says whether anybody was near")
		}
		return f.unsaid(fmt.Sprintf("only %.0f minutes were ridden alone, off the bends and below the descent cap; it takes %d", f.Seconds/60, leastFit/60))
	}
	kept, why := trim(alone)
	if why == "" {
		why = uneven(kept)
	}
	if why != "" {
		return f.unsaid(why)
	}
	b := regress(kept)
	b.take(ride)
	f.say(ride, b, kept)
	f.shelter(ride, b)
	return f
}

func (f RoadFit) unsaid(why string) RoadFit {
	f.CdA.Unsaid, f.Crr.Unsaid, f.Shelter.Unsaid = why, why, why
	return f
}

// say fills drag and rolling from what is believed after the ride.
func (f *RoadFit) say(ride RoadRide, b belief, kept []window) {
	spread := speedSpread(kept)
	crr, crrSD := b.mean[rolling], math.Hypot(math.Sqrt(b.cov[rolling][rolling]), rowsRolling*b.mean[rolling])
	switch {
	case spread < leastSpread:
		f.Crr.Unsaid = fmt.Sprintf("the speed hardly varied (the faster parts were %.0f %% faster than the slower ones), so rolling cannot be told from drag", 100*(spread-1))
	case !(crr > 0.001 && crr < 0.03 && crrSD < mostDoubt*crr):
		f.Crr.Unsaid = fmt.Sprintf("it comes out as %.4f ± %.4f, which says little", crr, crrSD)
	default:
		f.Crr = said(crr, crrSD, "fitted to what was ridden alone")
	}
	origin := "fitted to what was ridden alone"
	if f.Crr.Unsaid != "" { // drag can still be said if rolling is taken as believed before
		if spread < leastSpread {
			b = together(ride, kept)
		} else {
			b.observe([size]float64{rolling: 1}, ride.Road.Crr, ride.CrrSD)
		}
		origin = "fitted to what was ridden alone, with rolling as it was believed before"
	}
	cda, sd := b.mean[drag]*(1+b.mean[heavier]), math.Sqrt(b.cov[drag][drag]+2*b.mean[drag]*b.cov[drag][heavier]+b.mean[drag]*b.mean[drag]*b.cov[heavier][heavier])
	sd = math.Hypot(sd, cda*math.Hypot(ride.DensitySD, rowsDrag))
	if !(cda > leastCdA && cda < mostCdA) {
		*f = f.unsaid(fmt.Sprintf("it comes out as a drag area of %.3f m², which nobody has alone: others' shelter, wind, or watts that are far off", cda))
		return
	}
	if !(sd < mostDoubt*cda) {
		f.CdA.Unsaid = fmt.Sprintf("it comes out as %.3f ± %.3f m², which says little", cda, sd)
		return
	}
	f.CdA = said(cda, sd, origin)
}

func said(mean, sd float64, origin string) Fitted {
	return Fitted{Estimate: estimate.Normal(mean, sd, origin), Low95: mean - z95*sd, High95: mean + z95*sd}
}

// shelter is what drag was left where somebody was near: that of every block
// by the fitted road, on average.
func (f *RoadFit) shelter(ride RoadRide, b belief) {
	near := ride.windows(Near, map[string]int{})
	switch {
	case f.CdA.Unsaid != "":
		f.Shelter.Unsaid = "the drag alone is not known"
		return
	case len(near)*windowRows < leastShared:
		f.Shelter.Unsaid = fmt.Sprintf("only %d s were ridden near others; it takes %d", len(near)*windowRows, leastShared)
		return
	}
	var shares []float64
	for _, block := range inBlocks(near) {
		drawn, whole := 0.0, 0.0
		for _, w := range block {
			wheels := ride.Road.WheelDragArea * w.air // in gain; sheltered as the rider is
			drawn += b.mean[scale]*w.work - w.gain - b.mean[rolling]*w.roll + wheels
			whole += b.mean[drag]*w.air + wheels
		}
		shares = append(shares, drawn/whole)
	}
	mean, sd := meanSD(shares)
	sd = math.Hypot(sd/math.Sqrt(float64(len(shares))), mean*f.CdA.SD/f.CdA.Mean)
	if len(shares) < 3 || !(sd < mostDoubt*mean) {
		f.Shelter.Unsaid = fmt.Sprintf("it comes out as %.0f ± %.0f %%, which says little", 100*mean, 100*sd)
		return
	}
	f.Shelter = said(mean, sd, "what was ridden near others, by the drag alone")
}

func meanSD(v []float64) (mean, sd float64) {
	for _, x := range v {
		mean += x / float64(len(v))
	}
	for _, x := range v {
		sd += (x - mean) * (x - mean)
	}
	return mean, math.Sqrt(sd / math.Max(1, float64(len(v)-1)))
}
