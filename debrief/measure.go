package debrief

import (
	"math"

	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/recording"
)

// Interval is an estimate as it is shown: mean with 10th and 90th percentile.
type Interval struct {
	Mean   float64 `json:"mean"`
	Low80  float64 `json:"low80"`
	High80 float64 `json:"high80"`
}

func interval(e estimate.Estimate) Interval { return Interval{e.Mean, e.Low80, e.High80} }

// Stretch is what a part of a ride comes to: all of it, a lap or step, a cue,
// a climb. What is not known is left out (zero).
type Stretch struct {
	Name  string  `json:"name,omitempty"`
	FromS float64 `json:"from_s"` // since the recording's start
	ToS   float64 `json:"to_s"`
	FromM float64 `json:"from_m,omitempty"` // along the course
	ToM   float64 `json:"to_m,omitempty"`

	MovingS     float64 `json:"moving_s"`                // outside pauses
	KnownS      float64 `json:"power_known_s"`           // of them, with power
	WorkJ       float64 `json:"work_j"`                  // where power is known
	MeanW       float64 `json:"mean_w"`                  // WorkJ over KnownS
	MaxW        float64 `json:"max_w,omitempty"`         // of one second
	EquivalentW float64 `json:"equivalent_w,omitempty"`  // gaps left out
	WPerKg      float64 `json:"w_per_kg,omitempty"`      // MeanW over the rider's mass
	MeanHeart   float64 `json:"mean_heart,omitempty"`    // bpm
	MaxHeart    float64 `json:"max_heart,omitempty"`     // bpm
	MeanCadence float64 `json:"mean_cadence,omitempty"`  // rpm, of turning cranks
	Speed       float64 `json:"speed_m_s,omitempty"`     // mean
	AscentM     float64 `json:"ascent_m,omitempty"`      //
	AscentRate  float64 `json:"ascent_m_h,omitempty"`    // m/h, of climbs
	AskedW      float64 `json:"asked_w,omitempty"`       // mean of what was asked
	BalanceEndJ float64 `json:"balance_end_j,omitempty"` // J of W′ left at its end
}

// Measures is what a ride comes to.
type Measures struct {
	Whole            Stretch         `json:"whole"`
	ShareOfThreshold float64         `json:"share_of_threshold,omitempty"`
	LoadTh           Interval        `json:"load_th,omitzero"` // threshold-hours, as sure as the threshold
	Trimp            *Trimp          `json:"trimp,omitempty"`
	Best             *MeanMax        `json:"-"` // every duration; Bests are some of them
	Bests            []Best          `json:"bests,omitempty"`
	Domains          *Domains        `json:"domains,omitempty"`
	Balance          *BalanceSeries  `json:"w_balance,omitempty"`
	Drift            *Drift          `json:"heart_drift,omitempty"`
	Recoveries       []HeartRecovery `json:"heart_recoveries,omitempty"`
	Cadence          *Cadence        `json:"cadence,omitempty"`
	Climbs           []Stretch       `json:"climbs,omitempty"`
	Laps             []Stretch       `json:"laps,omitempty"`
	Unsaid           []string        `json:"unsaid,omitempty"` // what cannot be said, and why, one sentence each
}

// Best is the highest mean power of a duration.
type Best struct {
	Seconds int     `json:"seconds"`
	Watts   float64 `json:"watts"`
	FromS   float64 `json:"from_s"` // since the recording's start
	FromM   float64 `json:"from_m,omitempty"`
	Share   float64 `json:"share_of_capacity,omitempty"` // of what the capacity before the ride allows
}

// MeasureRequest is a ride to be measured.
type MeasureRequest struct {
	Recording recording.Recording
	Source    string             // of power; "" as the ride went by it
	Rider     capacity.Rider     // mass, sex, maximal heart rate
	Capacity  *capacity.Capacity // before the ride, in displayed watts; nil: unknown
	Recovery  capacity.Recovery
	RestHeart float64 // bpm; 0 unknown
	// VT1 and VT2 are the heart rates (bpm) of the two ventilatory thresholds,
	// if they were measured; 0 unknown.
	VT1, VT2 float64
	Profile  *course.Profile // of the course; nil: from the recorded altitude, if any
	Seed     uint64
}

// Measure takes the measures of a ride. What cannot be said is listed with its
// reason and left out.
func Measure(q MeasureRequest) (Measures, error) {
	s, err := read(&q.Recording, q.Source)
	if err != nil {
		return Measures{}, err
	}
	return measure(q, s), nil
}

func measure(q MeasureRequest, s *seconds) Measures {
	m := Measures{Whole: s.stretch("", 0, s.n(), q.Rider.Mass)}
	m.Cadence = s.cadenceSummary()
	if m.Whole.KnownS == 0 {
		m.unsaid("No power was recorded, so that nothing is said of work, load and W′.")
	} else {
		if m.Whole.KnownS < 0.98*m.Whole.MovingS {
			m.unsaid("Power is missing for a part of the ride: equivalent power and load leave it out, a best counts it as nothing.")
		}
		best := MeanMaximal(s.filled())
		m.Best = &best
		m.Bests = s.bests(best, q.Capacity)
		m.byCapacity(q, s)
	}
	m.byHeart(q, s)
	m.Laps = s.laps(&q.Recording, q.Rider.Mass)
	if p, ok := s.profile(q.Profile); ok {
		m.Climbs = s.climbs(p, q.Rider.Mass)
	}
	if m.Balance != nil {
		for _, list := range [][]Stretch{m.Laps, m.Climbs} {
			for i := range list {
				list[i].BalanceEndJ = m.Balance.at(s, list[i].ToS)
			}
		}
	}
	return m
}

func (m *Measures) unsaid(sentence string) { m.Unsaid = append(m.Unsaid, sentence) }

func (m *Measures) byCapacity(q MeasureRequest, s *seconds) {
	if q.Capacity == nil {
		m.unsaid("The rider's capacity is not known, so that nothing is said of load, intensity domains and W′.")
		return
	}
	c := *q.Capacity
	t := c.ThresholdEstimate("the power-duration curve at one hour")
	eq, secs := m.Whole.EquivalentW, m.Whole.KnownS
	m.ShareOfThreshold = eq / t.Mean
	m.LoadTh = Interval{capacity.Load(secs, eq, t.Mean), capacity.Load(secs, eq, t.High80), capacity.Load(secs, eq, t.Low80)}
	m.Domains = s.domains(c, q.Seed)
	m.Balance = s.balance(c, q.Recovery, q.Seed)
}

// bests are the best of durations that grow by about a quarter, from five
// seconds to all of the ride: enough for a curve. Every duration is in Best.
func (s *seconds) bests(m MeanMax, c *capacity.Capacity) []Best {
	var out []Best
	n := len(m.Watts)
	for d := 5; d <= n; d = max(d+1, int(math.Round(1.25*float64(d)))) {
		w, start, _ := m.At(d)
		b := Best{Seconds: d, Watts: w, FromS: float64(start), FromM: known(s.position[start])}
		if c != nil {
			b.Share = w / c.Power(float64(d))
		}
		out = append(out, b)
	}
	return out
}

// known is 0 for what is not a number, so that it is left out of files.
func known(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}
