package debrief

import (
	"fmt"
	"math"
	"slices"

	"chainline/physics"
)

// window is some seconds of a ride as terms of the balance of energy over the
// way ridden, N (errors of speed and gradient are about even in these): gain is
// kinetic and potential energy and what wheels and bearings take; air and roll
// are what one m² and one unit of Crr would take; work is what the drivetrain
// passes on of the displayed work.
type window struct {
	gain, air, roll, work float64
	speed, watts          float64 // means
	run                   int     // windows of one run follow each other without a gap
}

// windows cuts what was ridden in this company into windows, and counts what
// is left out.
func (ride RoadRide) windows(c Company, leftOut map[string]int) []window {
	use := make([]bool, len(ride.Rows))
	for i, row := range ride.Rows {
		why := ride.leaveOut(row, c)
		if use[i] = why == ""; !use[i] {
			leftOut[why]++
		}
	}
	// The speed at the ends of a window is between two rows; who has just
	// braked or come off the cap is not yet through with it.
	wide := slices.Clone(use)
	for i := range use {
		for k := max(0, i-2); k <= min(len(use)-1, i+2); k++ {
			wide[i] = wide[i] && use[k]
		}
		if use[i] && !wide[i] {
			leftOut["beside what is left out"]++
		}
	}
	m := ride.Road.Motion(ride.RiderMass)
	var out []window
	for run, from := 0, 0; from < len(wide); run++ {
		to := from
		for to < len(wide) && wide[to] {
			to++
		}
		for at := max(1, from); at+windowRows <= min(to, len(wide)-1); at += windowRows {
			w := ride.window(m, at)
			w.run = run
			out = append(out, w)
		}
		from = to + 1
	}
	return out
}

// leaveOut is why a row cannot be used; empty if it can.
func (ride RoadRide) leaveOut(row RoadRow, c Company) string {
	company := row.Company
	if company == CompanyUnknown && ride.TimeTrial {
		company = Alone
	}
	limit := ride.Road.DescentCap
	switch {
	case math.IsNaN(row.Watts + row.Speed + row.Gradient):
		return "something was not measured"
	case company == CompanyUnknown:
		return "nothing says whether anybody was near"
	case company != c:
		return "not the company looked at"
	case row.Bend:
		return "bends"
	case limit > 0 && row.Speed >= nearCap*limit:
		return "at the descent cap"
	case row.Speed < slowestFit:
		return "slower than 2 m/s"
	}
	return ""
}

// window begins at a row with a row before it and one after its last.
func (ride RoadRide) window(m physics.Motion, at int) window {
	edge := func(k int) float64 { return (ride.Rows[k-1].Speed + ride.Rows[k].Speed) / 2 }
	w := window{}
	halfDensity := 0.5 * ride.Road.AirDensity
	for _, row := range ride.Rows[at : at+windowRows] {
		v, cos := row.Speed, 1/math.Sqrt(1+row.Gradient*row.Gradient)
		w.air += halfDensity * v * v * v
		w.roll += m.Mass * physics.Gravity * cos * v
		w.gain += m.Mass*physics.Gravity*row.Gradient*cos*v + v*(m.Bearing0+m.Bearing1*v) + halfDensity*ride.Road.WheelDragArea*v*v*v
		w.work += m.Efficiency * row.Watts
		w.speed += v / windowRows
		w.watts += row.Watts / windowRows
	}
	a, b := edge(at), edge(at+windowRows)
	w.gain += 0.5 * m.Inertial * (b*b - a*a)
	way := w.speed * windowRows
	w.gain, w.air, w.roll, w.work = w.gain/way, w.air/way, w.roll/way, w.work/way
	return w
}

// inBlocks are windows that follow each other, up to blockRows of them.
func inBlocks(ws []window) (out [][]window) {
	for i := 0; i < len(ws); {
		k := i
		for k < len(ws) && k-i < blockRows && ws[k].run == ws[i].run {
			k++
		}
		out = append(out, ws[i:k])
		i = k
	}
	return out
}

func speedSpread(ws []window) float64 {
	var v []float64
	for _, w := range ws {
		v = append(v, w.speed)
	}
	slices.Sort(v)
	return v[len(v)*9/10] / v[len(v)/10]
}

// trim leaves out windows that do not fit the others: a moment of shelter
// nobody told of, a brake. Many of them mean that the fit is of something
// else, and so do some in which energy went missing though the rider pedalled:
// they may be the ones ridden alone.
func trim(ws []window) (kept []window, why string) {
	kept = ws
	for range 4 {
		b := regress(kept)
		var size []float64
		for _, w := range kept {
			size = append(size, math.Abs(b.left(w)))
		}
		slices.Sort(size)
		limit := outlying * 1.4826 * size[len(size)/2]
		before := len(kept)
		kept = nil
		gained, lost := 0, 0
		for _, w := range ws {
			switch e := b.left(w); {
			case e > limit:
				gained++
			case e < -limit && w.watts > braking:
				lost++
			case e >= -limit:
				kept = append(kept, w)
			}
		}
		if n := float64(len(ws)); float64(gained) > mostGained*n || float64(lost) > math.Max(1, mostLost*n) || len(kept)*windowRows < leastFit {
			return nil, fmt.Sprintf("%d of %d stretches do not fit one road: others' shelter, brakes or wind", len(ws)-len(kept), len(ws))
		}
		if len(kept) == before {
			break
		}
	}
	return kept, ""
}

// uneven is why the windows cannot be of one road and one shelter; empty if
// they can.
func uneven(ws []window) string {
	b := regress(ws)
	meanDrag, squares := 0.0, 0.0
	for _, w := range ws {
		meanDrag += b.mean[drag] * w.air / float64(len(ws))
		squares += b.left(w) * b.left(w) / float64(len(ws))
	}
	between, within, n := 0.0, 0.0, 0
	for _, block := range inBlocks(ws) {
		if len(block) < blockRows {
			continue
		}
		var v []float64
		for _, w := range block {
			v = append(v, b.left(w))
		}
		mean, sd := meanSD(v)
		between, within, n = between+mean*mean, within+sd*sd, n+1
	}
	chance, sd := 0.0, 0.0
	if n >= 3 {
		chance, sd = between*blockRows/within, math.Sqrt(between/float64(n))
	}
	if !(meanDrag > 0) || math.Sqrt(squares) > mostWindow*meanDrag || (chance > mostChance && sd > mostBlock*meanDrag) {
		return "the drag was not the same all the way: others' shelter, brakes or wind"
	}
	return ""
}
