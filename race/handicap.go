package race

import (
	"context"
	"math"
	"slices"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

// A handicap start: slower riders leave first, in few bunches, so that
// everybody has the same chance of being first home.

// HandicapAsk is a group to be sent off.
type HandicapAsk struct {
	Way      *Way
	Road     physics.Road // drag area for 75 kg
	Entrants []Me
	Bunches  int // at most so many; 0: the usual
	Tactics  Tactics
	DaySD    float64 // of the logarithm of power from day to day; 0: the usual
	Races    int     // simulated to tell chances
	Rounds   int     // of moving gaps; 0: the usual
	Seed     uint64
	Workers  int
}

const (
	usualBunches  = 5
	gapStep       = 5.0  // s, to which gaps are rounded
	searchRounds  = 8    // of moving gaps
	balanceRaces  = 240  // in each of the later rounds; a third of them in the first half, twice as many in the last two
	leastStep     = 20.0 // s, of moving gaps at first; or half the spread of arrivals
	closeShare    = 0.3  // of the spread of arrivals: arriving so much behind the first counts as e⁻¹ of a win while gaps are moved, …
	leastClose    = 0.7  // s, … within these limits
	furthestClose = 12.0 // s
)

// Start is one entrant's place on the start list.
type Start struct {
	Name    string
	Bunch   int               // from 0, the limit bunch, on
	GapS    float64           // s after the first bunch
	AloneS  float64           // s the rider would take alone
	Chance  float64           // of finishing first
	SE      float64           // its standard error
	ArriveS estimate.Estimate // s after the first start
	learn   regression
}

// regression is what an arrival says about a rider: the share of power that
// goes with a second of arriving early, and where they are expected.
type regression struct{ perS, mean float64 }

// StartList is a handicap.
type StartList struct {
	Starts  []Start // in the order of the entrants
	Gaps    []float64
	SpreadS float64 // s, sd of arrivals within a race
	FairSE  float64 // standard error of a chance of 1/n with so many races
}

// Handicap finds bunches and gaps that equalise the chance of finishing first.
//
// Riders are first put into bunches by the time they would take alone, so that
// those who ride together differ least. Gaps by those times are then moved until
// the bunches win as often as is fair, in races simulated with everybody's
// doubts, their days and shelter between low and high. (Moving riders between
// bunches by what they win was tried: it made chances a little more equal in
// such races and less so on the truth hidden from the handicapper.)
func Handicap(ctx context.Context, q HandicapAsk) (StartList, error) {
	alone := q.aloneTimes()
	bunch := bunches(alone, q.bunchCount())
	gaps, err := q.balance(ctx, bunch, gapsOf(alone, bunch))
	if err != nil {
		return StartList{}, err
	}
	return q.tell(ctx, alone, bunch, gaps)
}

func (q HandicapAsk) bunchCount() int {
	n := q.Bunches
	if n <= 0 {
		n = usualBunches
	}
	return max(1, min(n, len(q.Entrants)))
}

// aloneTimes are the times each would take alone, at the even power that can
// be held for that long.
func (q HandicapAsk) aloneTimes() []float64 {
	out := make([]float64, len(q.Entrants))
	for i, e := range q.Entrants {
		m, t := motionOf(q.Road, e.Mass), q.Way.length/9
		for range 8 {
			next := q.Way.Even(m, q.Road.StartSpeed, e.Capacity.Power(t))
			if math.IsInf(next, 1) {
				next = q.Way.length / slowest
			}
			t = next
		}
		out[i] = t
	}
	return out
}

// bunches splits the times into so many bunches of neighbours that the squared
// distances from the bunches' means are least; bunch 0 holds the slowest.
func bunches(times []float64, count int) []int {
	n := len(times)
	by := make([]int, n)
	for i := range by {
		by[i] = i
	}
	slices.SortStableFunc(by, func(a, b int) int {
		switch {
		case times[a] > times[b]:
			return -1
		case times[a] < times[b]:
			return 1
		}
		return 0
	})
	cost := func(from, to int) float64 { // of riders from … to−1
		mean, sum := 0.0, 0.0
		for _, i := range by[from:to] {
			mean += times[i] / float64(to-from)
		}
		for _, i := range by[from:to] {
			sum += (times[i] - mean) * (times[i] - mean)
		}
		return sum
	}
	best := make([][]float64, count+1) // best[k][to]: the first to riders in k bunches
	cut := make([][]int, count+1)
	for k := range best {
		best[k], cut[k] = make([]float64, n+1), make([]int, n+1)
		for to := range best[k] {
			best[k][to] = math.Inf(1)
		}
	}
	best[0][0] = 0
	for k := 1; k <= count; k++ {
		for to := k; to <= n; to++ {
			for from := k - 1; from < to; from++ {
				if c := best[k-1][from] + cost(from, to); c < best[k][to] {
					best[k][to], cut[k][to] = c, from
				}
			}
		}
	}
	out := make([]int, n)
	for k, to := count, n; k > 0; k-- {
		from := cut[k][to]
		for _, i := range by[from:to] {
			out[i] = k - 1
		}
		to = from
	}
	return out
}

// gapsOf are start gaps by mean times: the slowest bunch leaves at 0.
func gapsOf(times []float64, bunch []int) []float64 {
	count := slices.Max(bunch) + 1
	sum, n := make([]float64, count), make([]float64, count)
	for i, b := range bunch {
		sum[b], n[b] = sum[b]+times[i], n[b]+1
	}
	gaps := make([]float64, count)
	for b := range gaps {
		gaps[b] = sum[0]/n[0] - sum[b]/n[b]
	}
	return settle(gaps)
}

// settle rounds gaps to five seconds and lets the first start be at 0. Only
// differences count, so all are first moved by what leaves least to round.
func settle(gaps []float64) []float64 {
	least, best := math.Inf(1), 0.0
	for moved := 0.0; moved < gapStep; moved += 0.5 {
		off := 0.0
		for _, g := range gaps {
			d := math.Remainder(g+moved, gapStep)
			off += d * d
		}
		if off < least-1e-9 {
			least, best = off, moved
		}
	}
	out := make([]float64, len(gaps))
	for i, g := range gaps {
		out[i] = gapStep * math.Round((g+best)/gapStep)
	}
	first := slices.Min(out)
	for i := range out {
		out[i] -= first
	}
	return out
}

// handicapRun is one simulated handicap.
type handicapRun struct {
	arrive []float64 // s after the first start
	power  []float64 // logarithm of the day's critical power over the known
}

// run rides the group once with these gaps: the i-th draw of everybody.
func (q HandicapAsk) run(i int, bunch []int, gaps []float64) handicapRun {
	r := estimate.Stream(q.Seed, i)
	median, sd := capacity.RecoverySpread(capacity.Differential)
	shelter := Low + (High-Low)*Strength(r.Float64())
	out := handicapRun{make([]float64, len(q.Entrants)), make([]float64, len(q.Entrants))}
	riders := make([]Rider, len(q.Entrants))
	longest, good := 0.0, q.DaySD
	if good <= 0 {
		good = pacing.RepeatPower
	}
	for k, e := range q.Entrants {
		own := estimate.Stream(q.Seed^0x5eed, i*4096+k)
		c := e.Capacity.Draw(own)
		day := math.Exp(good * own.NormFloat64())
		c.CriticalPower, c.WPrime, c.Fade = c.CriticalPower*day, c.WPrime*day, c.Fade*day
		mass := math.Max(0.7*e.Mass, e.Mass+e.MassSD*own.NormFloat64())
		riders[k] = Rider{Name: e.Name, Capacity: c, Motion: motionOf(q.Road, mass), Recovery: median * math.Exp(sd*own.NormFloat64()),
			StartS: gaps[bunch[k]], Grit: gritOf(own), Leads: true}
		out.power[k] = math.Log(c.CriticalPower / e.Capacity.CriticalPower)
		longest = math.Max(longest, gaps[bunch[k]])
	}
	race := Race{Way: q.Way, Riders: riders, Shelter: Bunch(shelter), Tactics: q.Tactics, LastsS: q.Way.length / 9.5, Speed: q.Road.StartSpeed, Watch: -1}
	for k, x := range race.Run(r).Riders {
		out.arrive[k] = x.FinishS
		if math.IsNaN(x.FinishS) {
			out.arrive[k] = longest + 4*q.Way.length
		}
	}
	return out
}

// runs rides n draws from the first on.
func (q HandicapAsk) runs(ctx context.Context, first, n int, bunch []int, gaps []float64) ([]handicapRun, error) {
	out := make([]handicapRun, n)
	err := each(ctx, n, q.Workers, func(i int) { out[i] = q.run(first+i, bunch, gaps) })
	return out, err
}

// balance moves the gaps of bunches until the riders of each win together as
// often as is fair for so many. It rides the same races in every round, so that
// what changes is the gaps alone; wins are softened less and less and at last
// counted: riders who arrive together part in the sprint by tenths of a second,
// which softened wins would not see.
func (q HandicapAsk) balance(ctx context.Context, bunch []int, gaps []float64) ([]float64, error) {
	rounds := q.Rounds
	if rounds <= 0 {
		rounds = searchRounds
	}
	gaps = slices.Clone(gaps)
	fair := 1 / float64(len(bunch))
	for round := range rounds {
		counted := round >= rounds/2
		races := min(balanceRaces, 30*rounds)
		switch {
		case !counted:
			races /= 3
		case round >= rounds-2:
			races *= 2
		}
		runs, err := q.runs(ctx, 1<<22, races, bunch, gaps)
		if err != nil {
			return nil, err
		}
		won := wins(runs)
		if !counted {
			won = softWins(runs, closeShare/math.Pow(2, float64(round)))
		}
		step := math.Max(leastStep, meanSpread(runs)/2) / (1 + 0.4*float64(round))
		for b := range gaps {
			total, riders := 0.0, 0.0
			for i, w := range won {
				if bunch[i] == b {
					total, riders = total+w, riders+1
				}
			}
			gaps[b] += step * unfair(total/riders, fair)
		}
		first := slices.Min(gaps)
		for b := range gaps {
			gaps[b] -= first
		}
	}
	return settle(gaps), nil
}

// unfair is how far a chance is from a fair one, −1 to 1, as a logarithm with
// a floor so that who never won counts.
func unfair(chance, fair float64) float64 {
	return math.Max(-1, math.Min(1, math.Log((chance+0.01)/(fair+0.01))))
}

// meanSpread is the mean sd of arrivals within a race, s.
func meanSpread(runs []handicapRun) float64 {
	sum := 0.0
	for _, r := range runs {
		sum += spread(r.arrive)
	}
	return sum / float64(len(runs))
}

// wins is the share of races each rider wins.
func wins(runs []handicapRun) []float64 {
	won := make([]float64, len(runs[0].arrive))
	for _, r := range runs {
		won[first(r.arrive)] += 1 / float64(len(runs))
	}
	return won
}

// softWins is the share of wins by rider, each race shared out among those who
// came close, by how close these races are.
func softWins(runs []handicapRun, share float64) []float64 {
	close := math.Max(leastClose, math.Min(furthestClose, share*meanSpread(runs)))
	won := make([]float64, len(runs[0].arrive))
	for _, r := range runs {
		best, total := slices.Min(r.arrive), 0.0
		for _, t := range r.arrive {
			total += math.Exp(-(t - best) / close)
		}
		for k, t := range r.arrive {
			won[k] += math.Exp(-(t-best)/close) / total / float64(len(runs))
		}
	}
	return won
}

// tell rides the settled start list and says what to expect of it.
func (q HandicapAsk) tell(ctx context.Context, alone []float64, bunch []int, gaps []float64) (StartList, error) {
	runs, err := q.runs(ctx, 0, q.Races, bunch, gaps)
	if err != nil {
		return StartList{}, err
	}
	n := float64(q.Races)
	fair := 1 / float64(len(bunch))
	out := StartList{Gaps: gaps, FairSE: math.Sqrt(fair * (1 - fair) / n)}
	won := wins(runs)
	out.SpreadS = meanSpread(runs)
	for k, e := range q.Entrants {
		arrive, off, power := make([]float64, len(runs)), make([]float64, len(runs)), make([]float64, len(runs))
		for i, r := range runs {
			arrive[i], off[i], power[i] = r.arrive[k], r.arrive[k]-median(r.arrive), r.power[k]
		}
		p := won[k]
		out.Starts = append(out.Starts, Start{Name: e.Name, Bunch: bunch[k], GapS: gaps[bunch[k]], AloneS: alone[k], Chance: p,
			SE: math.Sqrt(math.Max(p*(1-p), fair/n) / n), ArriveS: estimate.FromDraws(arrive, "simulated races"), learn: regress(off, power)})
	}
	return out, nil
}

func first(times []float64) int {
	best := 0
	for i, t := range times {
		if t < times[best] {
			best = i
		}
	}
	return best
}

// spread is the standard deviation.
func spread(x []float64) float64 { return estimate.FromDraws(x, "").SD }

// regress is the least-squares line of power on arrival.
func regress(off, power []float64) regression {
	n, mean, level := float64(len(off)), 0.0, 0.0
	for i := range off {
		mean, level = mean+off[i]/n, level+power[i]/n
	}
	both, own := 0.0, 0.0
	for i := range off {
		both += (off[i] - mean) * (power[i] - level)
		own += (off[i] - mean) * (off[i] - mean)
	}
	if own == 0 {
		return regression{mean: mean}
	}
	return regression{perS: both / own, mean: mean}
}

// MostChange is the most that one result changes what a rider is taken to
// hold: 2 % of their power, up or down alike. Our judgement: what a fair
// handicapper may take from one good day.
const MostChange = 0.02

// Change is what a result says about one rider.
type Change struct {
	Name  string
	Share float64 // of critical power, −MostChange to MostChange; 0: nothing learnt
	Why   string  // a sentence
}

// Rehandicap reads arrivals (s after the first start, NaN for who did not come
// home) against a start list: whoever came earlier than the simulated races
// expected is taken to be stronger by as much as such an arrival went with in
// them, within MostChange. The same rule goes for all, in both directions; who
// did not finish stays as they are.
func (l StartList) Rehandicap(arrivals []float64) []Change {
	var home []float64
	for _, t := range arrivals {
		if !math.IsNaN(t) {
			home = append(home, t)
		}
	}
	out := make([]Change, len(l.Starts))
	for i, s := range l.Starts {
		out[i] = Change{Name: s.Name, Why: "did not finish: unchanged"}
		if math.IsNaN(arrivals[i]) || len(home) == 0 {
			continue
		}
		off := arrivals[i] - median(home) - s.learn.mean
		share := s.learn.perS * off
		out[i].Share = math.Max(-MostChange, math.Min(MostChange, share))
		switch {
		case share != out[i].Share:
			out[i].Why = "further off than one result may change: capped"
		case off < 0:
			out[i].Why = clock(-off) + " earlier than expected"
		default:
			out[i].Why = clock(off) + " later than expected"
		}
	}
	return out
}

// Changed is the rider with a result learnt.
func (m Me) Changed(c Change) Me {
	f := 1 + c.Share
	m.Capacity = m.Capacity.InHeat(func(int) float64 { return f })
	m.Capacity.CriticalPower *= f
	return m
}
