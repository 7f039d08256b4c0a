package service

import (
	"math"
	"sort"

	"chainline/recording"
	"chainline/rig"
	"chainline/session"
)

// When the parts of a guided check were ridden, what earlier rides say, and
// the wheel that runs down.

// phasesOf finds the parts of the guided check in a recording: by the laps'
// words where the session is known, else by their order where a recording of
// the name has as many laps as the check has steps. Pauses are cut out.
func phasesOf(r *recording.Recording, legs []session.Leg) []rig.Phase {
	laps := lapsOf(r)
	if legs == nil {
		legs = libraryCheck()
		if !session.IsRigCheck(session.Session{Name: r.Title}) || len(laps) != len(legs) {
			return nil
		}
		for i := range laps {
			laps[i].words = legs[i].Words // this recording's own watts stand in Target
		}
	}
	parts := session.CheckParts(legs)
	var out []rig.Phase
	next := 0
	for i, lap := range laps {
		leg := legOf(legs, next, lap.words)
		if leg < 0 {
			continue
		}
		next = leg + 1
		if parts[leg] == "" {
			continue
		}
		to := r.End()
		if i+1 < len(laps) {
			to = laps[i+1].at
		}
		watts := meanOf(r, recording.Target, lap.at, to)
		for _, s := range ridden(r, lap.at, to) {
			out = append(out, rig.Phase{Kind: rig.PhaseKind(parts[leg]), From: s[0], To: s[1], Watts: watts,
				Cadence: (legs[leg].CadenceLow + legs[leg].CadenceHigh) / 2})
		}
	}
	return out
}

func libraryCheck() []session.Leg {
	x, _ := session.Find(session.RigCheckID)
	scaled, _, err := session.Scale(x.Session(), session.View{ThresholdW: 200, CriticalPowerW: 200, WPrimeJ: 15000, MaxPowerW: 800})
	if err != nil {
		panic("service: the rig check cannot be scaled: " + err.Error())
	}
	return scaled.Legs
}

type lap struct {
	at    float64
	words string
}

func lapsOf(r *recording.Recording) []lap {
	var out []lap
	for _, m := range r.Marks {
		if m.Kind == recording.Lap {
			out = append(out, lap{m.Seconds, m.Words})
		}
	}
	return out
}

// legOf is the leg a lap's words are of: the next one that reads so, or one
// before it that was ridden again; −1 for none.
func legOf(legs []session.Leg, next int, words string) int {
	for i := next; i < len(legs); i++ {
		if legs[i].Words == words {
			return i
		}
	}
	for i := min(next, len(legs)) - 1; i >= 0; i-- {
		if legs[i].Words == words {
			return i
		}
	}
	return -1
}

// ridden are the stretches between two times that were not paused, of a second
// or more.
func ridden(r *recording.Recording, from, to float64) [][2]float64 {
	var out [][2]float64
	at, paused := from, false
	add := func(end float64) {
		if end-at >= 1 {
			out = append(out, [2]float64{at, end})
		}
	}
	for _, m := range r.Marks {
		switch {
		case m.Kind == recording.Pause && !paused:
			if m.Seconds > from {
				add(math.Min(m.Seconds, to))
			}
			paused = true
		case m.Kind == recording.Resume && paused:
			at, paused = math.Max(from, m.Seconds), false
		}
		if m.Seconds >= to {
			break
		}
	}
	if !paused {
		add(to)
	}
	return out
}

// meanOf is the mean of a quantity's readings between two times, 0 for none.
func meanOf(r *recording.Recording, q recording.Quantity, from, to float64) float64 {
	c, ok := r.Signal(q, "")
	if !ok {
		return 0
	}
	mean, n := meanIn(c, from, to)
	if n == 0 {
		return 0
	}
	return mean
}

func meanIn(c recording.Channel, from, to float64) (mean float64, n int) {
	for i := sort.SearchFloat64s(c.Seconds, from); i < len(c.Seconds) && c.Seconds[i] < to; i++ {
		mean += c.Values[i]
		n++
	}
	return mean / math.Max(1, float64(n)), n
}

// What of an earlier ride counts as a steady effort. Our judgement: heart rate
// has settled after some minutes, and an effort whose half minutes differ by
// more than a tenth was not steady.
const (
	pastFrom   = 600.0 // s of a ride left out: the heart still rises
	pastLong   = 240.0 // s of an effort
	pastSettle = 120.0 // s at its beginning left out for the heart
	pastEven   = 0.10
	mostPast   = 200
)

// pastEfforts are the steady stretches of an earlier ride, for each source of
// watts.
func pastEfforts(r *recording.Recording, day float64) []rig.PastEffort {
	heart, ok := r.Signal(recording.HeartRate, "")
	if !ok {
		return nil
	}
	var out []rig.PastEffort
	for _, source := range r.Sources(recording.Power) {
		c, _ := r.Signal(recording.Power, source)
		for from := pastFrom; from+pastLong <= r.End() && len(out) < mostPast; from += pastLong {
			watts, n := meanIn(c, from+pastSettle, from+pastLong)
			bpm, beats := meanIn(heart, from+pastSettle, from+pastLong)
			if n < 60 || beats < 60 || watts < 50 || !even(c, from, watts) {
				continue
			}
			out = append(out, rig.PastEffort{Source: source, Day: day, Watts: watts, HeartRate: bpm})
		}
	}
	return out
}

func even(c recording.Channel, from, mean float64) bool {
	for at := from; at < from+pastLong; at += 30 {
		half, n := meanIn(c, at, at+30)
		if n == 0 || math.Abs(half/mean-1) > pastEven {
			return false
		}
	}
	return true
}

// CoastRow is a wheel that ran down: seconds from one speed to another.
type CoastRow struct {
	FromMS  float64 `json:"from_m_s"`
	ToMS    float64 `json:"to_m_s"`
	Seconds float64 `json:"seconds"`
}

// Between which wheel speeds a coast-down is timed, so that checks of
// different days compare. Our judgement: within reach of every rig.
const coastFrom, coastTo = 6.0, 3.0 // m/s

// coastRows time the wheel as it runs down in the coast-down phases.
func coastRows(r *recording.Recording, phases []rig.Phase) []CoastRow {
	c, ok := r.Signal(recording.WheelSpeed, "")
	if !ok {
		if c, ok = r.Signal(recording.MachineSpeed, ""); !ok {
			return nil
		}
	}
	var out []CoastRow
	for _, p := range phases {
		if p.Kind != rig.Coast {
			continue
		}
		from, a := crossing(c, coastFrom, p.From, p.To)
		to, b := crossing(c, coastTo, from, p.To)
		if a && b && to > from {
			out = append(out, CoastRow{coastFrom, coastTo, to - from})
		}
	}
	return out
}

// crossing is when a falling speed first passes v, between readings by a
// straight line.
func crossing(c recording.Channel, v, from, to float64) (at float64, ok bool) {
	for i := sort.SearchFloat64s(c.Seconds, from) + 1; i < len(c.Seconds) && c.Seconds[i] <= to; i++ {
		if a, b := c.Values[i-1], c.Values[i]; a >= v && b < v {
			share := (a - v) / (a - b)
			return c.Seconds[i-1] + share*(c.Seconds[i]-c.Seconds[i-1]), true
		}
	}
	return 0, false
}

func pastCoasts(rows []CoastRow, day float64) []rig.PastCoast {
	var out []rig.PastCoast
	for _, c := range rows {
		out = append(out, rig.PastCoast{Day: day, FromMS: c.FromMS, ToMS: c.ToMS, Seconds: c.Seconds})
	}
	return out
}
