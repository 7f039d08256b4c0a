package ride

import (
	"encoding/json"
	"fmt"
	"time"

	"chainline/internal/sensor"
	"chainline/recording"
)

// What a journal says, read back: the recording of a ride, and the ride gone
// on with after a kill.

// Rejected ends the name of a recording's source that holds what a source said
// and the ride did not go by: kept, since what was measured is not thrown away.
const Rejected = " (not ridden by)"

// line is any record; only the fields of its kind are set.
type line struct {
	K     string          `json:"k"`
	T     float64         `json:"t"`
	D     string          `json:"d"`
	B     uint16          `json:"b"`
	Q     string          `json:"q"`
	Val   json.RawMessage `json:"v"`
	C     string          `json:"c"`
	M     string          `json:"m"`
	W     string          `json:"w"`
	X     bool            `json:"x"`
	Setup *Setup          `json:"setup"`
	Cues  []Cue           `json:"cues"`
	At    json.RawMessage `json:"at"`
}

// Read is what a journal's records hold.
type Read struct {
	Setup     Setup
	Last      *state // the last state, nil if there was none
	Ended     bool
	Recording recording.Recording
	Odd       int      // records that could not be understood, left out
	Damage    []string // where the journal could not be proved whole

	cues    []Cue
	gun     time.Time
	points  []TracePoint
	brought float64
}

// ReadRecords understands the records of one ride, in order, gaps as told:
// gapAt holds the numbers of records before which something is missing.
func ReadRecords(records [][]byte, whole bool) (Read, error) {
	var r Read
	if len(records) == 0 {
		return r, fmt.Errorf("the journal holds no whole record")
	}
	var first line
	if err := json.Unmarshal(records[0], &first); err != nil || first.K != "setup" || first.Setup == nil {
		return r, fmt.Errorf("the journal does not begin with a ride's setup")
	}
	r.Setup = *first.Setup
	if err := r.Setup.Check(); err != nil {
		return r, fmt.Errorf("the journal's setup: %w", err)
	}
	_, zone := r.Setup.Begun.Zone()
	b := recording.NewBuilder(r.Setup.Title, float64(r.Setup.Begun.UnixNano())/1e9, zone, "indoor cycling")
	for _, raw := range records[1:] {
		if !r.one(b, raw) {
			r.Odd++
		}
	}
	r.Recording = b.Recording(whole && r.Ended)
	return r, nil
}

// one puts a record where it belongs and says whether it could.
func (r *Read) one(b *recording.Builder, raw []byte) bool {
	var l line
	if json.Unmarshal(raw, &l) != nil {
		return false
	}
	switch l.K {
	case "r", "v":
		var v float64
		if json.Unmarshal(l.Val, &v) != nil {
			return false
		}
		source := l.D
		if l.K == "r" {
			source = string(KeyOf(l.D, sensor.Service(l.B)))
			if l.X {
				source += Rejected
			}
		}
		return b.Add(recording.Quantity(l.Q), source, l.T, v) == nil
	case "c":
		var v float64
		if json.Unmarshal(l.Val, &v) != nil {
			return false
		}
		return b.Add(recording.Commanded, "ride/"+l.C, l.T, v) == nil
	case "m":
		if l.M == "switched" {
			return b.Use(recording.Power, l.D, l.T, l.W) == nil
		}
		return b.Mark(recording.Mark{Seconds: l.T, Kind: recording.MarkKind(l.M), Source: l.D, Words: l.W}) == nil
	case "s":
		return r.state(b, raw)
	case "plan":
		r.cues = l.Cues
	case "gun":
		return json.Unmarshal(l.At, &r.gun) == nil
	case "end":
		r.Ended = true
	default:
		return false
	}
	return true
}

// state keeps a state record and what we reckoned at it.
func (r *Read) state(b *recording.Builder, raw []byte) bool {
	s := new(state)
	if json.Unmarshal(raw, s) != nil {
		return false
	}
	first := r.Last == nil || r.Last.Source == ""
	r.Last = s
	if s.Source != "" && first {
		if b.Use(recording.Power, string(s.Source), s.T, "") != nil {
			return false
		}
	}
	if s.Stage == Riding {
		left := s.Balance / r.Setup.Rider.Balance.WPrime
		p := TracePoint{ClockS: s.Active, AtM: s.AtM, Watts: s.Watts, Left: round3(left), Step: s.Index, IntoS: round3(s.Active - s.FromS)}
		if r.Setup.Course != nil {
			p.ClockS = s.T - s.Begun
		}
		if s.Heart != nil {
			p.Heart = *s.Heart
		}
		r.points = append(r.points, p)
	}
	ok := true
	add := func(q recording.Quantity, v float64) { ok = ok && b.Add(q, "ride", s.T, v) == nil }
	if s.Stage == Waiting {
		return true
	}
	add(recording.Position, s.AtM)
	add(recording.Speed, s.Speed)
	add(recording.Left, s.Balance)
	if s.Stage == Riding {
		add(recording.Target, s.Target)
	}
	if r.Setup.Course != nil {
		add(recording.Gradient, s.Gradient)
		add(recording.Altitude, altitudeAt(r.Setup.Course, s.AtM))
	}
	if s.Shelter != nil && s.Help != nil {
		add(recording.Shelter, *s.Shelter)
		add(recording.Help, *s.Help)
	}
	if s.Brought > 0 || r.brought > 0 {
		add(recording.Brought, s.Brought)
	}
	r.brought = s.Brought
	return ok
}

func altitudeAt(k *Course, at float64) float64 {
	d, e := k.Profile.Distance, k.Profile.Elevation
	for i := 1; i < len(d); i++ {
		if at <= d[i] {
			share := (at - d[i-1]) / (d[i] - d[i-1])
			return e[i-1] + share*(e[i]-e[i-1])
		}
	}
	return e[len(e)-1]
}

// Resume goes on with a ride whose program was killed. Where the ride was is
// taken from the last state; nothing is made up for the time between: a
// course's clock went on, a session stands paused, and whatever the trainer
// is told first is easy.
func (r Read) Resume(hub *sensor.Hub, now time.Time) (*Core, error) {
	if r.Ended {
		return nil, fmt.Errorf("that ride has ended")
	}
	setup := r.Setup
	if r.cues != nil && setup.Course != nil {
		course := *setup.Course
		course.Cues = r.cues
		setup.Course = &course
	}
	if !r.gun.IsZero() {
		setup.StartAt = r.gun
	}
	c, err := New(setup, hub)
	if err != nil {
		return nil, err
	}
	c.out.Records = nil // the setup stands in the journal already
	c.now = now
	if s := r.Last; s != nil && s.Stage != Waiting {
		c.stage, c.active, c.at, c.speed, c.balance, c.work = s.Stage, s.Active, s.AtM, s.Speed, s.Balance, s.Work
		c.begun = setup.Begun.Add(time.Duration(s.Begun * float64(time.Second)))
		c.follow.index, c.follow.fromS, c.follow.fromM, c.follow.cutS = s.Index, s.FromS, s.FromM, s.CutS
		c.trace.points, c.brought = r.points, s.Brought
		if s.Stage == Ending || s.Stage == Ended {
			c.stage = Paused
		}
		if setup.Course == nil {
			c.stage, c.by = Paused, "rider"
		} else {
			c.stage, c.speed = Riding, 0
		}
	}
	c.mark("note", "", "gone on with after the program was stopped")
	c.mark("assumed", "", "nothing is known until watts are heard again")
	return c, nil
}
