package race

import (
	"math"
	"slices"

	"chainline/physics"
)

// Result is what came of one race.
type Result struct {
	Riders  []Ridden
	FirstS  float64 // s from the gun to the first over the line
	FifthS  float64 // s, the fifth: the front group ends five seconds behind
	Trace   *Trace  // of the rider watched; nil without one
	Winners int     // index of the first over the line
}

// Ridden is one rider's race.
type Ridden struct {
	FinishS   float64 // s from the first start; NaN for who did not come home
	Place     int     // from 1, by FinishS; ghosts are placed among the others
	Front     bool    // home with the front group: within five seconds of the fifth
	DroppedM  float64 // m, where the front group was last seen; the course's length if it never left
	MeanW     float64 // W over the whole
	OpeningW  float64 // W over the first five minutes
	LowestJ   float64 // J, least W′ balance
	OverJ     float64 // J spent above critical power
	Energy    physics.Energy
	LastSpeed float64 // m/s
}

// Trace is one rider's race along the course.
type Trace struct {
	PieceM  float64   // m, length of its pieces
	Seconds []float64 // s spent in each piece
	Watts   []float64 // W, mean
	Balance []float64 // share of W′ left, least in the piece
	Shelter []float64 // share of drag left, mean
	OverJ   []float64 // J above critical power
	StepS   float64   // s, of Power
	Power   []float32 // W, step by step from the rider's start
}

// Best is the highest mean power in watts over a duration in seconds, or the
// mean over the whole race if that was shorter.
func (t *Trace) Best(seconds float64) float64 {
	n := min(len(t.Power), max(1, int(math.Round(seconds/t.StepS))))
	sum, best := 0.0, 0.0
	for i, p := range t.Power {
		sum += float64(p)
		if i >= n {
			sum -= float64(t.Power[i-n])
		}
		if i >= n-1 {
			best = math.Max(best, sum/float64(n))
		}
	}
	return best
}

// tracePieces is how many pieces a course is traced in.
const tracePieces = 100

func newTrace(w *Way, stepS float64) *Trace {
	t := &Trace{PieceM: w.length / tracePieces, StepS: stepS}
	t.Seconds, t.Watts, t.Balance = make([]float64, tracePieces), make([]float64, tracePieces), make([]float64, tracePieces)
	t.Shelter, t.OverJ = make([]float64, tracePieces), make([]float64, tracePieces)
	for i := range t.Balance {
		t.Balance[i] = 1
	}
	return t
}

func (t *Trace) add(x, watts, balance, shelter, cp, dt float64) {
	i := min(tracePieces-1, max(0, int(x/t.PieceM)))
	t.Seconds[i] += dt
	t.Watts[i] += watts * dt
	t.Shelter[i] += shelter * dt
	t.Power = append(t.Power, float32(watts))
	t.OverJ[i] += math.Max(0, watts-cp) * dt
	t.Balance[i] = math.Min(t.Balance[i], balance)
}

func (f *field) result() Result {
	out := Result{Riders: make([]Ridden, len(f.riders)), FirstS: math.NaN(), FifthS: math.NaN()}
	var homes []float64 // without ghosts
	for i := range f.riders {
		if m := &f.riders[i]; !m.ghost && !math.IsNaN(m.finish) {
			homes = append(homes, m.finish)
		}
	}
	slices.Sort(homes)
	if len(homes) > 0 {
		out.FirstS, out.FifthS = homes[0], homes[min(fifth, len(homes))-1]
	}
	for i := range f.riders {
		out.Riders[i] = f.ridden(&f.riders[i], homes, out.FifthS)
		if f.riders[i].finish == out.FirstS && !f.riders[i].ghost {
			out.Winners = i
		}
	}
	if t := f.trace; t != nil {
		for i, s := range t.Seconds {
			if s > 0 {
				t.Watts[i] /= s
				t.Shelter[i] /= s
			}
		}
		out.Trace = t
	}
	return out
}

func (f *field) ridden(m *mover, homes []float64, fifthS float64) Ridden {
	r := Ridden{FinishS: m.finish, DroppedM: m.lastFront, LowestJ: m.lowest, OverJ: m.over, LastSpeed: m.v}
	r.Place = 1
	for _, t := range homes {
		if t < m.finish || math.IsNaN(m.finish) {
			r.Place++
		}
	}
	lasted := m.finish - m.start
	r.MeanW = m.crank / lasted
	if m.earlyS > 0 {
		r.OpeningW = m.early / m.earlyS
	}
	r.Front = m.finish <= fifthS+frontS
	if r.Front {
		r.DroppedM = f.length
	}
	v0 := f.Speed
	r.Energy = physics.Energy{Crank: m.crank, Wheel: m.wheel, Air: m.air, Rolling: m.rolled, Bearings: m.borne, Potential: m.climbed,
		Kinetic: 0.5 * m.inertial * (m.v*m.v - v0*v0), Braking: m.braked}
	return r
}
