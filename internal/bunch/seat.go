package bunch

import (
	"math"
	"sort"
	"time"
)

// Me is what a ride tells of itself at an instant of its own clock.
type Me struct {
	M, SpeedMS, AccelMS2 float64
	Stage                string // Waiting, Riding, Gone or Home
	Begun                time.Time
	Helped               bool
	Phrase               *Phrase // newest said, nil if none
	Brought              uint64  // newest order done
}

// Dot is one member at an instant; ride.GroupDot says what the fields are.
type Dot struct {
	Key, Name      string
	You            bool
	AtM, SpeedMS   float64
	BehindS        float64
	Known          bool
	State          string
	SilentS, LateS float64
	Extra          bool
}

// PhraseNow is a phrase somebody said a while ago.
type PhraseNow struct {
	From  string
	Index int
	AgoS  float64
	Mine  bool
	N     uint64 // the host's number
}

// Silent is the state of a member who was not heard of for fifteen seconds.
const Silent = "silent"

// How a member is linked to the host.
const (
	Here      = "here"
	Well      = "well"
	Slow      = "slow"
	Silenced  = "silent"
	silentUS  = int64(ReckonS * 1e6)
	quietFor  = 5 * time.Second         // without an answer: silent
	slowFor   = 1500 * time.Millisecond // slow
	slowTrip  = 800 * time.Millisecond
	freshSide = 0.05 // m: side by side

	setBackUS  = 5_000_000       // answers do not overtake each other by as much
	mostTracks = 2 * MostMembers // of which those that the host does not know any more are forgotten
)

// Scene is the group as a ride sees it at an instant of its own clock.
type Scene struct {
	Title    string
	Host     bool   // the host is this machine
	Link     string // Here, Well, Slow or Silenced
	SilentS  float64
	Synced   bool      // the host was heard at least once
	Gun      time.Time // by the ride's own clock; zero: none
	ClockS   float64   // since the gun
	Dots     []Dot     // front to back
	Keep     bool
	Strength float64
	Words    Words // the host's last
	WordsAgo float64
	Phrases  []PhraseNow // of the last twenty seconds, oldest first
	BringUp  Order
	Ended    bool
	Refused  string // what the host says instead of an answer; empty: it answers
}

// Seat is what a member knows of the group. It reads no clock and is not safe
// for use from several goroutines.
type Seat struct {
	key, name string // own; empty: somebody who only looks
	here      bool
	clock     Clock
	last      Answer
	heard     time.Time // own clock, of the newest answer
	tracks    map[string]*track
	phrases   []Said
}

// newSeat is one that has heard nothing yet.
func newSeat(member, name string, here bool) *Seat {
	s := &Seat{name: Name(name), here: here, tracks: map[string]*track{}}
	if member != "" {
		s.key = KeyOf(member)
	}
	return s
}

// take takes an answer to a request that was sent and got at own times.
func (s *Seat) take(a Answer, sent, got time.Time) {
	s.clock.Heard(sent, got, a.ClockUS)
	if got.After(s.heard) {
		s.heard = got
	}
	if a.Sequence > s.last.Sequence && a.ClockUS < s.last.ClockUS-setBackUS {
		// A later request has an earlier answer: the host was started anew by a
		// clock that was set back. Its word counts from now on.
		s.last, s.phrases, s.tracks = Answer{}, nil, map[string]*track{}
	}
	for _, m := range a.Members {
		if m.Key == s.key {
			continue
		}
		t := s.tracks[m.Key]
		if t == nil {
			t = &track{}
			s.tracks[m.Key] = t
		}
		t.name = m.Name
		t.take(m.Sample)
	}
	for _, p := range a.Phrases {
		if n := len(s.phrases); n == 0 || p.N > s.phrases[n-1].N {
			s.phrases = append(s.phrases, p)
		}
	}
	s.phrases = s.phrases[max(0, len(s.phrases)-mostNew):]
	if a.ClockUS >= s.last.ClockUS {
		s.last = a
		s.drop(a)
	}
}

// drop forgets whom the host does not know any more; not what they rode, if
// the host was only restarted.
func (s *Seat) drop(a Answer) {
	known := map[string]bool{}
	for _, m := range a.Members {
		known[m.Key] = true
	}
	crowded := len(s.tracks) > mostTracks
	for key, t := range s.tracks {
		if !known[key] && key != s.key && (crowded || a.ClockUS-t.last.AtUS > forgetUS && t.last.Stage == Waiting) {
			delete(s.tracks, key)
		}
	}
	for len(s.phrases) > 0 && a.ClockUS-s.phrases[0].AtUS > phraseUS {
		s.phrases = s.phrases[1:]
	}
}

// since is the number of the newest phrase known.
func (s *Seat) since() uint64 {
	if n := len(s.phrases); n > 0 {
		return s.phrases[n-1].N
	}
	return 0
}

// sample is what a ride tells, in the host's time.
func (s *Seat) sample(now time.Time, me Me) Sample {
	out := Sample{AtUS: s.clock.Host(now), M: me.M, SpeedMS: me.SpeedMS, AccelMS2: me.AccelMS2, Stage: me.Stage, Helped: me.Helped, Brought: me.Brought}
	if !me.Begun.IsZero() {
		out.BegunUS = max(0, s.clock.Host(me.Begun))
	}
	return out
}

// scene is the group at an own time; me is nil for somebody who only looks.
func (s *Seat) scene(now time.Time, me *Me, link string) Scene {
	us := s.clock.Host(now)
	a := s.last
	out := Scene{Title: a.Title, Host: s.here, Link: link, Synced: s.clock.Known(), Keep: a.Keep, Strength: a.Strength, Words: a.Words, BringUp: a.BringUp, Ended: a.Ended}
	if !s.heard.IsZero() {
		out.SilentS = math.Max(0, now.Sub(s.heard).Seconds())
	}
	if s.here {
		out.SilentS = 0
	}
	if a.GunUS != 0 {
		out.Gun, out.ClockS = s.clock.Own(a.GunUS), float64(us-a.GunUS)/1e6
	}
	if a.Words.N != 0 {
		out.WordsAgo = float64(us-a.Words.AtUS) / 1e6
	}
	names := map[string]string{s.key: s.name}
	for key, t := range s.tracks {
		names[key] = t.name
	}
	for _, p := range s.phrases {
		if ago := float64(us-p.AtUS) / 1e6; us-p.AtUS <= phraseUS && names[p.Key] != "" {
			out.Phrases = append(out.Phrases, PhraseNow{names[p.Key], p.Index, math.Max(0, ago), p.Key == s.key, p.N})
		}
	}
	out.Dots = s.dots(now, us, me)
	return out
}

// dots are everybody, front to back.
func (s *Seat) dots(now time.Time, us int64, me *Me) []Dot {
	var own *track
	out := make([]Dot, 0, len(s.tracks)+1)
	if me != nil && s.key != "" {
		if own = s.tracks[s.key]; own == nil {
			own = &track{name: s.name}
			s.tracks[s.key] = own
		}
		if s.clock.Known() {
			x := s.sample(now, *me)
			own.rewind(x.AtUS)
			own.take(x)
		}
		out = append(out, Dot{Key: s.key, Name: s.name, You: true, AtM: me.M, SpeedMS: me.SpeedMS, Known: true, State: me.Stage, LateS: s.late(own.last), Extra: me.Helped})
	}
	for key, t := range s.tracks {
		if key == s.key {
			continue
		}
		d := Dot{Key: key, Name: t.name, State: t.last.Stage, LateS: s.late(t.last), Extra: t.last.Helped && t.last.Stage == Riding}
		d.AtM, d.SpeedMS = Reckon(t.last, us)
		if d.State == Waiting || d.State == Riding {
			d.SilentS = math.Max(0, float64(us-t.last.AtUS)/1e6)
			if us-t.last.AtUS > silentUS {
				d.State, d.SpeedMS, d.Extra = Silent, 0, false
			}
		}
		if own != nil {
			d.BehindS, d.Known = behind(own, me, t, d, us)
		}
		out = append(out, d)
	}
	sort.Slice(out, func(i, j int) bool {
		if out[i].AtM != out[j].AtM {
			return out[i].AtM > out[j].AtM
		}
		return out[i].Key < out[j].Key
	})
	if own == nil {
		s.behindFirst(out, us)
	}
	return out
}

// behindFirst is, for somebody who only looks, how many seconds everybody is
// behind the first who rides or is home.
func (s *Seat) behindFirst(dots []Dot, us int64) {
	var first *track
	var at Me
	for i := range dots {
		d := &dots[i]
		t := s.tracks[d.Key]
		if t == nil || t.last.Stage == Waiting || t.last.Stage == Gone {
			continue
		}
		if first == nil {
			first, at, d.Known = t, Me{M: d.AtM, Stage: Riding}, true
			continue
		}
		d.BehindS, d.Known = behind(first, &at, t, *d, us)
	}
}

// behind is how many seconds a member is behind oneself, by when each passed
// the same place; negative ahead.
func behind(own *track, me *Me, t *track, d Dot, us int64) (float64, bool) {
	if me.Stage == Waiting || t.last.Stage == Waiting {
		return 0, false
	}
	switch gap := d.AtM - me.M; {
	case math.Abs(gap) < freshSide:
		return 0, true
	case gap > 0:
		at, ok := t.passed(me.M, us, d.AtM)
		return -float64(us-at) / 1e6, ok
	default:
		at, ok := own.passed(d.AtM, us, me.M)
		return float64(us-at) / 1e6, ok
	}
}

// lateFrom is how long after the gun somebody has left it late.
const lateFromUS = 2_000_000

func (s *Seat) late(x Sample) float64 {
	if s.last.GunUS == 0 || x.BegunUS == 0 || x.BegunUS-s.last.GunUS < lateFromUS {
		return 0
	}
	return float64(x.BegunUS-s.last.GunUS) / 1e6
}
