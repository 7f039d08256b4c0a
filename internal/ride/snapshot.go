package ride

import (
	"fmt"
	"math"
	"time"

	"chainline/internal/sensor"
	"chainline/session"
)

// Snapshot is all that a page or a terminal shows of one instant. Numbers are
// SI and displayed watts; sentences are ready to be shown.
type Snapshot struct {
	ID       string    `json:"id"`
	Title    string    `json:"title"`
	Sequence uint64    `json:"seq"`
	At       time.Time `json:"at"`
	Way      Way       `json:"way"`
	Stage    Stage     `json:"stage"`
	PausedBy string    `json:"paused_by,omitempty"`
	Bench    bool      `json:"bench,omitempty"`

	ClockS float64 `json:"clock_s"` // the ride's own time
	LeftS  float64 `json:"left_s"`  // to the end, about; 0 unknown
	GunInS float64 `json:"gun_in_s,omitempty"`

	Now  Instruction  `json:"now"`
	Then *Instruction `json:"then,omitempty"`
	You  You          `json:"you"`
	Left LeftSheet    `json:"left"`

	Course  *Place        `json:"course,omitempty"`
	Step    *Progress     `json:"step,omitempty"`  // of a session
	Found   []SensorSheet `json:"found,omitempty"` // heard and not connected, while the ride waits
	Sensors []SensorSheet `json:"sensors"`
	Brake   string        `json:"brake"` // a sentence on what the trainer was told
	Said    string        `json:"said,omitempty"`
	Notices []Notice      `json:"notices"`        // the last few, newest last
	Stop    string        `json:"stop,omitempty"` // stop pedalling: stands until it is over
	Plan    int           `json:"plan"`           // changes with every new plan: the strip is to be fetched anew
	Group   *GroupSheet   `json:"group,omitempty"`
}

// Instruction is what to do, now or next.
type Instruction struct {
	Words       string  `json:"words"` // "First climb, hold"
	Say         string  `json:"say,omitempty"`
	Watts       float64 `json:"watts,omitempty"` // 0: nothing to hold
	LowW        float64 `json:"low_w,omitempty"`
	HighW       float64 `json:"high_w,omitempty"`
	CadenceLow  float64 `json:"cadence_low,omitempty"`
	CadenceHigh float64 `json:"cadence_high,omitempty"`
	HeartLow    float64 `json:"heart_low,omitempty"`
	HeartHigh   float64 `json:"heart_high,omitempty"`
	Feel        string  `json:"feel,omitempty"`
	Gear        string  `json:"gear,omitempty"`
	WheelKmh    float64 `json:"wheel_kmh,omitempty"`
	InS         float64 `json:"in_s"`           // now: how long still; next: when. 0 unknown
	Ends        string  `json:"ends,omitempty"` // "until 30 % is left", when not by time
}

// You is what is measured of the rider.
type You struct {
	Watts   float64    `json:"watts"`
	State   PowerState `json:"state"`
	WPerKg  float64    `json:"w_per_kg"`
	Source  string     `json:"source,omitempty"`
	Cadence *float64   `json:"cadence,omitempty"`
	Heart   *float64   `json:"heart,omitempty"`
	WheelMS *float64   `json:"wheel_ms,omitempty"`
	SpeedMS float64    `json:"speed_ms"` // by our own physics
	WorkJ   float64    `json:"work_j"`
}

// LeftSheet is what is left of W′, in words that need no theory.
type LeftSheet struct {
	Share float64 `json:"share"`
	LastS float64 `json:"lasts_s,omitempty"` // at this effort; 0 when it would not run out
	Words string  `json:"words"`
}

// Place is where the ride is on a course.
type Place struct {
	AtM         float64 `json:"at_m"`
	LengthM     float64 `json:"length_m"`
	Gradient    float64 `json:"gradient"`
	FinishS     float64 `json:"finish_s"` // ride clock at the finish
	Low80       float64 `json:"low80_s"`
	High80      float64 `json:"high80_s"`
	ChanceEmpty float64 `json:"chance_empty"`
	Affordable  string  `json:"affordable,omitempty"`
	Cue         int     `json:"cue"` // index
	Advance     Advance `json:"advance"`
}

// Progress is where the ride is in a session.
type Progress struct {
	Index   int     `json:"index"`
	Of      int     `json:"of"`
	Turns   string  `json:"turns,omitempty"` // "2 of 3"
	IntoS   float64 `json:"into_s"`
	LengthS float64 `json:"length_s"` // 0 unknown
}

// SensorSheet is one device in a line.
type SensorSheet struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Health   string `json:"health"` // "well", "late", "lost", "looking"
	Words    string `json:"words"`
	Battery  string `json:"battery,omitempty"`
	Offset   bool   `json:"offset,omitempty"`    // its zero offset can be set
	SpinDown bool   `json:"spin_down,omitempty"` // it can be calibrated by a spin-down
}

// Snapshot is the ride at the last tick.
func (c *Core) Snapshot() Snapshot {
	s := Snapshot{ID: c.setup.ID, Title: c.setup.Title, Sequence: c.sequence, At: c.now, Way: c.setup.Way, Stage: c.stage, PausedBy: c.by,
		Bench: c.setup.Bench, ClockS: c.clock(), LeftS: c.leftToRide(), Now: c.instruction(), You: c.you(), Left: c.leftSheet(),
		Sensors: c.sensors(), Brake: c.brakeWords(), Notices: append([]Notice(nil), tail(c.noticed, 4)...), Plan: c.replan.changes}
	if c.stage == Waiting {
		s.Found = c.found()
	}
	if c.stage == Waiting && !c.setup.StartAt.IsZero() {
		s.GunInS = math.Max(0, c.setup.StartAt.Sub(c.now).Seconds())
	}
	if n, ok := c.then(); ok {
		s.Then = &n
	}
	if c.said != "" && c.now.Sub(c.saidAt) < sayFor {
		s.Said = c.said
	}
	if c.stop() {
		s.Stop = "The trainer does not hear us. Stop pedalling and shift down."
	}
	s.Group = c.groupSheet()
	if k := c.setup.Course; k != nil {
		s.Course = c.place(k)
	} else if leg, ok := c.follow.leg(); ok {
		s.Step = &Progress{Index: c.follow.index, Of: len(c.follow.legs), Turns: turnWords(leg.Turns), IntoS: c.follow.elapsed(c), LengthS: c.follow.length(leg)}
	}
	return s
}

func tail[T any](s []T, n int) []T { return s[max(0, len(s)-n):] }

func turnWords(turns []session.Count) string {
	words := ""
	for i, t := range turns {
		if i > 0 {
			words += ", "
		}
		words += fmt.Sprintf("%d of %d", t.N, t.Of)
	}
	return words
}

func (c *Core) place(k *Course) *Place {
	p := &Place{AtM: c.at, LengthM: k.Profile.Length(), Gradient: c.gradient(), FinishS: k.PlannedS, Low80: k.Low80, High80: k.High80,
		Cue: c.follow.index, Advance: k.Advance}
	if c.replan.has {
		n := c.replan.last
		p.FinishS, p.Low80, p.High80, p.ChanceEmpty, p.Affordable = n.FinishS, n.Low80, n.High80, n.ChanceEmpty, n.Affordable
	}
	return p
}

// instruction is what to do now.
func (c *Core) instruction() Instruction {
	if k := c.setup.Course; k != nil {
		if len(k.Cues) == 0 {
			return Instruction{Words: "Ride to the finish by feel"}
		}
		i := c.follow.cueAt(c, 0)
		n := cueInstruction(k.Cues[i])
		n.InS = c.cueLeft(k, i)
		return n
	}
	leg, ok := c.follow.leg()
	if !ok {
		return Instruction{Words: "Ride as you like"}
	}
	n := legInstruction(leg)
	n.Watts = 5 * math.Round(c.target()/5)
	if leg.Stage.Target.Ramp || leg.Lead != session.ByFeel {
		n.Watts = math.Round(c.target())
	}
	if leg.Lead == session.ByFeel {
		n.Watts = 0
	}
	if whole := c.follow.length(leg); whole > 0 {
		n.InS = math.Max(0, whole-c.follow.elapsed(c))
		n.Ends = ""
	}
	return n
}

func cueInstruction(q Cue) Instruction {
	return Instruction{Words: q.Name, Watts: q.Watts, LowW: q.Watts - 10, HighW: q.Watts + 10, Feel: q.Feel, HeartLow: q.HeartLow, HeartHigh: q.HeartHigh,
		Gear: q.Gear, WheelKmh: q.WheelKmh}
}

func legInstruction(leg session.Leg) Instruction {
	n := Instruction{Words: leg.Words, Say: leg.Say, Watts: leg.AimW, LowW: leg.LowW, HighW: leg.HighW, CadenceLow: leg.CadenceLow,
		CadenceHigh: leg.CadenceHigh, HeartLow: leg.HeartLow, HeartHigh: leg.HeartHigh, Feel: leg.Feel}
	if leg.Lead == session.ByFeel {
		n.Watts = 0
	}
	switch e := leg.End; e.Kind {
	case session.AfterDistance:
		n.Ends = fmt.Sprintf("for %.1f km", e.Metres/1000)
	case session.AtBalance:
		n.Ends = fmt.Sprintf("until %.0f %% is left", 100*e.Left)
		if e.Back {
			n.Ends = fmt.Sprintf("until %.0f %% is back", 100*e.Left)
		}
	case session.WhenSpent:
		n.Ends = "until you cannot go on"
	case session.AtWord:
		n.Ends = "until you say so"
	}
	return n
}

// cueLeft is how long a cue still lasts at the present speed, s.
func (c *Core) cueLeft(k *Course, i int) float64 {
	switch k.Advance {
	case ByKey:
		return 0
	case ByTime:
		if i+1 < len(k.Cues) {
			return math.Max(0, k.Cues[i+1].StartS-c.clock())
		}
		return math.Max(0, k.PlannedS-c.clock())
	default:
		// The speed to come is the plan's mean for the cue where there is one.
		v := c.speed
		if i+1 < len(k.Cues) && k.Cues[i+1].StartS > k.Cues[i].StartS {
			v = math.Max(v, 0.5*(k.Cues[i].ToM-k.Cues[i].FromM)/(k.Cues[i+1].StartS-k.Cues[i].StartS))
		}
		if v < 0.5 {
			return 0
		}
		return math.Max(0, (k.Cues[i].ToM-c.at)/v)
	}
}

// then is what comes next.
func (c *Core) then() (Instruction, bool) {
	if k := c.setup.Course; k != nil {
		i := c.follow.cueAt(c, 0)
		if i+1 >= len(k.Cues) {
			return Instruction{}, false
		}
		n := cueInstruction(k.Cues[i+1])
		n.InS = c.cueLeft(k, i)
		return n, true
	}
	leg, ok := c.follow.next()
	if !ok {
		return Instruction{}, false
	}
	n := legInstruction(leg)
	now, _ := c.follow.leg()
	if whole := c.follow.length(now); whole > 0 {
		n.InS = math.Max(0, whole-c.follow.elapsed(c))
	}
	return n, true
}

func (c *Core) you() You {
	y := You{Watts: c.watts, State: c.state, WPerKg: c.watts / c.setup.Rider.Mass, SpeedMS: c.speed, WorkJ: c.work}
	if s := c.power.all[c.power.used]; s != nil {
		y.Source = c.sourceName(s)
	}
	for _, p := range []struct {
		to   **float64
		from held
	}{{&y.Cadence, c.cadence}, {&y.Heart, c.heart}, {&y.WheelMS, c.wheelSpeed}} {
		if v, ok := p.from.fresh(c.now); ok {
			*p.to = &v
		}
	}
	return y
}

// leftSheet says what is left so that it needs no theory.
func (c *Core) leftSheet() LeftSheet {
	b := c.setup.Rider.Balance
	l := LeftSheet{Share: c.balance / b.WPrime}
	over := c.overs.mean - b.CriticalPower
	switch {
	case c.stage != Riding:
		l.Words = fmt.Sprintf("%.0f %% left for hard efforts", 100*l.Share)
	case c.balance <= 0:
		l.Words = "nothing left above a steady effort: ease off"
	case over > 2:
		l.LastS = c.balance / over
		if l.LastS > 1800 {
			l.LastS, l.Words = 0, "sustainable for half an hour and more"
			break
		}
		l.Words = "lasts " + clockWords(l.LastS) + " at this effort"
	case l.Share > 0.97:
		l.Words = "all there for hard efforts"
	default:
		l.Words = "coming back at this effort"
	}
	return l
}

func wattsWords(w float64) string { return fmt.Sprintf("%.0f W", w) }

func (c *Core) brakeWords() string {
	kind, value, told := c.gate.Told()
	switch {
	case c.setup.Way == Listening:
		return "We only listen: nothing is written to a trainer."
	case c.setup.Way == Showing:
		return "No brake is set: you set the watts by wheel speed and gear."
	case !told:
		return "The brake has not been told anything yet."
	case kind == sensor.TargetPower:
		return fmt.Sprintf("The brake was told %.0f W.", value)
	case kind == sensor.TargetGradient:
		return fmt.Sprintf("The brake was told a slope of %.1f %%.", 100*value)
	default:
		return fmt.Sprintf("The brake was told %.0f %% of its range.", 100*value)
	}
}

func (c *Core) sensors() []SensorSheet {
	var out []SensorSheet
	for _, d := range c.hub.Devices() {
		if !d.Saved && !c.links[d.ID] {
			continue
		}
		s := SensorSheet{ID: d.ID, Name: d.Name, Words: d.Sentence(), Health: "well"}
		switch {
		case !c.links[d.ID] && d.Spoke.IsZero():
			s.Health = "looking"
		case !c.links[d.ID]:
			s.Health = "lost"
		case c.now.Sub(d.Spoke) > carry:
			s.Health = "late"
		}
		s.Offset, s.SpinDown = d.TakesOffset && c.links[d.ID], d.Brake.SpinDown && c.links[d.ID]
		if d.HasBattery {
			s.Battery = fmt.Sprintf("%.0f %%", 100*d.Battery)
		}
		out = append(out, s)
	}
	return out
}

// found are the devices that were heard and that nobody connected.
func (c *Core) found() []SensorSheet {
	var out []SensorSheet
	for _, d := range c.hub.Devices() {
		if d.Saved || c.links[d.ID] || d.Heard.IsZero() || c.now.Sub(d.Heard) > foundFor || len(out) == mostFound {
			continue
		}
		out = append(out, SensorSheet{ID: d.ID, Name: d.Name, Health: "heard", Words: d.Sentence()})
	}
	return out
}

// How long a device that is heard no more is still offered, and how many are:
// a block of flats is full of radios.
const (
	foundFor  = 30 * time.Second
	mostFound = 12
)
