package debrief

import (
	"context"
	"math"
	"slices"
	"sort"

	"chainline/brief"
	"chainline/course"
	"chainline/pacing"
	"chainline/physics"
)

// Planned is the brief a ride was ridden by, with what it was made from
// (brief.MakeRide gives both).
type Planned struct {
	Brief brief.Brief
	From  brief.Ridden
}

// Actual is what is known after the ride and was not before. The zero value
// knows nothing.
type Actual struct {
	MassKg float64 // of the rider; 0: as planned
	// Gain is how many watts the ride's source shows for each that the plan
	// was made in, as a rig check or a second source has it; 0: not known.
	Gain     float64
	GainFrom string
	Road     *physics.Road   // as fitted from rides; nil: not known
	Profile  *course.Profile // as ridden, surveyed afterwards; nil: not known
	// GunS is the second of the recording at which the race began; 0: when the
	// rider moved.
	GunS float64
}

// Against is a ride against its plan. Seconds count from the start, pauses
// left out.
type Against struct {
	Finished  bool    `json:"finished"`
	RiddenS   float64 `json:"ridden_s,omitempty"`   // if finished
	PlanS     float64 `json:"plan_s"`               // the plan on its own road
	ForecastS float64 `json:"forecast_s"`           // its median
	Low80S    float64 `json:"forecast_low80_s"`     //
	High80S   float64 `json:"forecast_high80_s"`    //
	Faster    float64 `json:"faster_rides"`         // share of the forecast's rides that were faster than this one
	OffS      float64 `json:"off_s,omitempty"`      // ridden less forecast, s
	PausedS   float64 `json:"paused_s,omitempty"`   // left out
	BehindAtM float64 `json:"reached_m,omitempty"`  // where a ride that was not finished ended
	MeanOffW  float64 `json:"mean_off_w,omitempty"` // ridden less planned, mean over the ridden time

	Line   []LinePoint `json:"line,omitempty"`
	Cues   []CueRidden `json:"cues,omitempty"`
	Split  *Split      `json:"split,omitempty"`
	Best   *BestRide   `json:"best,omitempty"`
	Unsaid []string    `json:"unsaid,omitempty"`
}

// LinePoint is plan and ride at one place: watts are means since the point
// before.
type LinePoint struct {
	M         float64 `json:"m"`
	Elevation float64 `json:"elevation_m"`
	PlannedW  float64 `json:"planned_w"`
	RiddenW   float64 `json:"ridden_w"`
	PlannedS  float64 `json:"planned_s"`
	RiddenS   float64 `json:"ridden_s"`
}

// CueRidden is what became of a cue. OffW and OffS are ridden less planned.
type CueRidden struct {
	Number   int     `json:"number"`
	Name     string  `json:"name"`
	FromM    float64 `json:"from_m"`
	ToM      float64 `json:"to_m"`
	Ridden   bool    `json:"ridden"` // to its end
	PlannedW float64 `json:"planned_w"`
	RiddenW  float64 `json:"ridden_w"`
	OffW     float64 `json:"off_w"`
	PlannedS float64 `json:"planned_s"`
	RiddenS  float64 `json:"ridden_s"`
	OffS     float64 `json:"off_s"`
	Gradient float64 `json:"gradient"` // mean, fraction
	SpreadW  float64 `json:"spread_w"` // standard deviation of the seconds about their mean
}

// track is the ride along the course: place and work at every full second of
// the clock, which stands in pauses.
type track struct {
	metres  []float64 // rising; [0] is 0
	work    []float64 // J so far
	known   []float64 // s with power so far
	watts   []float64 // of each second, NaN in gaps
	paused  float64   // s left out
	late    float64   // s between the gun and the first metre
	started int       // second of the recording
}

// moved is the place in metres from which on a rider has started.
const moved = 0.05

// along is the ride from its start; false: no place was recorded.
func (s *seconds) along(gun float64) (*track, bool) {
	start := slices.IndexFunc(s.position, func(m float64) bool { return m > moved })
	if start < 0 {
		return nil, false
	}
	t := &track{metres: []float64{0}, work: []float64{0}, known: []float64{0}, started: start}
	if gun > 0 {
		t.late = math.Max(0, float64(start)-gun)
	}
	for i := start; i < s.n(); i++ {
		if s.paused[i] {
			t.paused++
			continue
		}
		k := len(t.work) - 1
		w, one := s.watts[i], 1.0
		t.watts = append(t.watts, w)
		if math.IsNaN(w) {
			w, one = 0, 0
		}
		t.metres = append(t.metres, math.Max(t.metres[k], s.position[i]))
		t.work, t.known = append(t.work, t.work[k]+w), append(t.known, t.known[k]+one)
	}
	return t, true
}

// end is the last place that was reached, m.
func (t *track) end() float64 { return t.metres[len(t.metres)-1] }

// passes is the second on the clock at which a place is reached; false: never.
func (t *track) passes(m float64) (float64, bool) {
	if m <= 0 {
		return 0, true
	}
	if m > t.end() {
		return 0, false
	}
	i := sort.SearchFloat64s(t.metres, m) // ≥ 1, for metres[0] is 0
	before := t.metres[i-1]
	return float64(i-1) + (m-before)/(t.metres[i]-before), true
}

// mean is the mean power (W) between two seconds of the clock; NaN if none of
// it is known.
func (t *track) mean(from, to float64) float64 {
	known := at(t.known, to) - at(t.known, from)
	if known <= 0 {
		return math.NaN()
	}
	return (at(t.work, to) - at(t.work, from)) / known
}

// at reads between the values of full seconds.
func at(v []float64, second float64) float64 {
	i := min(len(v)-2, int(second))
	return v[i] + (second-float64(i))*(v[i+1]-v[i])
}

// over is the mean power between two places, as far as they were reached.
func (t *track) over(from, to float64) float64 {
	a, ok := t.passes(math.Min(from, t.end()))
	b, _ := t.passes(math.Min(to, t.end()))
	if !ok || b <= a {
		return math.NaN()
	}
	return t.mean(a, b)
}

// finishes within finishSlack metres of the course's end: a place is recorded
// once a second, and a measured course differs.
func (t *track) finishes(length float64) (seconds float64, ok bool) {
	slack := math.Max(5, 0.01*length)
	if t.end() < length-slack {
		return 0, false
	}
	return t.passes(math.Min(length, t.end()))
}

// against compares a ride with its plan.
func against(ctx context.Context, p Planned, a Actual, s *seconds, outdoors bool) (*Against, error) {
	b := p.Brief
	out := &Against{PlanS: b.Plan.Time, ForecastS: b.Forecast.Median, Low80S: b.Forecast.Low80, High80S: b.Forecast.High80}
	t, ok := s.along(a.GunS)
	if !ok {
		out.unsaid("The recording has no places, so that the ride cannot be laid over its plan.")
		return out, nil
	}
	out.PausedS = t.paused
	out.Line = line(b.Plan.Trace, t)
	for _, c := range b.Plan.Cues {
		if x, ok := t.cue(c); ok {
			if p := p.From.Ask.World.Profile; len(p.Distance) > 1 {
				x.Gradient = gradientOver(p, c.FromM, c.ToM)
			}
			out.Cues = append(out.Cues, x)
		}
	}
	out.MeanOffW = meanOff(out.Line)
	length := b.Course.Distance
	if a.Profile != nil {
		length = a.Profile.Length()
	}
	if out.RiddenS, out.Finished = t.finishes(length); !out.Finished {
		out.BehindAtM = t.end()
		out.unsaid("The ride was not finished, so that nothing is said of the forecast.")
		return out, nil
	}
	out.RiddenS += t.late
	out.OffS = out.RiddenS - out.ForecastS
	times := p.From.Result.Forecast.Times
	if len(times) > 0 {
		out.Faster = float64(sort.SearchFloat64s(times, out.RiddenS)) / float64(len(times))
	}
	if p.From.Ask.World.Sketch != nil || len(p.From.Result.Plan.Plan) == 0 {
		out.unsaid("Before the ride the course was only a sketch, so that nothing is said of why the forecast was off.")
		return out, nil
	}
	g := newGame(p, a, t, outdoors)
	out.Split = g.split(out.RiddenS, out.ForecastS)
	var err error
	out.Best, err = g.best(ctx)
	return out, err
}

func (a *Against) unsaid(sentence string) { a.Unsaid = append(a.Unsaid, sentence) }

// Held are the cues that were ridden to their end, as LearnStrays needs them.
func (a Against) Held() []Held {
	total := 0.0
	for _, c := range a.Cues {
		total += c.RiddenS
	}
	var out []Held
	gone := 0.0
	for _, c := range a.Cues {
		if c.Ridden && c.PlannedW > 0 {
			out = append(out, Held{Gradient: c.Gradient, Into: (gone + c.RiddenS/2) / total, Seconds: c.RiddenS, PlannedW: c.PlannedW, RiddenW: c.RiddenW})
		}
		gone += c.RiddenS
	}
	return out
}

// Foretold is the forecast of the finish time (s) and what came of it; false:
// the ride was not finished.
func (a Against) Foretold() (Foretold, bool) {
	return Foretold{Predicted: Interval{a.ForecastS, a.Low80S, a.High80S}, Actual: a.RiddenS}, a.Finished
}

func line(trace []brief.TracePoint, t *track) []LinePoint {
	var out []LinePoint
	for i := 1; i < len(trace); i++ {
		x, before := trace[i], trace[i-1]
		seconds, ok := t.passes(x.M)
		if !ok {
			break
		}
		w := t.over(before.M, x.M)
		if math.IsNaN(w) {
			continue // no power was heard there: a gap in the line
		}
		out = append(out, LinePoint{M: x.M, Elevation: x.Elevation, PlannedW: before.Watts, RiddenW: w, PlannedS: x.Seconds, RiddenS: seconds})
	}
	return out
}

// meanOff is ridden less planned watts over the time ridden.
func meanOff(points []LinePoint) float64 {
	sum, before := 0.0, 0.0
	for _, p := range points {
		sum += (p.RiddenW - p.PlannedW) * (p.RiddenS - before)
		before = p.RiddenS
	}
	if before == 0 {
		return 0
	}
	return sum / before
}

// cue is what became of a cue; false: it was never reached, or no power was
// heard in it.
func (t *track) cue(c brief.Cue) (CueRidden, bool) {
	out := CueRidden{Number: c.Number, Name: c.Name, FromM: c.FromM, ToM: c.ToM, PlannedW: c.Watts, PlannedS: c.LastS}
	from, ok := t.passes(c.FromM)
	if !ok {
		return out, false
	}
	to := 0.0
	if to, out.Ridden = t.passes(c.ToM); !out.Ridden {
		to, _ = t.passes(t.end())
	}
	w := t.mean(from, to)
	if math.IsNaN(w) {
		return out, false
	}
	out.RiddenW, out.OffW, out.RiddenS = w, w-c.Watts, to-from
	if out.Ridden {
		out.OffS = out.RiddenS - c.LastS
	}
	squares, n := 0.0, 0.0
	for _, x := range t.watts[int(from):min(len(t.watts), int(math.Ceil(to)))] {
		if !math.IsNaN(x) {
			squares += (x - w) * (x - w)
			n++
		}
	}
	out.SpreadW = math.Sqrt(squares / math.Max(1, n))
	return out, true
}

// wattsAt is a plan's power at a place.
func wattsAt(plan []pacing.Piece, m float64) float64 {
	i := sort.Search(len(plan), func(i int) bool { return plan[i].To > m })
	return plan[min(i, len(plan)-1)].Watts
}
