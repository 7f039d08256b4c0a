package course

import (
	"math"
	"math/rand/v2"
)

// piece is a stretch of road of even gradient: length in m, rise in m (signed).
type piece struct{ length, rise float64 }

// Draw makes one plausible profile that agrees with everything the sketch
// states: length and ascent of the whole course, laps that repeat, a level
// lead-in, length and ascent (and start, if known) of the main climb, a finish
// at the top of the last climb. Without a summit finish a course ends at the
// elevation it starts from. The lowest point is at 0 m: how high the course
// lies is not known. Draw panics if Check returns an error.
//
// The distribution is our judgement; nothing published was found to take it
// from. U(a, b) is uniform, N standard normal, all draws independent. For a
// lap of length L, ascent A:
//
//  1. Main climb, if there is one: what is unknown of length or ascent follows
//     from a mean gradient U(4 %, 9 %), held to what fits. A start that is
//     unknown is U over the lap; with a summit finish the climb is the finish.
//     It has 3-6 pieces, all rising.
//  2. Descent: A, or with a summit finish U(0, 1) times the smaller of the
//     ascent beside the main climb (0.7·A without one) and 8 % of the length
//     there less that ascent.
//  3. Ascent and descent beside the main climb are shared between the
//     stretches before and after it like their lengths, each with a share
//     varied by U(-0.2, 0.2), held to 12 % of each stretch; of the descent
//     that could go to either, each gets 15 % at least. Stretches under 200 m
//     are level.
//  4. Hills of a stretch of length R with rise a and fall d: log-uniform between
//     1 and the smaller of R/1.5 km and (a+d)/16 m, at most 10; more, up to 11,
//     where no hill may be higher than the main climb (see 7).
//  5. Gradient of everything that is not level, on average:
//     (3 % + 1.2·A/L)·exp(0.3·N), at most 8 %; the rest of the stretch is
//     level, at least 2 % of it. Rising road is U(0.85, 1.18) times as steep
//     as falling road. At above 8 % nothing is left to choose.
//  6. Level road, rise, level road, fall and so on; it begins with a fall after
//     the main climb and where a summit finish has to end with a rise. Each
//     rise and fall has 10/hills pieces, 2 at least. How rise, fall and level
//     road are shared out: weights 0.3 + Exp(1) for the heights of
//     hills, height times U(0.8, 1.25) for their lengths (times 1 above 8 %),
//     0.5 + U(0, 1) for the lengths of pieces.
//  7. With a main climb no hill gets more than 90 % of its ascent, if 11 hills
//     a stretch suffice for that.
//  8. Gradients of the pieces of one rise or fall and of the main climb: its mean
//     times exp(0.35·N), rescaled to keep the height, then drawn towards the
//     mean until none exceeds the larger of 10 % and 1.3 times the mean, and
//     16 % in any case.
func (s Sketch) Draw(r *rand.Rand) Profile {
	p, _ := s.draw(r)
	return p
}

// draw also says where the main climb is in the first lap, for tests.
func (s Sketch) draw(r *rand.Rand) (Profile, Climb) {
	if err := s.Check(); err != nil {
		panic("course: sketch cannot be drawn: " + err.Error())
	}
	l := s.resolve()
	pieces, climb := l.draw(r)
	p := join(pieces, l.length, !l.summit)
	p, err := Repeat(p, l.laps)
	if err != nil {
		panic("course: " + err.Error())
	}
	climb.Start += s.LeadIn
	return WithLeadIn(p, s.LeadIn), climb
}

func (l lap) draw(r *rand.Rand) ([]piece, Climb) {
	var c Climb
	if l.climb {
		c = l.drawClimb(r)
	} else {
		c.Start = l.length // everything is before
	}
	rest := math.Max(0, l.ascent-c.Ascent)
	descent := l.ascent
	if l.summit {
		most := math.Min(rest, 0.08*l.room(c.Length)-rest)
		if !l.climb {
			most = math.Min(0.7*rest, 0.08*l.length-rest)
		}
		descent = r.Float64() * math.Max(0, most)
	}
	before := stretch{length: c.Start}
	after := stretch{length: l.length - c.Start - c.Length}
	share(r, &before, &after, rest, descent, l.summit)
	after.endsHigh = l.summit
	before.endsHigh = l.summit && !l.climb
	after.startsHigh = l.climb
	for _, t := range []*stretch{&before, &after} {
		t.wanted = math.Min(0.08, (0.03+1.2*l.ascent/l.length)*math.Exp(0.3*r.NormFloat64()))
		t.tallest = 0.9 * c.Ascent // 0: no limit
	}
	pieces := before.draw(r)
	if l.climb {
		lengths := shareOut(r, c.Length, 3+r.IntN(4), halfToOne)
		pieces = append(pieces, rises(r, lengths, c.Ascent)...)
	}
	return append(pieces, after.draw(r)...), c
}

// drawClimb settles what is unknown about the main climb.
func (l *lap) drawClimb(r *rand.Rand) Climb {
	gradient := 0.04 + 0.05*r.Float64()
	low, high := l.climbLengths()
	length := clamp(l.climbAscent/gradient, low, high)
	low, high = l.climbAscents(length)
	c := Climb{Length: length, Ascent: clamp(gradient*length, low, high), Start: l.climbStart}
	if left := l.length - length; c.Start < 0 && l.summit {
		c.Start = left
	} else if c.Start < 0 {
		c.Start = r.Float64() * left
		if c.Start < sketchLevel {
			c.Start = 0
		} else if left-c.Start < sketchLevel {
			c.Start = left
		}
	}
	c.Start = math.Min(c.Start, l.length-length)
	c.Mean = c.Ascent / c.Length
	return c
}

func clamp(v, low, high float64) float64 { return math.Max(low, math.Min(high, v)) }

// stretch is a part of a lap beside the main climb.
type stretch struct {
	length, up, down float64 // m, m, m (both ≥ 0)
	wanted           float64 // mean gradient of what is not level
	moving           float64 // m that are not level
	tallest          float64 // m a single hill should not exceed; 0: no limit
	startsHigh       bool    // starts at the top of the main climb, so first of all it falls
	endsHigh         bool    // ends at the top of a hill
}

// share gives both stretches their part of rise and fall, neither more than
// 12 % of its length.
func share(r *rand.Rand, before, after *stretch, up, down float64, summit bool) {
	first, second := sketchSlope*hilly(before.length), sketchSlope*hilly(after.length)
	if first+second == 0 {
		return
	}
	part := func() float64 { return first/(first+second) + 0.4*(r.Float64()-0.5) }
	low, high := math.Max(0, up-second), math.Min(up, first)
	if summit && second > 0 {
		high = math.Max(low, math.Min(high, 0.9*up)) // the last hill needs some
	}
	before.up = clamp(up*part(), low, high)
	after.up = up - before.up
	low, high = math.Max(0, down-(second-after.up)), math.Min(down, first-before.up)
	// Both keep some: a fall parts the main climb from the hills beside it.
	margin := 0.15 * math.Max(0, high-low)
	before.down = clamp(down*part(), low+margin, math.Max(low, high)-margin)
	after.down = down - before.down
}

func (t stretch) draw(r *rand.Rand) []piece {
	if t.length <= 0 {
		return nil
	}
	if t.up+t.down <= 0 {
		return []piece{{t.length, 0}}
	}
	n := t.hills(r)
	moving := math.Min((t.up+t.down)/t.wanted, 0.98*t.length)
	t.moving = moving
	steeper := 0.85 + 0.33*r.Float64() // falling length over rising length, for equal heights
	if (t.up+t.down)/moving > 0.08 {
		steeper = 1
	}
	rising := moving * t.up / (t.up + steeper*t.down)
	ups := t.side(r, n, rising, t.up)
	falls := n
	if t.startsHigh && !t.endsHigh {
		falls++
	}
	downs := t.side(r, falls, moving-rising, t.down)
	level := shareOut(r, t.length-moving, n+falls+1, halfToOne)
	var pieces []piece
	for i := range n + falls {
		pieces = append(pieces, piece{level[i], 0})
		if falling := t.startsHigh || t.endsHigh; falling == (i%2 == 0) {
			pieces = append(pieces, negative(downs[i/2])...)
		} else {
			pieces = append(pieces, ups[i/2]...)
		}
	}
	if t.endsHigh {
		pieces[0].length += level[n+falls]
		return pieces
	}
	return append(pieces, piece{level[n+falls], 0})
}

// hills draws how many hills a stretch has.
func (t stretch) hills(r *rand.Rand) int {
	most := clamp(math.Min(t.length/1500, (t.up+t.down)/16), 1, 10)
	least := 1.0
	if t.tallest > 0 {
		// One more than just enough leaves their heights free to differ.
		least = math.Min(11, math.Ceil(math.Max(t.up, t.down)/t.tallest))
		if least > 1 {
			least = math.Min(11, least+1)
		}
		most = math.Max(most, least)
	}
	return int(math.Round(math.Exp(math.Log(least) + r.Float64()*math.Log(most/least))))
}

// side makes the rises (or, of opposite sign, the falls) of n hills.
func (t stretch) side(r *rand.Rand, n int, length, height float64) [][]piece {
	hills := make([][]piece, n)
	if height <= 0 || length <= 0 { // length is lost only where height is rounding
		return hills
	}
	heights := shareOut(r, height, n, exponential)
	if t.tallest > 0 {
		towardsMean(heights, height/float64(n), math.Max(t.tallest, height/float64(n)))
	}
	weights := make([]float64, n)
	sum := 0.0
	for i, h := range heights {
		weights[i] = h
		if t.up+t.down <= 0.08*t.moving {
			weights[i] *= 0.8 + 0.45*r.Float64()
		}
		sum += weights[i]
	}
	each := max(2, int(math.Round(10/float64(n))))
	for i, h := range heights {
		lengths := shareOut(r, length*weights[i]/sum, each, halfToOne)
		hills[i] = rises(r, lengths, h)
	}
	return hills
}

// rises makes rising pieces of uneven gradient that gain a height in all.
func rises(r *rand.Rand, lengths []float64, height float64) []piece {
	length, weighted := 0.0, 0.0
	gradients := make([]float64, len(lengths))
	for i, l := range lengths {
		gradients[i] = math.Exp(0.35 * r.NormFloat64())
		length += l
		weighted += l * gradients[i]
	}
	mean := height / length
	for i := range gradients {
		gradients[i] *= height / weighted
	}
	towardsMean(gradients, mean, math.Min(sketchSteepest, math.Max(0.10, 1.3*mean)))
	pieces := make([]piece, len(lengths))
	for i, l := range lengths {
		pieces[i] = piece{l, gradients[i] * l}
	}
	return pieces
}

// join lays pieces end to end, the lowest point at 0 m. Pieces shorter than a
// millimetre, which come from rounding, join the next one. Length and, for a
// loop, the elevation of the end are set exactly.
func join(pieces []piece, length float64, loop bool) Profile {
	p := Profile{Distance: []float64{0}, Elevation: []float64{0}}
	s, z, lowest := 0.0, 0.0, 0.0
	for _, q := range pieces {
		s, z = s+q.length, z+q.rise
		lowest = math.Min(lowest, z)
		if s-p.Length() >= 0.001 && length-s >= 0.001 {
			p.Distance = append(p.Distance, s)
			p.Elevation = append(p.Elevation, z)
		}
	}
	if loop {
		z = 0
	}
	p.Distance = append(p.Distance, length)
	p.Elevation = append(p.Elevation, z)
	for i := range p.Elevation {
		p.Elevation[i] -= lowest
	}
	return p
}

func negative(pieces []piece) []piece {
	out := make([]piece, len(pieces))
	for i, p := range pieces {
		out[i] = piece{p.length, -p.rise}
	}
	return out
}

// exponential and halfToOne are the weights by which totals are shared out.
func exponential(r *rand.Rand) float64 { return 0.3 + r.ExpFloat64() }
func halfToOne(r *rand.Rand) float64   { return 0.5 + r.Float64() }

func shareOut(r *rand.Rand, total float64, n int, weight func(*rand.Rand) float64) []float64 {
	parts := make([]float64, n)
	sum := 0.0
	for i := range parts {
		parts[i] = weight(r)
		sum += parts[i]
	}
	for i := range parts {
		parts[i] *= total / sum
	}
	return parts
}

// towardsMean draws values towards their mean until none exceeds most (≥ mean);
// their sum stays.
func towardsMean(values []float64, mean, most float64) {
	top := 0.0
	for _, v := range values {
		top = math.Max(top, v)
	}
	if top <= most {
		return
	}
	keep := (most - mean) / (top - mean)
	for i, v := range values {
		values[i] = mean + keep*(v-mean)
	}
}
