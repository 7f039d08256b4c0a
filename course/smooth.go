package course

import (
	"errors"
	"fmt"
	"math"
	"sort"
)

// Numbers of the smoothing, our judgement: a gradient that is wrong by half a
// percent costs a rider of 80 kg with bicycle about 30 W at 8 m/s.
const (
	gridStep       = 10.0  // m on the map
	gradientNoise  = 0.005 // sd of gradient wanted after smoothing
	narrowest      = 50.0  // m, half-width of the average
	widest         = 200.0 // m
	doubtfulSlope  = 0.25  // a warning is due above this gradient
	noiseSpacing   = 50.0  // m, points farther apart say nothing about noise
	noiseMinPoints = 20
)

// Smoothing says what Track.Profile did to the elevations.
type Smoothing struct {
	HalfWidth  float64 // m: weights fall linearly to zero at this distance on both sides
	Noise      float64 // m, sd of the elevations' noise as estimated; 0 if too few points are close together
	RawAscent  float64 // m, sum of all rises as recorded
	Ascent     float64 // m, after smoothing
	Steepest   float64 // largest gradient (up or down, ≥ 0) after smoothing
	SteepestAt float64 // m along the road where it is
}

// String is a sentence for the sheet, for example "elevations averaged over
// 150 m; ascent 944 m as recorded, 781 m after".
func (s Smoothing) String() string {
	return fmt.Sprintf("elevations averaged over %.0f m; ascent %.0f m as recorded, %.0f m after",
		s.HalfWidth, s.RawAscent, s.Ascent)
}

// Warning is a sentence when the result is doubtful, else empty.
func (s Smoothing) Warning() string {
	if s.Steepest <= doubtfulSlope {
		return ""
	}
	return fmt.Sprintf("the elevations still give a gradient of %.0f %% at %.1f km: too steep for a road, the file is doubtful there",
		100*s.Steepest, s.SteepestAt/1000)
}

// Profile turns the points of a track into a profile along the road.
//
// Distance on the map is the sum of great-circle distances. Unknown elevations
// are interpolated over it, the nearest known one holds beyond the ends. The
// elevations are resampled every 10 m on the map (a hundredth of the course,
// if that is shorter than 1 km) and averaged with weights that fall linearly
// to zero at a half-width h on both sides: a moving average of width h, taken
// twice. At the ends the profile is continued by its point reflection, so that
// both end points keep their elevation - the sum of all signed differences
// does not change - and a straight ramp stays exactly as it is. Distance along
// the road is then the sum of √(map² + rise²), with the smoothed rise.
//
// h is chosen so that noise of the estimated standard deviation σ at points
// spaced Δ apart leaves gradients with a standard deviation of 0.5 %: for
// white noise on a line, that average has sd(gradient) = σ·√(2Δ/h³) (own
// derivation, tested by simulation), so h = ∛(2Δσ²/0.005²), held between 50
// and 200 m. σ comes from how far each point lies off the line between its
// neighbours, where those are within 50 m; without at least 20 such points h
// is 50 m. Noise of receivers is not white, so this can be too little: while
// any gradient stays above 25 %, which is no road, h is widened up to 200 m.
// There is no agreed standard for any of this; the choice is ours.
//
// Known limitation: averaging cannot tell noise from short steep rollers. A
// wave of length λ keeps the share (sin(πh/λ)/(πh/λ))² of its height: with
// h = 100 m, 81 % at λ = 400 m, but 41 % at 200 m. Their ascent is lost and
// their gradients are too gentle. Noise that drifts slowly (weather, a
// receiver's slow wander) looks like hills and stays. One bad place can widen
// the average for the whole file. Sideways scatter of a
// receiver lengthens the line; nothing is done about that.
//
// The error is for tracks with fewer than two distinct points or two known
// elevations, which ReadGPX never returns.
func (t Track) Profile() (Profile, Smoothing, error) {
	if len(t.Points) < 2 || t.known() < 2 {
		return Profile{}, Smoothing{}, errors.New("a track needs 2 distinct points and 2 known elevations")
	}
	along := t.along()
	length := along[len(along)-1]
	if !(length > 0) {
		return Profile{}, Smoothing{}, errors.New("a track needs 2 distinct points")
	}
	n := max(100, int(math.Ceil(length/gridStep)))
	step := length / float64(n)
	s := Smoothing{RawAscent: t.RecordedAscent}
	s.Noise, s.HalfWidth = t.noise(along)
	// An odd number of grid points, centred; never more than a quarter of the course.
	half := max(0, int((math.Min(s.HalfWidth, length/4)/step-1)/2))
	most := int((math.Min(widest, length/4)/step - 1) / 2)
	z := resample(along, t.filled(along), step, n)
	p := roadProfile(z, step, half, &s)
	for s.Steepest > doubtfulSlope && half < most {
		half++
		p = roadProfile(z, step, half, &s)
	}
	s.Ascent = p.Ascent()
	return p, s, nil
}

// roadProfile averages elevations on a map grid over 2·half+1 points, twice,
// and lays them along the road; it notes width and steepest gradient in s.
func roadProfile(z []float64, step float64, half int, s *Smoothing) Profile {
	width := 2*half + 1
	z = movingAverage(movingAverage(z, width), width)
	s.HalfWidth, s.Steepest = float64(width)*step, 0
	p := Profile{Distance: make([]float64, len(z)), Elevation: z}
	for i := 1; i < len(z); i++ {
		p.Distance[i] = p.Distance[i-1] + math.Hypot(step, z[i]-z[i-1])
		if g := math.Abs(p.Gradient(i - 1)); g > s.Steepest {
			s.Steepest, s.SteepestAt = g, p.Distance[i-1]
		}
	}
	return p
}

// filled is the elevation of every point, unknown ones interpolated.
func (t Track) filled(along []float64) []float64 {
	z := make([]float64, len(t.Points))
	last := -1
	for i, p := range t.Points {
		if !p.Known {
			continue
		}
		z[i] = p.Elevation
		for j := last + 1; j < i; j++ {
			if last < 0 {
				z[j] = p.Elevation
				continue
			}
			share := (along[j] - along[last]) / (along[i] - along[last])
			z[j] = z[last] + share*(p.Elevation-z[last])
		}
		last = i
	}
	for j := last + 1; j < len(z); j++ {
		z[j] = z[last]
	}
	return z
}

// noise estimates the standard deviation of the elevations' noise (m) and the
// half-width of the average that tames it (m).
func (t Track) noise(along []float64) (sigma, halfWidth float64) {
	var off, spacing []float64
	for i := 1; i+1 < len(t.Points); i++ {
		a, b := along[i]-along[i-1], along[i+1]-along[i]
		if !t.Points[i-1].Known || !t.Points[i].Known || !t.Points[i+1].Known || a > noiseSpacing || b > noiseSpacing {
			continue
		}
		w := a / (a + b)
		r := t.Points[i].Elevation - (1-w)*t.Points[i-1].Elevation - w*t.Points[i+1].Elevation
		off = append(off, math.Abs(r)/math.Sqrt(1+w*w+(1-w)*(1-w)))
		spacing = append(spacing, a)
	}
	if len(off) < noiseMinPoints {
		return 0, narrowest
	}
	sort.Float64s(off)
	sort.Float64s(spacing)
	// 68.27 % of normal deviations are within one sd; a quantile, unlike the
	// root mean square, is not carried away by a few wild points.
	sigma = off[int(0.6827*float64(len(off)))]
	delta := spacing[len(spacing)/2]
	h := math.Cbrt(2 * delta * sigma * sigma / (gradientNoise * gradientNoise))
	return sigma, math.Min(widest, math.Max(narrowest, h))
}

// resample reads the piecewise linear (x, z) at 0, step, … n·step.
func resample(x, z []float64, step float64, n int) []float64 {
	out := make([]float64, n+1)
	i := 0
	for k := range out {
		at := float64(k) * step
		for i+2 < len(x) && x[i+1] < at {
			i++
		}
		share := math.Min(1, math.Max(0, (at-x[i])/(x[i+1]-x[i])))
		out[k] = z[i] + share*(z[i+1]-z[i])
	}
	out[n] = z[len(z)-1]
	return out
}

// movingAverage averages over width (odd) neighbours. Beyond its ends the
// series is continued by point reflection about the end point, which keeps the
// end points and every straight line as they are. Needs len(z) > width/2.
func movingAverage(z []float64, width int) []float64 {
	n, half := len(z), width/2
	extended := make([]float64, n+2*half)
	copy(extended[half:], z)
	for k := 1; k <= half; k++ {
		extended[half-k] = 2*z[0] - z[k]
		extended[half+n-1+k] = 2*z[n-1] - z[n-1-k]
	}
	out := make([]float64, n)
	for i := range out {
		sum := 0.0
		for _, v := range extended[i : i+width] {
			sum += v
		}
		out[i] = sum / float64(width)
	}
	// The reflection keeps the ends up to rounding; make it exact.
	out[0], out[n-1] = z[0], z[n-1]
	return out
}
