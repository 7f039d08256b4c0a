package race

import (
	"context"
	"math"
	"math/rand/v2"
	"slices"
	"sync"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/pacing"
	"chainline/physics"
)

// Ask is a forecast of one category.
type Ask struct {
	Way     *Way
	Me      Me
	Road    physics.Road
	BikeSD  float64 // kg
	DragSD  float64 // m²
	CrrSD   float64
	Form    capacity.Recovery
	Field   Field
	Tactics Tactics
	Races   int // for each of the three shelters
	Seed    uint64
	Workers int
}

// Outlook is what the races say of one category.
type Outlook struct {
	Category Category
	Standing Standing
	Races    int // in all
	// Chance of finishing with the front group, over all shelters, with the
	// standard error of so many races; ByShelter for low, middling and high.
	Chance, ChanceSE float64
	ByShelter        [3]float64
	Along            []AlongPoint
	LostS            estimate.Estimate // s behind the fifth, in races in which the rider was dropped
	FinishS          estimate.Estimate // s
	Place            estimate.Estimate
	Moments          []Moment          // where most is decided, most first
	OpeningW         estimate.Estimate // W over the first five minutes
	MeanW            estimate.Estimate // W over the whole race
	FrontOpeningW    float64           // W, median of the opening in races in which the front group was held
	OverLimit        float64           // chance of showing more than the category's limit over its duration in the race itself
	LeftJ            float64           // J, median W′ left a kilometre before the line in races in which the front group was held; 0 if never
	SpeedMS          float64           // m/s, median mean speed of the front group
}

// AlongPoint is the chance of being with the front group at a place.
type AlongPoint struct {
	M                 float64
	Low, Middle, High float64
}

// Moment is a stretch of the course where riders like this one are dropped.
type Moment struct {
	FromM, ToM float64
	Gradient   float64 // fraction, mean
	Share      float64 // of the races in which the rider is dropped at all
	Watts      float64 // W, what it took in the races in which the wheel was held
	Seconds    float64 // s it took then
	OverJ      float64 // J above critical power it took then
}

// mine is one race as the forecast keeps it.
type mine struct {
	ridden  Ridden
	trace   *Trace
	fifthS  float64
	over    bool
	wPrime  float64
	shelter int
}

// shelterDoubt is how far a race's shelter may be from the low, middling or
// high one it is told under. Our judgement.
const shelterDoubt = 0.1

// formSD is the rider's day, as in pacing.
const formSD = pacing.RepeatPower / math.Sqrt2

// Forecast rides the category's races with the rider in them as a ghost, the
// same races for every rider with the same seed, spread over the workers; the
// result is the same for any number of them.
func Forecast(ctx context.Context, q Ask) (Outlook, error) {
	lasts := q.lasts()
	n := 3 * q.Races
	all := make([]mine, n)
	err := each(ctx, n, q.Workers, func(i int) { all[i] = q.one(i, lasts) })
	if err != nil {
		return Outlook{}, err
	}
	return q.sum(all), nil
}

// each does work on 0 to n−1 with so many workers.
func each(ctx context.Context, n, workers int, work func(i int)) error {
	var group sync.WaitGroup
	next := make(chan int)
	for range max(1, workers) {
		group.Go(func() {
			for i := range next {
				if ctx.Err() == nil {
					work(i)
				}
			}
		})
	}
	for i := range n {
		next <- i
	}
	close(next)
	group.Wait()
	return ctx.Err()
}

// lasts is about how long the race takes, from one race of its own.
func (q Ask) lasts() float64 {
	r := estimate.Stream(q.Seed, 1<<43)
	guess := q.Way.length / 9.5
	race := Race{Way: q.Way, Riders: q.Field.Draw(r, q.Road, guess), Shelter: Bunch(Middle), Tactics: q.Tactics, LastsS: guess, Speed: q.Road.StartSpeed, Watch: -1}
	if s := race.Run(r).FirstS; s > 0 {
		return s
	}
	return guess
}

// rider is one of the riders that I may be on the day.
func (q Ask) rider(r *rand.Rand) (Rider, float64) {
	c := q.Me.Capacity.Draw(r)
	var z [6]float64
	for i := range z {
		z[i] = r.NormFloat64()
	}
	road := q.Road.Changed(q.BikeSD*z[0], q.DragSD*z[1], q.CrrSD*z[2])
	mass := math.Max(0.7*q.Me.Mass, q.Me.Mass+q.Me.MassSD*z[3])
	day := math.Exp(formSD * z[4])
	c.CriticalPower, c.WPrime, c.MaxPower, c.Fade = c.CriticalPower*day, c.WPrime*day, math.Max(c.MaxPower, 1.2*c.CriticalPower*day), c.Fade*day
	median, sd := capacity.RecoverySpread(q.Form)
	return Rider{Name: q.Me.Name, Capacity: c, Motion: road.Motion(mass), Form: q.Form, Recovery: median * math.Exp(sd*z[5]), Grit: gritOf(r), Ghost: true}, mass
}

func (q Ask) one(i int, lasts float64) mine {
	shelter := i % 3
	r := estimate.Stream(q.Seed, i/3)
	me, _ := q.rider(estimate.Stream(q.Seed^0xc0ffee, i/3))
	strength := Strengths[shelter] + shelterDoubt*Strength(2*r.Float64()-1)
	riders := append(q.Field.doubted(r).Draw(r, q.Road, lasts), me)
	race := Race{Way: q.Way, Riders: riders, Shelter: Bunch(min(1, strength)), Tactics: q.Tactics, LastsS: lasts, Speed: q.Road.StartSpeed, Watch: len(riders) - 1}
	res := race.Run(r)
	out := mine{ridden: res.Riders[len(riders)-1], trace: res.Trace, fifthS: res.FifthS, wPrime: me.Capacity.WPrime, shelter: shelter}
	if limit := q.Field.Category.max(); !math.IsInf(limit, 1) {
		out.over = res.Trace.Best(q.Field.Category.over())/q.Me.Mass > limit
	}
	res.Trace.Power = nil
	return out
}

func (q Ask) sum(all []mine) Outlook {
	o := Outlook{Category: q.Field.Category, Standing: q.Field.Category.Stand(q.Me, q.Seed), Races: len(all)}
	held, over := [3]int{}, 0
	var lost, finish, place, opening, mean, frontOpening, left, speed []float64
	for _, m := range all {
		if m.ridden.Front {
			held[m.shelter]++
			frontOpening = append(frontOpening, m.ridden.OpeningW)
			left = append(left, m.wPrime*m.trace.Balance[tracePieces-max(1, min(tracePieces/2, int(math.Ceil(1000/m.trace.PieceM))))])
		} else if !math.IsNaN(m.ridden.FinishS) {
			lost = append(lost, m.ridden.FinishS-m.fifthS)
		}
		if m.over {
			over++
		}
		if !math.IsNaN(m.ridden.FinishS) {
			finish, place = append(finish, m.ridden.FinishS), append(place, float64(m.ridden.Place))
			mean = append(mean, m.ridden.MeanW)
		}
		opening = append(opening, m.ridden.OpeningW)
		speed = append(speed, q.Way.length/m.fifthS)
	}
	per := float64(len(all)) / 3
	for k, h := range held {
		o.ByShelter[k] = float64(h) / per
		o.Chance += o.ByShelter[k] / 3
	}
	// The three shelters ride the same races: their errors do not average out.
	o.ChanceSE = math.Sqrt(math.Max(o.Chance*(1-o.Chance), 1/per) / per)
	o.OverLimit = float64(over) / float64(len(all))
	o.LostS, o.FinishS, o.Place = sumUp(lost), sumUp(finish), sumUp(place)
	o.OpeningW, o.MeanW = sumUp(opening), sumUp(mean)
	o.FrontOpeningW, o.LeftJ, o.SpeedMS = median(frontOpening), median(left), median(speed)
	o.Along, o.Moments = q.along(all), q.moments(all)
	return o
}

func sumUp(x []float64) estimate.Estimate {
	if len(x) == 0 {
		return estimate.Estimate{}
	}
	return estimate.FromDraws(x, "simulated races")
}

func median(x []float64) float64 {
	if len(x) == 0 {
		return 0
	}
	s := slices.Clone(x)
	slices.Sort(s)
	return estimate.Quantile(s, 0.5)
}

// alongPoints is how many places the chance is told at.
const alongPoints = 20

func (q Ask) along(all []mine) []AlongPoint {
	out := make([]AlongPoint, alongPoints+1)
	per := float64(len(all)) / 3
	for i := range out {
		at := q.Way.length * float64(i) / alongPoints
		var with [3]int
		for _, m := range all {
			if i == 0 || m.ridden.DroppedM >= at-1e-6 {
				with[m.shelter]++
			}
		}
		out[i] = AlongPoint{M: at, Low: float64(with[0]) / per, Middle: float64(with[1]) / per, High: float64(with[2]) / per}
	}
	return out
}

const (
	momentPieces = 4    // pieces of the trace that make one moment
	mostMoments  = 3    // more nobody remembers
	leastMoment  = 0.08 // of the races dropped in: less is no moment
)

// moments are the stretches where most is lost, each with what it took to hold
// the wheel there.
func (q Ask) moments(all []mine) []Moment {
	piece := q.Way.length / tracePieces
	drops, counts := 0, make([]float64, tracePieces)
	for _, m := range all {
		if !m.ridden.Front {
			counts[min(tracePieces-1, int(m.ridden.DroppedM/piece))]++
			drops++
		}
	}
	if drops == 0 {
		return nil
	}
	var out []Moment
	var taken [tracePieces]bool
	for range mostMoments {
		best, most := -1, leastMoment*float64(drops)
		for i := range tracePieces - momentPieces + 1 {
			sum, free := 0.0, true
			for k := i; k < i+momentPieces; k++ {
				sum, free = sum+counts[k], free && !taken[k]
			}
			if free && sum > most {
				best, most = i, sum
			}
		}
		if best < 0 {
			break
		}
		out = append(out, q.moment(all, best, most/float64(drops)))
		for i := best; i < best+momentPieces; i++ {
			taken[i] = true
		}
	}
	return out
}

func (q Ask) moment(all []mine, from int, share float64) Moment {
	piece := q.Way.length / tracePieces
	m := Moment{FromM: float64(from) * piece, ToM: float64(from+momentPieces) * piece, Share: share}
	m.Gradient = (q.Way.Profile.At(m.ToM) - q.Way.Profile.At(m.FromM)) / (m.ToM - m.FromM)
	var watts, took, spent []float64
	for _, r := range all {
		if r.ridden.DroppedM < m.ToM {
			continue
		}
		work, seconds, over := 0.0, 0.0, 0.0
		for i := from; i < from+momentPieces; i++ {
			work, seconds, over = work+r.trace.Watts[i]*r.trace.Seconds[i], seconds+r.trace.Seconds[i], over+r.trace.OverJ[i]
		}
		if seconds > 0 {
			watts, took, spent = append(watts, work/seconds), append(took, seconds), append(spent, over)
		}
	}
	m.Watts, m.Seconds, m.OverJ = median(watts), median(took), median(spent)
	return m
}
