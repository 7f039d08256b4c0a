package race

import (
	"math"
	"math/rand/v2"
	"slices"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/physics"
)

// Field draws the riders of a category.
//
// Riders crowd towards a category's upper limit: whoever is just under it
// stays in it. The share of the way from the lower to the upper limit follows
// Kumaraswamy's distribution, 1−(1−xᵃ)ᵇ; a = 3, b = 1.5 puts the median at
// 72 % of the span. No published distribution was found; our judgement, until
// results are in (Learn).
type Field struct {
	Category Category
	Starters int
	A, B     float64 // of the distribution; 0 is the usual
	Shift    float64 // of the logarithm of everybody's W/kg, learnt from results; 0
	Spread   float64 // factor on the distance from the field's middle, learnt; 0 is 1
	Learnt   int     // results it was learnt from; 0: never checked against a real race
}

const (
	crowdA, crowdB = 3.0, 1.5
	openBelow      = 0.62 // of the upper limit, where a category has no lower
	openAbove      = 0.16 // mean of the exponential above the lower limit, as a share, where there is no upper
	openMiddle     = 2.9  // W/kg, where there is neither
	openSD         = 0.22
	womenShare     = 0.87  // of men's W/kg, as in package capacity (Hopker et al. 2010, abstract)
	overSD         = 0.015 // sd of what limits do not catch: sources and days

	// Bodies of a field, our judgement; W′ and maximal power as package
	// capacity's prior for a club rider.
	fieldMassMen, fieldMassWomen, fieldMassSD = 76.0, 63.0, 0.12
	fieldWPrime, fieldWPrimeSD                = 215.0, 0.25 // J/kg
	fieldTop, fieldTopSD                      = 12.5, 0.18  // W/kg
	fieldFade                                 = 0.09        // of CP per unit of ln(time/30 min)
	leaders                                   = 0.6         // share of riders who take turns

	// What is not known of the field that will stand at the line, until results
	// are in: sds of logarithms. Our judgement.
	doubtCrowd, doubtShift, doubtStarters = 0.35, 0.02, 0.2
)

// doubted is the field as it may be on one day: how it crowds, how strong it is
// and how many come. Results take the doubt away as they outweigh what was
// believed before; how many come stays open.
func (f Field) doubted(r *rand.Rand) Field {
	left := math.Sqrt(shrink / (shrink + float64(f.Learnt)))
	f.A, f.B = f.crowding()
	f.A *= math.Exp(left * doubtCrowd * r.NormFloat64())
	f.B *= math.Exp(left * doubtCrowd * r.NormFloat64())
	f.Shift += left * doubtShift * r.NormFloat64()
	f.Starters = max(min(5, f.Starters), int(math.Round(float64(f.Starters)*math.Exp(doubtStarters*r.NormFloat64()))))
	return f
}

// crowding are the distribution's two parameters.
func (f Field) crowding() (a, b float64) {
	if f.A == 0 {
		return crowdA, crowdB
	}
	return f.A, f.B
}

// Draw is a start list. The road's drag area is meant for 75 kg and scaled
// with the body's surface (mass to 0.425, DuBois and DuBois 1916, from
// memory).
func (f Field) Draw(r *rand.Rand, road physics.Road, lasts float64) []Rider {
	out := make([]Rider, f.Starters)
	median, logSD := capacity.RecoverySpread(capacity.Differential)
	for i := range out {
		mean := fieldMassMen
		if f.Category.Women {
			mean = fieldMassWomen
		}
		mass := mean * math.Exp(fieldMassSD*r.NormFloat64())
		out[i] = starter(r, f.one(r), mass, f.Category.over(), road)
		out[i].Recovery = median * math.Exp(logSD*r.NormFloat64())
		out[i].Leads = r.Float64() < leaders
	}
	return out
}

// one is the W/kg of one rider of the field.
func (f Field) one(r *rand.Rand) float64 {
	a, b := f.crowding()
	u, z, e := r.Float64(), r.NormFloat64(), r.ExpFloat64()
	low, high := f.Category.Min, f.Category.max()
	var wkg float64
	middle := f.Middle()
	switch {
	case low <= 0 && math.IsInf(high, 1):
		wkg = middle * math.Exp(openSD*z)
	case math.IsInf(high, 1):
		wkg = low * (1 + openAbove*e)
	default:
		if low <= 0 {
			low = openBelow * high
		}
		wkg = low + (high-low)*math.Pow(1-math.Pow(1-u, 1/b), 1/a)
	}
	wkg *= math.Exp(overSD * z)
	if f.Spread > 0 {
		wkg = middle + f.Spread*(wkg-middle)
	}
	return math.Max(0.4*middle, wkg*math.Exp(f.Shift))
}

// Middle is the median W/kg of the field before anything was learnt.
func (f Field) Middle() float64 {
	a, b := f.crowding()
	low, high := f.Category.Min, f.Category.max()
	switch {
	case low <= 0 && math.IsInf(high, 1) && f.Category.Women:
		return openMiddle * womenShare
	case low <= 0 && math.IsInf(high, 1):
		return openMiddle
	case math.IsInf(high, 1):
		return low * (1 + openAbove*math.Ln2)
	case low <= 0:
		low = openBelow * high
	}
	return low + (high-low)*math.Pow(1-math.Pow(0.5, 1/b), 1/a)
}

// starter is a rider who holds so many W/kg over a time.
func starter(r *rand.Rand, wkg, mass, over float64, road physics.Road) Rider {
	c := capacity.Capacity{WPrime: fieldWPrime * mass * math.Exp(fieldWPrimeSD*r.NormFloat64())}
	top := fieldTop * mass * math.Exp(fieldTopSD*r.NormFloat64())
	fade := 0.0
	if over > capacity.FadeFrom {
		fade = fieldFade * math.Log(over/capacity.FadeFrom)
	}
	c.CriticalPower = math.Max(0.5*wkg*mass, (wkg*mass-c.WPrime/over)/(1-fade))
	c.Fade = fieldFade * c.CriticalPower
	c.MaxPower = math.Max(top, 2*c.CriticalPower)
	return Rider{Capacity: c, Motion: motionOf(road, mass), Grit: gritOf(r), Leads: true}
}

// motionOf is the road with a body of another size on it.
func motionOf(road physics.Road, mass float64) physics.Motion {
	road.CdA *= math.Pow(mass/75, 0.425)
	return road.Motion(mass)
}

// Shown is one line of a result list: what is not known is 0.
type Shown struct {
	Seconds float64 // finish time from the gun
	WPerKg  float64 // displayed, mean over the race
}

// shrink is how many results weigh as much as what was believed before. Our
// judgement.
const shrink = 15.0

// Learn moves and stretches the field until races simulated on the same way
// end as the results do: the median by Shift, the spread between the 20th and
// the 80th percentile by Spread, both drawn towards what was believed before
// by n/(n+15). The median is of displayed watts if most of the list has them,
// else of times; the spread is of times, because in a bunch strong and weak
// show much the same watts.
func (f Field) Learn(results []Shown, way *Way, road physics.Road, tactics Tactics, seed uint64) Field {
	byWatts := 0
	for _, r := range results {
		if r.WPerKg > 0 {
			byWatts++
		}
	}
	level := ofTime
	if 2*byWatts > len(results) {
		level = ofWatts
	}
	levels, times := logs(results, level), logs(results, ofTime)
	if len(levels) < 5 || len(times) < 5 {
		return f
	}
	weight := float64(len(times)) / (float64(len(times)) + shrink)
	if f.Spread == 0 {
		f.Spread = 1
	}
	g := f
	for range 4 {
		here := g.outcome(way, road, tactics, seed)
		more := g
		more.Shift += 0.04
		slope := (estimate.Quantile(logs(more.outcome(way, road, tactics, seed), level), 0.5) - estimate.Quantile(logs(here, level), 0.5)) / 0.04
		if math.Abs(slope) < 0.05 {
			break
		}
		g.Shift += math.Max(-0.1, math.Min(0.1, (estimate.Quantile(levels, 0.5)-estimate.Quantile(logs(here, level), 0.5))/slope))
		ratio := width(times) / math.Max(1e-4, width(logs(here, ofTime)))
		g.Spread = math.Max(0.3, math.Min(3, g.Spread*math.Sqrt(math.Max(0.25, math.Min(4, ratio)))))
	}
	f.Shift += weight * (g.Shift - f.Shift)
	f.Spread += weight * (g.Spread - f.Spread)
	f.Learnt += len(times)
	return f
}

func ofTime(r Shown) float64  { return r.Seconds }
func ofWatts(r Shown) float64 { return r.WPerKg }

// logs are the logarithms of what is known of a value, ascending.
func logs(results []Shown, of func(Shown) float64) []float64 {
	var out []float64
	for _, r := range results {
		if v := of(r); v > 0 && !math.IsInf(v, 1) {
			out = append(out, math.Log(v))
		}
	}
	slices.Sort(out)
	return out
}

func width(sorted []float64) float64 {
	return estimate.Quantile(sorted, 0.8) - estimate.Quantile(sorted, 0.2)
}

// outcome is what a few simulated races of this field show.
func (f Field) outcome(way *Way, road physics.Road, tactics Tactics, seed uint64) []Shown {
	var out []Shown
	lasts := way.length / 10
	for i := range 6 {
		r := estimate.Stream(seed, i)
		riders := f.Draw(r, road, lasts)
		res := (&Race{Way: way, Riders: riders, Shelter: Bunch(Middle), Tactics: tactics, LastsS: lasts, Speed: road.StartSpeed, Watch: -1}).Run(r)
		for k, x := range res.Riders {
			out = append(out, Shown{Seconds: x.FinishS, WPerKg: x.MeanW / (riders[k].Motion.Mass - road.BikeMass)})
		}
	}
	return out
}
