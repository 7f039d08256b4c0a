package pacing

import (
	"math"
	"sync"

	"chainline/course"
)

// most stretches that the search over breakpoints looks at.
const mostStretches = 600

// stretch is a piece of road whose effort is priced as one.
type stretch struct {
	to      float64 // m, its end
	seconds float64 // s in the optimum
	cost    []float64
}

// breakpoints proposes ends of cues: for a few numbers of cues from the least
// that costs hardly more up to n, and the road's own sections if they are few
// enough.
func (p Problem) breakpoints(o Optimum, n int) [][]float64 {
	stretches := p.priced(o)
	count, most := len(stretches), n
	n = min(n, count)
	table, choice := leastCost(stretches, n, p.halted)
	if p.halted() {
		return nil
	}
	path := func(k int) []float64 {
		ends := make([]float64, k)
		for j := count; k > 0; k-- {
			ends[k-1] = stretches[j-1].to
			j = choice[k][j]
		}
		return ends
	}
	fewest := 0
	for k := 1; k <= n; k++ {
		if math.IsInf(table[k][count], 1) {
			continue
		}
		if fewest == 0 || table[k][count] < table[fewest][count]-2e-4*o.Outcome.Time {
			fewest = k
		}
	}
	if fewest == 0 {
		return [][]float64{{p.Profile.Length()}}
	}
	var proposals [][]float64
	few := 2 // proposals beside the first on a long course, where each costs more
	if n <= fewCues {
		few = 4
	}
	for i, gap := 0, max(1, (n-fewest+few-1)/few); fewest+i*gap < n+gap; i++ {
		if k := min(n, fewest+i*gap); !math.IsInf(table[k][count], 1) {
			proposals = append(proposals, path(k))
		}
	}
	if sections := course.Sections(p.Profile); len(sections) <= most {
		var ends []float64
		for _, s := range sections {
			ends = append(ends, s.To)
		}
		proposals = append(proposals, ends)
	}
	return proposals
}

// levels are the powers that are tried, from floor to ceiling.
func (p Problem) levels() []float64 {
	top := math.Min(p.Ceiling, 2.5*p.Balance.CriticalPower)
	step := WattStep
	for (top-p.Floor)/step > 120 {
		step += WattStep
	}
	var out []float64
	for w := p.Floor; w <= top; w += step {
		out = append(out, w)
	}
	return out
}

// priced cuts the course into stretches and gives each power level on each
// its cost: time at steady speed, plus W′ at its price.
func (p Problem) priced(o Optimum) []stretch {
	levels := p.levels()
	group := (len(o.Plan) + mostStretches - 1) / mostStretches
	q := &pricing{motion: &p.Motion}
	var out []stretch
	height := p.Profile.Elevation[0]
	point := 1
	cp, wPrime := p.Balance.CriticalPower, p.Balance.WPrime
	for i := 0; i < len(o.Plan); i += group {
		last := min(i+group, len(o.Plan)) - 1
		from, to := o.Plan[i].From, o.Plan[last].To
		for point < len(p.Profile.Distance)-1 && p.Profile.Distance[point] <= from {
			point++
		}
		above := elevationAt(p.Profile, to, point)
		force := p.Motion.ConstantForce((above - height) / (to - from))
		height = above
		price := o.price[last]
		spent := wPrime - interpolate(o.Outcome.At, o.Outcome.Balance, to)
		s := stretch{to: to, seconds: o.Outcome.secondsAt(to) - o.Outcome.secondsAt(from), cost: make([]float64, len(levels))}
		cost := func(w float64) float64 {
			t := (to - from) / q.speedAt(w, force)
			return t + price*t*math.Max(0, w-cp) - price*spent*p.Balance.Rate(math.Max(0, cp-w))*t
		}
		best := (o.Plan[i].Watts*(o.Plan[i].To-from) + o.Plan[last].Watts*(to-o.Plan[last].From)) / (o.Plan[i].To - from + to - o.Plan[last].From)
		tilt := p.tilt(cost, best)
		for l, w := range levels {
			s.cost[l] = cost(w) - tilt*(w-best)
		}
		out = append(out, s)
	}
	return out
}

// tilt is the slope that has to be taken off a steady cost so that the
// optimum's own power is its minimum: what inertia and the balance's later
// limits add to the price of a watt, to first order.
func (p Problem) tilt(cost func(float64) float64, best float64) float64 {
	const d = 0.5 // W
	left, right := (cost(best)-cost(best-d))/d, (cost(best+d)-cost(best))/d
	if best-d < p.Floor {
		left = math.Inf(-1)
	}
	if best+d > p.Ceiling {
		right = math.Inf(1)
	}
	return math.Min(math.Max(0, left), right)
}

// leastCost is dynamic programming over breakpoints: table[k][j] is the least
// cost of the first j stretches in k cues of at least ShortestCue, choice its
// last breakpoint. It stops early when halted.
func leastCost(stretches []stretch, n int, halted func() bool) (table [][]float64, choice [][]int) {
	count := len(stretches)
	cost := intervalCosts(stretches, halted)
	table, choice = make([][]float64, n+1), make([][]int, n+1)
	for k := range table {
		table[k], choice[k] = make([]float64, count+1), make([]int, count+1)
		for j := range table[k] {
			table[k][j] = math.Inf(1)
		}
	}
	table[0][0] = 0
	for k := 1; k <= n && !halted(); k++ {
		for j := k; j <= count; j++ {
			for i := k - 1; i < j; i++ {
				if c := table[k-1][i] + float64(cost[i][j-i-1]); c < table[k][j] {
					table[k][j], choice[k][j] = c, i
				}
			}
		}
	}
	return table, choice
}

// costWorkers share the rows of intervalCosts; the result is the same for any
// number of them.
const costWorkers = 4

// intervalCosts is the cost of the best single level over stretches i to
// i+d, as cost[i][d], relative to each stretch's own best level so that single
// precision suffices; +Inf where it would be shorter than a cue may be.
func intervalCosts(stretches []stretch, halted func() bool) [][]float32 {
	count := len(stretches)
	above := make([][]float64, count) // of each level over the stretch's own best
	for j, s := range stretches {
		own := math.Inf(1)
		for _, c := range s.cost {
			own = math.Min(own, c)
		}
		above[j] = make([]float64, len(s.cost))
		for l, c := range s.cost {
			above[j][l] = c - own
		}
	}
	cost := make([][]float32, count)
	row := func(i int, sum []float64) {
		cost[i] = make([]float32, count-i)
		clear(sum)
		seconds := 0.0
		for j := i; j < count; j++ {
			seconds += stretches[j].seconds
			least := math.Inf(1)
			for l, c := range above[j] {
				v := sum[l] + c
				sum[l] = v
				if v < least {
					least = v
				}
			}
			// A tenth longer than the rule, for the polished cue may be ridden faster.
			if seconds < 1.1*ShortestCue {
				least = math.Inf(1)
			}
			cost[i][j-i] = float32(least)
		}
	}
	var group sync.WaitGroup
	for worker := range costWorkers {
		group.Go(func() {
			sum := make([]float64, len(stretches[0].cost))
			for i := worker; i < count && !halted(); i += costWorkers {
				row(i, sum)
			}
		})
	}
	group.Wait()
	return cost
}
