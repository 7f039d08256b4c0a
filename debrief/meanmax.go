package debrief

import (
	"cmp"
	"math"
	"slices"
)

// MeanMax is the mean-maximal power of a ride: for every duration from one
// second up, the highest mean of that many seconds on end.
type MeanMax struct {
	Watts []float64 // W, of a duration of index+1 seconds
	Start []int     // s after the first sample at which one such stretch begins
}

// At is the best of a duration in whole seconds and where it begins; false if
// the ride is shorter.
func (m MeanMax) At(seconds int) (watts float64, start int, ok bool) {
	if seconds < 1 || seconds > len(m.Watts) {
		return 0, 0, false
	}
	return m.Watts[seconds-1], m.Start[seconds-1], true
}

// Season is the mean-maximal power of several rides: of each duration the
// best, and which ride it is from.
type Season struct {
	MeanMax
	Ride []int // index of the ride, of a duration of index+1 seconds
}

// BestOver takes the best of every duration over rides; of equal ones the
// first, so that rides in order of their dates give the day it was first done.
func BestOver(rides []MeanMax) Season {
	var s Season
	for k, ride := range rides {
		for i, w := range ride.Watts {
			switch {
			case i == len(s.Watts):
				s.Watts, s.Start, s.Ride = append(s.Watts, w), append(s.Start, ride.Start[i]), append(s.Ride, k)
			case w > s.Watts[i]:
				s.Watts[i], s.Start[i], s.Ride[i] = w, ride.Start[i], k
			}
		}
	}
	return s
}

// grain is the part of a watt that powers are counted in: whole numbers make
// every comparison exact. 2⁻²⁰ W is far below what anything measures, and ten
// days of 100 kW still fit.
const grain = 1 << 20

// MeanMaximal finds the best of every duration of these powers (W), one a
// second; what is not a number or not possible (beyond ±100 kW) counts as
// nothing, so that a best is never more than was seen. Where several stretches
// are equally good, Start is one of them.
//
// It is exact, and would be as slow as trying every start with every end, were
// it not for a bound. With S the running sum and any slope c, what starts in a
// block of seconds and ends in another is worth at most
//
//	max over the ends (S − c·t) − min over the starts (S − c·t) + c·duration,
//
// which the best known stretches of these durations mostly reach already: then
// the two blocks are done with; else they are halved. c is the best mean of
// about that duration, so that a long even effort is dismissed at once too.
func MeanMaximal(watts []float64) MeanMax {
	n := len(watts)
	s := newStretches(watts)
	for k := range s.blocks(top) {
		s.diagonal(k)
	}
	m := MeanMax{Watts: make([]float64, n), Start: make([]int, n)}
	for d := 1; d <= n; d++ {
		m.Watts[d-1], m.Start[d-1] = float64(s.best[d])/float64(d)/grain, int(s.at[d])
	}
	return m
}

// never is beyond any sum, yet far enough from the end of the range that the
// difference of two does not run over it.
const never = math.MaxInt64 / 4

// Blocks of the finest level hold leaf points, those above twice as many each.
const (
	leaf   = 8
	levels = 5
	top    = levels - 1
)

// stretches is the search: sum[t] is what was done before second t.
type stretches struct {
	sum   []int64
	best  []int64 // by duration, in grains of a joule
	at    []int32
	order []promise
	slope int64           // c
	hi    [levels][]int64 // of sum − c·t, by block
	lo    [levels][]int64
	low   [levels][]int64 // least of best − c·duration, by how far two blocks lie apart
}

func newStretches(watts []float64) *stretches {
	n := len(watts)
	s := &stretches{sum: make([]int64, n+1), best: make([]int64, n+1), at: make([]int32, n+1), slope: math.MinInt64}
	for i, w := range watts {
		if !(math.Abs(w) <= 1e5) {
			w = 0
		}
		s.sum[i+1] = s.sum[i] + int64(math.Round(w*grain))
	}
	for l := range levels {
		b := s.blocks(top) << (top - l)
		s.hi[l], s.lo[l], s.low[l] = make([]int64, b), make([]int64, b), make([]int64, b+2)
	}
	return s
}

// promise is a block of starts and the most that a stretch from it can be worth.
type promise struct {
	most  int64
	block int
}

// blocks is how many blocks a level has.
func (s *stretches) blocks(level int) int {
	size := leaf << level
	return (len(s.sum) + size - 1) / size
}

// diagonal looks at all blocks of the top level that lie k apart.
func (s *stretches) diagonal(k int) {
	const size = leaf << top
	n := len(s.sum) - 1
	from, to := max(1, (k-1)*size+1), min(n, (k+1)*size-1)
	for d := max(1, k*size); d <= to; d++ { // of these nothing is known yet: begin near the last best
		s.try(d, max(0, min(n-d, int(s.at[d-1]))), k == 0 || d == k*size)
		s.try(d, max(0, min(n-d, int(s.at[d-1])-1)), false)
	}
	if from > to {
		return
	}
	if c := s.growth(max(1, k*size), to); s.slope == math.MinInt64 || math.Abs(float64(c-s.slope)) > slopeStep*math.Abs(float64(s.slope)) {
		s.lean(c, k)
	}
	s.lowest(k)
	blocks := s.blocks(top)
	s.order = s.order[:0]
	for a := range blocks - k {
		if u := s.hi[top][a+k] - s.lo[top][a]; u > s.low[top][k] {
			s.order = append(s.order, promise{u, a})
		}
	}
	slices.SortFunc(s.order, func(x, y promise) int { return cmp.Compare(y.most, x.most) })
	for _, p := range s.order {
		s.visit(top, p.block, p.block+k)
	}
}

// slopeStep is how far, as a share, the slope may be from the best mean
// before the blocks' bounds are made anew: cost against sharpness, measured.
const slopeStep = 0.07

// growth is the median of what one second more adds to the best of durations
// from and up to to.
func (s *stretches) growth(from, to int) int64 {
	if to <= from {
		return s.best[to] / int64(to)
	}
	var steps []int64
	for d := from; d < to; d++ {
		steps = append(steps, s.best[d+1]-s.best[d])
	}
	slices.Sort(steps)
	return steps[len(steps)/2]
}

// try looks at one stretch; always takes it.
func (s *stretches) try(d, start int, always bool) {
	if v := s.sum[start+d] - s.sum[start]; always || v > s.best[d] {
		s.best[d], s.at[d] = v, int32(start)
	}
}

// lean makes the bounds for a slope, of the blocks that stretches over k top
// blocks or more begin and end in.
func (s *stretches) lean(slope int64, k int) {
	s.slope = slope
	for b := range (s.blocks(top) - k) << top {
		lo, fall := int64(never), slope*int64(b*leaf)
		for _, v := range s.block(b) {
			lo = min(lo, v-fall)
			fall += slope
		}
		s.lo[0][b] = lo
	}
	for b := k << top; b < s.blocks(top)<<top; b++ {
		hi, fall := int64(-never), slope*int64(b*leaf)
		for _, v := range s.block(b) {
			hi = max(hi, v-fall)
			fall += slope
		}
		s.hi[0][b] = hi
	}
	for l := 1; l < levels; l++ {
		for b := range s.lo[l] {
			s.lo[l][b] = min(s.lo[l-1][2*b], s.lo[l-1][2*b+1])
			s.hi[l][b] = max(s.hi[l-1][2*b], s.hi[l-1][2*b+1])
		}
	}
}

// block is the sums of a finest block; empty behind the last.
func (s *stretches) block(b int) []int64 {
	n := len(s.sum)
	return s.sum[min(n, b*leaf):min(n, (b+1)*leaf)]
}

// lowest makes anew what is known of the durations of a top diagonal.
func (s *stretches) lowest(k int) {
	for l := range levels {
		wide := 1 << (top - l)
		for i := max(0, (k-1)*wide); i <= min((k+1)*wide, s.blocks(l)-1); i++ {
			if l == 0 {
				s.leafLowest(i)
			} else {
				s.refresh(l, i)
			}
		}
	}
}

// leafLowest is low of two finest blocks k apart, from the best themselves.
func (s *stretches) leafLowest(k int) {
	low := int64(math.MaxInt64)
	for d := max(1, (k-1)*leaf+1); d <= min(len(s.sum)-1, (k+1)*leaf-1); d++ {
		low = min(low, s.best[d]-s.slope*int64(d))
	}
	s.low[0][k] = low
}

// refresh is low of a coarser level from that of the next finer one.
func (s *stretches) refresh(level, k int) {
	finer := s.low[level-1]
	low := finer[2*k]
	if k > 0 {
		low = min(low, finer[2*k-1])
	}
	if 2*k+1 < s.blocks(level-1) {
		low = min(low, finer[2*k+1])
	}
	s.low[level][k] = low
}

// visit looks at all stretches from block a to block b of a level.

func (s *stretches) visit(level, a, b int) {
	if s.hi[level][b]-s.lo[level][a] <= s.low[level][b-a] {
		return
	}
	if level == 0 {
		if s.visitLeaf(a, b) {
			s.leafLowest(b - a)
		}
		return
	}
	n := s.blocks(level - 1)
	for _, i := range [2]int{2 * a, 2*a + 1} {
		for _, j := range [2]int{2 * b, 2*b + 1} {
			if i <= j && j < n {
				s.visit(level-1, i, j)
			}
		}
	}
	s.refresh(level, b-a)
}

// visitLeaf tries every stretch from block a to block b of the finest level,
// and tells whether one was better than the best.
func (s *stretches) visitLeaf(a, b int) (better bool) {
	if a < b && (b+1)*leaf <= len(s.sum) {
		return s.visitFull(a*leaf, b*leaf)
	}
	for i := a * leaf; i < min(len(s.sum), (a+1)*leaf); i++ {
		for end := max(i+1, b*leaf); end < min(len(s.sum), (b+1)*leaf); end++ {
			if v := s.sum[end] - s.sum[i]; v > s.best[end-i] {
				s.best[end-i], s.at[end-i], better = v, int32(i), true
			}
		}
	}
	return better
}

// visitFull is visitLeaf for two whole blocks, which begin at a and b: most of
// the time goes here, so that no index is checked twice.
func (s *stretches) visitFull(a, b int) (better bool) {
	starts, ends := (*[leaf]int64)(s.sum[a:]), (*[leaf]int64)(s.sum[b:])
	for i, start := range starts {
		from := b - a - i
		best := (*[leaf]int64)(s.best[from:])
		for x, end := range ends {
			if v := end - start; v > best[x] {
				best[x], s.at[from+x], better = v, int32(a+i), true
			}
		}
	}
	return better
}
