package bunch

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"strings"
	"unicode"
)

// Version of the exchange. A host answers no other.
const Version = 1

// What a member does, as reported.
const (
	Waiting = "waiting"
	Riding  = "riding"
	Gone    = "gone" // ended before the line
	Home    = "home"
)

// Bounds of what is believed. Our judgement: no course, bicycle or group of
// this program comes near them.
const (
	MostMembers = 60
	MostAsk     = 4 << 10   // bytes of a request
	MostAnswer  = 256 << 10 // bytes of an answer
	mostPlace   = 5e6       // m
	mostSpeed   = 60.0      // m/s
	mostAccel   = 5.0       // m/s²
	mostName    = 40        // characters
	mostWords   = 120
	mostPhrase  = 63 // index
	mostNew     = 40 // phrases in an answer
	mostTitle   = 80
	mostUS      = int64(1e16) // µs since 1970: the year 2286
)

// Sample is where a member was at an instant of the host's clock.
type Sample struct {
	AtUS     int64   `json:"at_us"`
	M        float64 `json:"m"`       // place along the course
	SpeedMS  float64 `json:"m_s"`     //
	AccelMS2 float64 `json:"m_s2"`    // smoothed
	Stage    string  `json:"stage"`   // Waiting, Riding, Gone or Home
	BegunUS  int64   `json:"begun"`   // when they left the line; 0: not yet
	Helped   bool    `json:"helped"`  // rides with the host's help
	Brought  uint64  `json:"brought"` // number of the last order to be brought up that was done
}

// Phrase is one of the fixed phrases said by a member, with the member's own
// rising number for it.
type Phrase struct {
	N     uint64 `json:"n"`
	Index int    `json:"index"`
}

// Ask is what a member sends: one exchange does all. Member is a secret of
// theirs alone; everybody else sees KeyOf it. Without one, somebody only looks.
type Ask struct {
	Version  int     `json:"version"`
	Member   string  `json:"member,omitempty"`
	Name     string  `json:"name,omitempty"`
	Sequence uint64  `json:"sequence"`
	Sample   Sample  `json:"sample"`
	Phrase   *Phrase `json:"phrase,omitempty"` // repeated until Answer.Heard has its number
	Since    uint64  `json:"since"`            // newest phrase of others known
}

// Member is what everybody knows of one.
type Member struct {
	Key    string `json:"key"`
	Name   string `json:"name"`
	Sample Sample `json:"sample"`
}

// Words are the host's, with a rising number.
type Words struct {
	N    uint64 `json:"n"`
	AtUS int64  `json:"at_us"`
	Text string `json:"text"`
}

// Said is a phrase as the host passes it on, with the host's number for it.
type Said struct {
	N     uint64 `json:"n"`
	Key   string `json:"key"`
	AtUS  int64  `json:"at_us"`
	Index int    `json:"index"`
}

// Order is a host's word to one member to come up to a place.
type Order struct {
	N   uint64  `json:"n"`
	ToM float64 `json:"to_m"`
}

// Answer is what the host knows.
type Answer struct {
	Version  int      `json:"version"`
	Group    string   `json:"group"`
	Title    string   `json:"title"`
	ClockUS  int64    `json:"clock_us"` // the host's, when it answered
	Sequence uint64   `json:"sequence"` // of the request
	Members  []Member `json:"members"`
	GunUS    int64    `json:"gun_us,omitempty"` // 0: not set
	Words    Words    `json:"words,omitzero"`
	Keep     bool     `json:"keep"`
	Strength float64  `json:"strength"` // of the shelter, 0 to 1
	Phrases  []Said   `json:"phrases,omitempty"`
	Heard    uint64   `json:"heard,omitempty"` // the asker's last phrase that was taken
	BringUp  Order    `json:"bring_up,omitzero"`
	Ended    bool     `json:"ended,omitempty"`
}

// KeyOf is what everybody may know of a member: who knows it cannot speak for
// them.
func KeyOf(member string) string {
	sum := sha256.Sum256([]byte("chainline member\x00" + member))
	return hex.EncodeToString(sum[:6])
}

// ReadAsk reads a request of at most MostAsk bytes and checks it. What it
// returns can be used as it is: numbers are finite and within bounds, names
// are one short line.
func ReadAsk(r io.Reader) (Ask, error) {
	var a Ask
	if err := decode(r, MostAsk, &a); err != nil {
		return Ask{}, err
	}
	return a, a.check()
}

// ReadAnswer reads an answer of at most MostAnswer bytes and checks it.
func ReadAnswer(r io.Reader) (Answer, error) {
	var a Answer
	if err := decode(r, MostAnswer, &a); err != nil {
		return Answer{}, err
	}
	return a, a.check()
}

func decode(r io.Reader, most int64, into any) error {
	b, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return err
	}
	if int64(len(b)) > most {
		return fmt.Errorf("longer than %d bytes", most)
	}
	d := json.NewDecoder(bytes.NewReader(b))
	if err := d.Decode(into); err != nil {
		return fmt.Errorf("no message of a group: %w", err)
	}
	if d.More() {
		return fmt.Errorf("no message of a group: something follows it")
	}
	return nil
}

func (a *Ask) check() error {
	if a.Version != Version {
		return fmt.Errorf("version %d of the exchange; expected %d", a.Version, Version)
	}
	if a.Member == "" {
		a.Sample, a.Phrase, a.Name = Sample{}, nil, ""
		return nil
	}
	if !isSecret(a.Member) {
		return fmt.Errorf("member: expected 32 hexadecimal digits")
	}
	a.Name = Name(a.Name)
	if p := a.Phrase; p != nil && (p.Index < 0 || p.Index > mostPhrase) {
		return fmt.Errorf("phrase %d; expected 0 to %d", p.Index, mostPhrase)
	}
	return a.Sample.check()
}

func (s *Sample) check() error {
	switch s.Stage {
	case Waiting, Riding, Gone, Home:
	default:
		return fmt.Errorf("stage %q; expected waiting, riding, gone or home", Line(s.Stage, mostName))
	}
	for _, v := range []float64{s.M, s.SpeedMS, s.AccelMS2} {
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return fmt.Errorf("a place, speed or acceleration is no number")
		}
	}
	if s.M < 0 || s.M > mostPlace {
		return fmt.Errorf("place %g m; expected 0 to %g", s.M, mostPlace)
	}
	if !isTime(s.AtUS) || !isTime(s.BegunUS) {
		return fmt.Errorf("a time before 1970 or far ahead")
	}
	s.SpeedMS = math.Max(0, math.Min(mostSpeed, s.SpeedMS))
	s.AccelMS2 = math.Max(-mostAccel, math.Min(mostAccel, s.AccelMS2))
	return nil
}

func (a *Answer) check() error {
	switch {
	case a.Version != Version:
		return fmt.Errorf("version %d of the exchange; expected %d", a.Version, Version)
	case len(a.Members) > MostMembers:
		return fmt.Errorf("%d members; expected at most %d", len(a.Members), MostMembers)
	case len(a.Phrases) > mostNew:
		return fmt.Errorf("%d phrases; expected at most %d", len(a.Phrases), mostNew)
	case a.ClockUS == 0 || !isTime(a.ClockUS) || !isTime(a.GunUS) || !isTime(a.Words.AtUS):
		return fmt.Errorf("a time before 1970 or far ahead")
	case !(a.Strength >= 0 && a.Strength <= 1):
		return fmt.Errorf("shelter of strength %g; expected 0 to 1", a.Strength)
	case !(a.BringUp.ToM >= 0 && a.BringUp.ToM <= mostPlace):
		return fmt.Errorf("place %g m; expected 0 to %g", a.BringUp.ToM, mostPlace)
	}
	a.Title, a.Group = Line(a.Title, mostTitle), Line(a.Group, mostName)
	a.Words.Text = Line(a.Words.Text, mostWords)
	for i := range a.Members {
		m := &a.Members[i]
		m.Key, m.Name = Line(m.Key, mostName), Name(m.Name)
		if err := m.Sample.check(); err != nil {
			return err
		}
	}
	for i := range a.Phrases {
		p := &a.Phrases[i]
		if p.Index < 0 || p.Index > mostPhrase || !isTime(p.AtUS) {
			return fmt.Errorf("phrase %d of no time; expected 0 to %d", p.Index, mostPhrase)
		}
		p.Key = Line(p.Key, mostName)
	}
	return nil
}

func isTime(us int64) bool { return us >= 0 && us <= mostUS }

func isSecret(s string) bool {
	b, err := hex.DecodeString(s)
	return err == nil && len(b) == 16
}

// Name is a rider's name as everybody is shown it.
func Name(s string) string {
	if s = Line(s, mostName); s == "" {
		return "Rider"
	}
	return s
}

// Line is text as one line of at most so many characters, without control and
// formatting characters (which can turn the direction of what follows).
func Line(s string, most int) string {
	s = strings.Map(func(r rune) rune {
		switch {
		case unicode.IsSpace(r):
			return ' '
		case unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Zl, unicode.Zp):
			return -1
		}
		return r
	}, strings.ToValidUTF8(s, "�"))
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > most {
		s = strings.TrimSpace(string(r[:most-1])) + "…"
	}
	return s
}
