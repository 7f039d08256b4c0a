package debrief

import (
	"math"

	"gonum.org/v1/gonum/mat"
)

// The numbers of the balance: one over the source's scale and CdA, both as the
// stated mass makes them look, Crr, and how much heavier the rider is than
// stated, as a fraction. A mass that is off looks like a scale and a CdA that
// are off, so the four are kept together.
const (
	scale = iota
	drag
	rolling
	heavier
	size
)

// belief is a normal distribution over them.
type belief struct {
	mean [size]float64
	cov  [size][size]float64
}

// left is what a window has over what is believed, N.
func (b *belief) left(w window) float64 {
	return w.gain - b.mean[scale]*w.work + b.mean[drag]*w.air + b.mean[rolling]*w.roll
}

// regress is least squares of gain on work, −air and −roll. Its covariance is
// reckoned from whole blocks (the sandwich form), since neighbouring windows
// share errors: a speed between them, a gradient that is off for a while.
// Nothing is believed about heavier yet.
func regress(ws []window) (b belief) {
	const n = 3
	rows := func(w window) [n]float64 { return [n]float64{w.work, -w.air, -w.roll} }
	var norm [n]float64 // columns are scaled alike
	for _, w := range ws {
		for i, x := range rows(w) {
			norm[i] += x * x
		}
	}
	a, y := mat.NewSymDense(n, nil), mat.NewVecDense(n, nil)
	for _, w := range ws {
		x := rows(w)
		for i := range n {
			y.SetVec(i, y.AtVec(i)+x[i]*w.gain/math.Sqrt(norm[i]))
			for j := i; j < n; j++ {
				a.SetSym(i, j, a.At(i, j)+x[i]*x[j]/math.Sqrt(norm[i]*norm[j]))
			}
		}
	}
	for i := range n { // the least that keeps a ride of one speed solvable
		a.SetSym(i, i, a.At(i, i)*(1+1e-9))
	}
	var c mat.Cholesky
	inverse := mat.NewSymDense(n, nil)
	if !c.Factorize(a) || c.InverseTo(inverse) != nil {
		for i := range n {
			inverse.SetSym(i, i, 1e9)
		}
	}
	for i := range n {
		for j := range n {
			b.mean[i] += inverse.At(i, j) * y.AtVec(j) / math.Sqrt(norm[i])
		}
	}
	b.sandwich(ws, rows, inverse, norm)
	return b
}

func (b *belief) sandwich(ws []window, rows func(window) [3]float64, inverse *mat.SymDense, norm [3]float64) {
	const n = 3
	var meat mat.Dense
	meat.CloneFrom(mat.NewDense(n, n, nil))
	all := inBlocks(ws)
	for _, block := range all {
		var score [n]float64
		for _, w := range block {
			e, x := b.left(w), rows(w)
			for i := range n {
				score[i] += e * x[i] / math.Sqrt(norm[i])
			}
		}
		for i := range n {
			for j := range n {
				meat.Set(i, j, meat.At(i, j)+score[i]*score[j])
			}
		}
	}
	few := float64(len(all)) / math.Max(1, float64(len(all)-n))
	var half, whole mat.Dense
	half.Mul(inverse, &meat)
	whole.Mul(&half, inverse)
	for i := range n {
		for j := range n {
			b.cov[i][j] = few * whole.At(i, j) / math.Sqrt(norm[i]*norm[j])
		}
	}
}

// together is what all windows say at once, with Crr as believed before: what
// is left to do where the speed hardly varied, so that drag, rolling and work
// cannot be told apart.
func together(ride RoadRide, ws []window) (b belief) {
	b.mean[scale], b.mean[rolling] = 1, ride.Road.Crr
	var each []float64
	air, byScale, byRolling := 0.0, 0.0, 0.0
	for _, block := range inBlocks(ws) {
		here, rest := 0.0, 0.0
		for _, w := range block {
			here, rest = here+w.air, rest-b.left(w)
			byScale, byRolling = byScale+w.work, byRolling-w.roll
		}
		air += here
		each = append(each, rest/here)
	}
	mean, sd := meanSD(each)
	byScale, byRolling = byScale/air, byRolling/air
	relative := ride.MassSD / (ride.RiderMass + ride.Road.BikeMass)
	likeScale, own := ride.SourceSD*ride.SourceSD+relative*relative, sd*sd/float64(len(each))
	b.mean[drag] = mean
	b.cov[drag][drag] = own + byScale*byScale*likeScale + byRolling*byRolling*ride.CrrSD*ride.CrrSD
	b.cov[heavier][heavier] = relative * relative
	b.cov[drag][heavier] = -byScale * relative * relative
	b.cov[heavier][drag] = b.cov[drag][heavier]
	return b
}

// take brings in how well mass and the source's scale are known: with γ and δ
// the errors of both, what looks like scale is 1 + γ − δ.
func (b *belief) take(ride RoadRide) {
	relative := ride.MassSD / (ride.RiderMass + ride.Road.BikeMass)
	b.cov[heavier][heavier] = relative * relative
	b.observe([size]float64{scale: 1, heavier: 1}, 1, ride.SourceSD)
}

// observe narrows a belief by a linear combination seen with an error.
func (b *belief) observe(of [size]float64, value, sd float64) {
	var along [size]float64
	variance, expected := sd*sd, 0.0
	for i := range size {
		for j := range size {
			along[i] += b.cov[i][j] * of[j]
		}
		expected += of[i] * b.mean[i]
	}
	for i := range size {
		variance += of[i] * along[i]
	}
	if !(variance > 0) {
		return
	}
	for i := range size {
		b.mean[i] += along[i] / variance * (value - expected)
		for j := range size {
			b.cov[i][j] -= along[i] * along[j] / variance
		}
	}
}
