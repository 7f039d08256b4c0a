package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
	"chainline/physics"
)

// A climb judges a meter only where gravity takes most of the work and the
// speed hardly changes it. Our judgement.
const (
	leastGradient   = 0.04
	leastAscentM    = 40.0
	leastClimbS     = 180.0
	leastGravity    = 0.6  // share of the work
	mostClimbSD     = 0.03 // fraction, of the watts
	unevenClimb     = 0.10 // sd of the speed on the way, as a fraction: air takes v³
	bearing0        = 0.091
	bearing1        = 0.0087
	wheelTurn       = 1.25 // kg at the rim: 0.14 kg·m² over (0.334 m)²; Martin et al. 1998, secondary
	crankEfficiency = 1 - lossMean
)

// climbTruth is the mean watts at the meter's place that a recorded climb
// took, by mass, ascent and time: the road equation of package physics (Martin
// et al. 1998) with the work of lifting, rolling, air, bearings and gathering
// speed, over the drivetrain's efficiency (97.6 ± 1 %) if the meter stands
// before it. Its sd is that of the inputs, each by itself. The error says why a
// climb is no judge.
func climbTruth(c Climbed) (estimate.Estimate, error) {
	for _, f := range []struct {
		name             string
		value, low, high float64
	}{
		{"mass, kg", c.MassKg, 30, 300}, {"ascent, m", c.AscentM, 1, 5000}, {"length, m", c.LengthM, 1, 200e3}, {"time, s", c.Seconds, 1, 86400},
		{"mass's doubt, kg", c.MassSD, 0, 50}, {"ascent's doubt, m", c.AscentSD, 0, 500}, {"drag area, m²", c.CdA, 0.1, 1.5}, {"rolling coefficient", c.Crr, 0.001, 0.03},
		{"temperature, °C", c.TemperatureC, -30, 50}, {"altitude, m", c.AltitudeM, -500, 6000}, {"drag area's doubt, m²", c.CdASD, 0, 0.5}, {"rolling coefficient's doubt", c.CrrSD, 0, 0.01},
		{"wind's doubt, m/s", c.WindSD, 0, 15}, {"speed at the beginning, m/s", c.SpeedBeginMS, 0, 30}, {"speed at the end, m/s", c.SpeedEndMS, 0, 30},
	} {
		if !(f.value >= f.low && f.value <= f.high) {
			return estimate.Estimate{}, fmt.Errorf("the climb's %s is %g; expected %g to %g", f.name, f.value, f.low, f.high)
		}
	}
	gradient := c.AscentM / c.LengthM
	switch {
	case c.AscentM >= c.LengthM:
		return estimate.Estimate{}, fmt.Errorf("the climb rises %.0f m over %.0f m of road", c.AscentM, c.LengthM)
	case gradient < leastGradient || c.AscentM < leastAscentM || c.Seconds < leastClimbS:
		return estimate.Estimate{}, fmt.Errorf("a climb of %.0f m at %.1f %% in %.0f s is no judge; %.0f m, %.0f %% and %.0f s are the least",
			c.AscentM, 100*gradient, c.Seconds, leastAscentM, 100*leastGradient, leastClimbS)
	}
	watts, gravity := climbWatts(c, 0, crankEfficiency)
	if gravity < leastGravity {
		return estimate.Estimate{}, fmt.Errorf("only %.0f %% of the climb's work went into height; %.0f %% is the least", 100*gravity, 100*leastGravity)
	}
	sd := climbDoubts(c, watts).sd()
	if sd > mostClimbSD*watts {
		return estimate.Estimate{}, fmt.Errorf("the climb gives %.0f ± %.0f W: too doubtful to judge a meter by", watts, sd)
	}
	return estimate.Normal(watts, sd, "mass, ascent and time of a climb"), nil
}

// climbDoubt is what each input's doubt makes of a climb's watts, W: scale,
// drag area, rolling and drivetrain are the same on every climb of a meter, so
// what they are off by does not average out; ascent and wind are each climb's
// own.
type climbDoubt struct {
	shared [4]float64
	own    float64
}

func (d climbDoubt) sd() float64 {
	sum := d.own * d.own
	for _, x := range d.shared {
		sum += x * x
	}
	return math.Sqrt(sum)
}

func climbDoubts(c Climbed, watts float64) climbDoubt {
	by := func(change func(*Climbed), wind, efficiency float64) float64 {
		d := c
		if change != nil {
			change(&d)
		}
		w, _ := climbWatts(d, wind, efficiency)
		return w - watts
	}
	d := climbDoubt{shared: [4]float64{
		by(func(d *Climbed) { d.MassKg += c.MassSD }, 0, crankEfficiency),
		by(func(d *Climbed) { d.CdA += c.CdASD }, 0, crankEfficiency),
		by(func(d *Climbed) { d.Crr += c.CrrSD }, 0, crankEfficiency),
	}}
	if c.AtCrank {
		d.shared[3] = by(nil, 0, crankEfficiency-lossSD)
	}
	d.own = math.Hypot(by(func(d *Climbed) { d.AscentM += c.AscentSD }, 0, crankEfficiency), by(nil, c.WindSD, crankEfficiency))
	return d
}

// climbWatts are the mean watts and gravity's share of the work.
func climbWatts(c Climbed, wind, efficiency float64) (watts, gravity float64) {
	air := physics.DefaultAir(c.AltitudeM)
	air.Temperature = c.TemperatureC
	m := physics.Motion{Mass: c.MassKg, Inertial: c.MassKg + wheelTurn, Drag: air.Density() / 2 * c.CdA, Crr: c.Crr,
		Efficiency: 1, Bearing0: bearing0, Bearing1: bearing1}
	if c.AtCrank {
		m.Efficiency = efficiency
	}
	v := c.LengthM / c.Seconds
	rise := c.AscentM / c.LengthM
	// Of a survey's rise along the road the slope's tangent; see package physics.
	t := m.Terms(v, rise/math.Sqrt(1-rise*rise), wind)
	t.Air *= 1 + 3*unevenClimb*unevenClimb // mean of v³ over the cube of the mean
	whole := t.Sum() + m.KineticPower(c.SpeedBeginMS, c.SpeedEndMS, c.Seconds)
	return whole / m.Efficiency, t.Potential / whole
}

// climbFindings are the gains of meters that climbed outdoors against mass,
// ascent and time. They may be carried indoors: agreement with such a meter is
// truth, with the climb's own interval.
func climbFindings(in CheckInput) ([]Finding, []Unsaid) {
	var found []Finding
	var unsaid []Unsaid
	sources := map[string]bool{}
	for _, c := range in.Outdoors {
		if sources[c.Source] {
			continue
		}
		sources[c.Source] = true
		ratio, doubt, n, why := climbRatio(in.Outdoors, c.Source)
		if n == 0 {
			unsaid = append(unsaid, Unsaid{Subject: AgainstPhysics, Source: c.Source, Because: why})
			continue
		}
		chi := sq2(ratio / doubt)
		if chi < pairCost {
			continue
		}
		low, high := foundInterval(ratio, doubt, math.Sqrt(pairCost)*doubt)
		f := ranged(Finding{Subject: AgainstPhysics, Source: c.Source, Against: "a climb by mass, ascent and time"}, ratio, low, high, fmt.Sprintf("climbs outdoors: %d", n))
		f.Size.SD = doubt
		f.Sure = sureOf(chi)
		t := in.threshold()
		f.Watts = estimate.Normal(t*ratio, t*doubt, "climbs outdoors")
		f.What = fmt.Sprintf("Uphill outdoors, %s showed %.1f %% %s than mass, ascent and time ask for.", c.Source, 100*math.Abs(ratio), moreLess(ratio))
		f.Do = []string{"weigh rider, bicycle and all that is carried, and ride the climb once more on a still day", "zero " + c.Source + " at the foot of the climb", "use it corrected"}
		f.Prior = "road equation: Martin et al. 1998, J Appl Biomech 14:276 (secondary); drivetrain 97.6 ± 1 %"
		f.Plot = climbPlot(in.Outdoors, c.Source)
		found = append(found, f)
	}
	return found, unsaid
}

// climbRatio is what a source showed over what its climbs took, less one:
// the weighted mean of all that can judge. Its doubt adds up the errors that
// all climbs share before those that are each climb's own.
func climbRatio(all []Climbed, source string) (ratio, doubt float64, n int, why string) {
	var shared [4]float64
	weights, own := 0.0, 0.0
	for _, c := range all {
		if c.Source != source {
			continue
		}
		truth, err := climbTruth(c)
		if err == nil && !(c.MeanWatts > 0 && c.MeanWatts < 5000) {
			err = fmt.Errorf("the climb has no mean power that was shown")
		}
		if err != nil {
			why = err.Error()
			continue
		}
		d := climbDoubts(c, truth.Mean)
		scale := c.MeanWatts / (truth.Mean * truth.Mean) // of the ratio with the watts it took
		w := 1 / max(sq2(scale*truth.SD), 1e-8)
		ratio += w * (c.MeanWatts/truth.Mean - 1)
		weights += w
		for k, x := range d.shared {
			shared[k] += w * scale * x
		}
		own += sq2(w * scale * d.own)
		n++
	}
	if n == 0 {
		return 0, 0, 0, why
	}
	for _, x := range shared {
		own += x * x
	}
	return ratio / weights, math.Sqrt(own) / weights, n, ""
}

func climbPlot(all []Climbed, source string) Plot {
	p := Plot{Title: source + " uphill outdoors", X: "watts by mass, ascent and time", Y: source + ", W", Names: []string{"equal"}}
	lo, hi := math.Inf(1), 0.0
	for _, c := range all {
		if truth, err := climbTruth(c); err == nil && c.Source == source {
			p.Points = append(p.Points, [2]float64{truth.Mean, c.MeanWatts})
			lo, hi = math.Min(lo, truth.Mean), math.Max(hi, truth.Mean)
		}
	}
	lo, hi = 0.9*lo, 1.1*hi
	p.Lines = [][][2]float64{{{lo, lo}, {hi, hi}}}
	return p
}
