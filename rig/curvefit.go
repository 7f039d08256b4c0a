package rig

import (
	"fmt"
	"math"
	"slices"

	"chainline/estimate"
	"chainline/recording"
)

// What a fitted curve needs, our judgement.
const (
	curveLeast    = 12   // steady stretches
	curveRange    = 1.35 // highest over lowest wheel speed
	curveSteady   = 0.04 // fraction the speed may change within a stretch
	curveLeastMS  = 1.5
	curveTableGap = 0.5 // m/s between the rows of a fitted table
)

// taken is a pair of wheel speed (m/s) and the watts it took, one stretch.
type taken struct{ v, w float64 }

// fitCurve is the power curve of a plain trainer from a borrowed meter's watts
// against wheel speed. Only what was ridden warm counts, steady stretches of
// ten seconds; the law is watts = a·v + b·v³ with neither below nought
// (rolling and a brake whose force is constant; a fan), fitted robustly. The
// curve is valid between the slowest and the fastest speed ridden, for the
// tyre pressure and the warmth it was taken in. Its sd is the scatter that the
// law leaves, with the doubt of the meter.
func fitCurve(power, speed recording.Channel, meterDoubt float64) (PowerCurve, error) {
	p, v := soundSeries(power), soundSeries(speed)
	lag := follow(v.cubed(), p)
	if lag.ok && math.Abs(lag.delay) < 10 {
		p = p.moved(lag.delay, 1)
	}
	from, to := overlap(p, v)
	begin := math.NaN()
	var all []taken
	for t := from; t+blockS <= to; t += blockS {
		w, speed := p.mean(t, t+blockS), v.mean(t, t+blockS)
		if !(w > pairWatts && speed > curveLeastMS) {
			continue
		}
		if math.IsNaN(begin) {
			begin = t
		}
		change := v.mean(t+blockS/2, t+blockS) - v.mean(t, t+blockS/2)
		if t-begin >= warmAfterS && math.Abs(change) < curveSteady*speed {
			all = append(all, taken{speed, w})
		}
	}
	return curveThrough(all, meterDoubt, fmt.Sprintf("fitted from %s, warm", power.Source))
}

// cubed is a series that changes about as watts do.
func (s series) cubed() series {
	out := s
	out.v = make([]float64, len(s.v))
	for i, v := range s.v {
		out.v[i] = v * v * v
	}
	return out
}

func curveThrough(all []taken, doubt float64, from string) (PowerCurve, error) {
	if len(all) < curveLeast {
		return PowerCurve{}, fmt.Errorf("a curve needs %d steady stretches of %.0f s ridden warm, found %d", curveLeast, blockS, len(all))
	}
	slices.SortFunc(all, func(a, b taken) int {
		if a.v < b.v {
			return -1
		}
		return 1
	})
	low, high := all[len(all)/50].v, all[len(all)-1-len(all)/50].v
	if high < curveRange*low {
		return PowerCurve{}, fmt.Errorf("a curve needs a wider range of wheel speed than %.0f-%.0f km/h", 3.6*low, 3.6*high)
	}
	a, b, scatter := law(all)
	if !(a+b > 0) {
		return PowerCurve{}, fmt.Errorf("watts do not grow with wheel speed")
	}
	var table []Point
	for v := low; v < high+curveTableGap/2; v += curveTableGap {
		table = append(table, Point{v, a*v + b*v*v*v})
	}
	from = fmt.Sprintf("%s, %.0f-%.0f km/h", from, 3.6*low, 3.6*high)
	return NewPowerCurve(table, max(0.005, math.Hypot(scatter, doubt)), from)
}

// law fits watts = a·v + b·v³ by least squares of relative errors, leaving out
// what lies beyond four robust standard deviations, and is the robust scatter
// left, as a fraction.
func law(all []taken) (a, b, scatter float64) {
	used := make([]bool, len(all))
	for i := range used {
		used[i] = true
	}
	left := make([]float64, len(all))
	for range 6 {
		var s11, s12, s22, t1, t2 float64
		for i, p := range all {
			if used[i] {
				x, y := p.v/p.w, p.v*p.v*p.v/p.w
				s11, s12, s22, t1, t2 = s11+x*x, s12+x*y, s22+y*y, t1+x, t2+y
			}
		}
		d := s11*s22 - s12*s12
		if d > 0 {
			a, b = (t1*s22-t2*s12)/d, (s11*t2-s12*t1)/d
		}
		switch {
		case a < 0 || d <= 0:
			a, b = 0, t2/s22
		case b < 0:
			a, b = t1/s11, 0
		}
		for i, p := range all {
			left[i] = p.w/(a*p.v+b*p.v*p.v*p.v) - 1
		}
		scatter = spreadOf(left)
		for i := range left {
			used[i] = math.Abs(left[i]) <= 4*scatter+1e-9
		}
	}
	return a, b, scatter
}

// curveFindings judge the rig's typed curve against what was measured, and
// hand back the fitted curve where there is one.
func curveFindings(in CheckInput) (*PowerCurve, []Finding, []Unsaid) {
	if !in.Rig.bySpeed() {
		return nil, nil, nil
	}
	cannot := func(why string) []Unsaid { return []Unsaid{{Subject: TrainerSpeedOnly, Because: why}} }
	speed, ok := wheelOf(in)
	if !ok {
		return nil, nil, cannot("no wheel speed was recorded")
	}
	var fitted *PowerCurve
	why := "no meter measured watts and the flywheel's inertia is not known"
	if power, ok := in.Recording.Signal(recording.Power, ""); ok && in.Side[power.Source] != SourceCurve && power.Source != "ride" {
		c, err := fitCurve(power, speed, meterSD)
		if err == nil {
			fitted = &c
		} else {
			why = err.Error()
		}
	}
	if fitted == nil {
		if c, err := curveFromCoasts(in); err == nil {
			fitted = &c
		} else if in.FlywheelInertia > 0 {
			why = err.Error()
		}
	}
	if f, is := strange(in.Rig.Trainer.Curve); is {
		return fitted, []Finding{f}, nil
	}
	if fitted == nil {
		return nil, nil, cannot(why)
	}
	if f, is := againstCurve(in, *fitted); is {
		return fitted, []Finding{f}, nil
	}
	return fitted, nil, nil
}

// againstCurve compares a typed table with a fitted curve where both are valid.
func againstCurve(in CheckInput, fitted PowerCurve) (Finding, bool) {
	typed := in.Rig.Trainer.Curve
	if !typed.Known() {
		return Finding{}, false
	}
	var ratio []float64
	p := Plot{Title: "The typed table against what was measured", X: "wheel speed, m/s", Y: "power, W", Names: []string{"typed", "measured"}}
	p.Lines = make([][][2]float64, 2)
	for v := fitted.first; fitted.Covers(v); v += 0.25 {
		if !typed.Covers(v) {
			continue
		}
		ratio = append(ratio, math.Log(typed.Watts(v)/fitted.Watts(v)))
		p.Lines[0] = append(p.Lines[0], [2]float64{v, typed.Watts(v)})
		p.Lines[1] = append(p.Lines[1], [2]float64{v, fitted.Watts(v)})
	}
	if len(ratio) < 3 {
		return Finding{}, false
	}
	mean, _ := meanSD(ratio)
	chi := sq2(mean / fitted.SD)
	if chi < pairCost {
		return Finding{}, false
	}
	low, high := foundInterval(mean, fitted.SD, math.Sqrt(pairCost)*fitted.SD)
	size := math.Expm1(mean)
	f := ranged(Finding{Subject: TrainerSpeedOnly, Source: "the typed table", Against: fitted.From}, size, math.Expm1(low), math.Expm1(high), fitted.From)
	f.Sure, f.Plot = sureOf(chi), p
	t := in.threshold()
	f.Watts = estimate.Normal(t*size, t*fitted.SD, fitted.From)
	f.What = fmt.Sprintf("The trainer's typed table shows %.0f %% %s than was measured.", 100*math.Abs(size), moreLess(size))
	f.Do = []string{"use the fitted curve, at the same tyre pressure and warm", "look whether the table is of this trainer and this setting"}
	return f, true
}

// strange tells a typed table that no trainer can have: watts that grow more
// slowly than a force that falls with speed allows, or faster than a fan's, or
// that are far from all brakes at 30 km/h. The limits are our judgement.
func strange(c PowerCurve) (Finding, bool) {
	if !c.Known() {
		return Finding{}, false
	}
	rows := c.Points()
	why := ""
	for i := 1; i < len(rows); i++ {
		a, b := rows[i-1], rows[i]
		if a.Watts <= 0 || a.WheelSpeed <= 0 {
			continue
		}
		if power := math.Log(b.Watts/a.Watts) / math.Log(b.WheelSpeed/a.WheelSpeed); power < 0.3 || power > 4 {
			why = fmt.Sprintf("between %.0f and %.0f km/h watts grow with the power %.1f of speed; a brake's lie between 0.3 and 4", 3.6*a.WheelSpeed, 3.6*b.WheelSpeed, power)
		}
	}
	if w := c.Watts(unknownSpeed); c.Covers(unknownSpeed) && (w < 40 || w > 1000) {
		why = fmt.Sprintf("at 30 km/h it shows %.0f W; brakes lie between 40 and 1000 W there", w)
	}
	if why == "" {
		return Finding{}, false
	}
	f := Finding{Subject: TrainerSpeedOnly, Source: "the typed table", Sure: 0.95, What: "The trainer's typed table cannot be right: " + why + ".",
		Do: []string{"look for a slip in the typed rows: km/h and m/s, a digit left out"}, Prior: "our judgement"}
	p := Plot{Title: "The typed table", X: "wheel speed, m/s", Y: "power, W"}
	for _, r := range rows {
		p.Points = append(p.Points, [2]float64{r.WheelSpeed, r.Watts})
	}
	f.Plot = p
	return f, true
}
