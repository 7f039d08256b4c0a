package course

import "math"

// What counts as a climb is our judgement; no standard was found.
const (
	climbGradient  = 0.02  // a metre of road costs this much rise
	climbAscent    = 20.0  // m a climb gains at least
	climbMean      = 0.025 // mean gradient a climb has at least
	climbDrop      = 20.0  // m of score a climb may lose on its way ...
	climbDropShare = 0.1   // ... or this share of its gain so far, if that is more
	steepestOver   = 100.0 // m
)

// Climb is one climb of a course. Lengths in metres, gradients as fractions.
type Climb struct {
	Start    float64 // m from the start of the course
	Length   float64 // m
	Ascent   float64 // m gained from its foot to its top
	Mean     float64 // Ascent over Length
	Steepest float64 // mean gradient of its steepest 100 m (or of all of it, if shorter)
}

// Climbs finds the climbs of a course, in order.
//
// Every metre of road scores its rise less 2 %; a climb is a stretch of highest
// score, as in the maximal scoring subsequences of Ruzzo and Tompa (1999, A
// linear time algorithm for finding all maximal scoring subsequences, ISMB) -
// but one that never gives back more than 20 m of score on its way, or a tenth
// of what it has gained so far. (Theirs would join two climbs over any valley
// that is less than either.) A kilometre of level road costs 20 m. Of these
// stretches those count that gain at least 20 m at a mean of at least 2.5 %.
// The numbers are our judgement. One pass, linear in the number of points.
func Climbs(p Profile) []Climb {
	var climbs []Climb
	score, lowest, highest := 0.0, 0.0, 0.0
	foot, top := 0, 0
	for i := 1; i < len(p.Distance); i++ {
		score += p.Elevation[i] - p.Elevation[i-1] - climbGradient*(p.Distance[i]-p.Distance[i-1])
		switch allowed := math.Max(climbDrop, climbDropShare*(highest-lowest)); {
		case score > highest:
			highest, top = score, i
		case score <= lowest || score < highest-allowed:
			climbs = p.appendClimb(climbs, foot, top)
			foot, top, lowest, highest = i, i, score, score
		}
	}
	return p.appendClimb(climbs, foot, top)
}

func (p Profile) appendClimb(climbs []Climb, foot, top int) []Climb {
	c := Climb{
		Start:  p.Distance[foot],
		Length: p.Distance[top] - p.Distance[foot],
		Ascent: p.Elevation[top] - p.Elevation[foot],
	}
	if c.Ascent < climbAscent || c.Ascent < climbMean*c.Length {
		return climbs
	}
	c.Mean = c.Ascent / c.Length
	c.Steepest = p.steepest(foot, top)
	return append(climbs, c)
}

// steepest is the largest mean gradient over 100 m between two points of the
// profile. Between breakpoints the rise over a window is linear in where the
// window lies, so one of its ends is a breakpoint where the rise is largest.
func (p Profile) steepest(from, to int) float64 {
	start, end := p.Distance[from], p.Distance[to]
	if end-start <= steepestOver {
		return (p.Elevation[to] - p.Elevation[from]) / (end - start)
	}
	most := math.Inf(-1)
	for i := from; i <= to; i++ {
		at := p.Distance[i]
		if at+steepestOver <= end {
			most = math.Max(most, p.At(at+steepestOver)-p.Elevation[i])
		}
		if at-steepestOver >= start {
			most = math.Max(most, p.Elevation[i]-p.At(at-steepestOver))
		}
	}
	return most / steepestOver
}
