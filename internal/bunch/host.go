package bunch

import (
	"fmt"
	"sort"
	"sync"
	"time"
)

// Host is the host's side of a group: what everybody last reported, and what
// the host wants. It reads no clock. All methods may be called from any
// goroutine.
type Host struct {
	mu      sync.Mutex
	base    time.Time // its clock is this and what passed since, whatever the wall clock is set to
	want    Wish
	members map[string]*member // by key
	phrases []Said
	serial  uint64
}

// Wish is what a host wants of the group; with it a host that was restarted
// goes on. Members need not be kept: their next reports bring them back.
type Wish struct {
	Group    string  `json:"group"`
	Title    string  `json:"title"`
	GunUS    int64   `json:"gun_us,omitempty"`
	Words    Words   `json:"words,omitzero"`
	Keep     bool    `json:"keep,omitempty"`
	Strength float64 `json:"strength"`
	Ended    bool    `json:"ended,omitempty"`
}

type member struct {
	Member
	heard  int64 // µs of the host's clock
	phrase uint64
	saidUS int64
	order  Order
}

// How long a phrase stands, how often one member may say one, and after how
// long without a report somebody who had not begun is forgotten. Our judgement.
const (
	phraseUS  = 20_000_000
	betweenUS = 2_000_000
	forgetUS  = 120_000_000
	aheadUS   = 2_000_000 // a report from so far in the future is taken as of now
)

// NewHost is a host whose clock begins at now.
func NewHost(w Wish, now time.Time) *Host {
	return &Host{base: now, want: w, members: map[string]*member{}, serial: uint64(max(0, now.UnixMicro()))}
}

func (h *Host) us(now time.Time) int64 {
	return h.base.UnixMicro() + now.Sub(h.base).Microseconds()
}

// Wish is what the host wants, to be kept.
func (h *Host) Wish() Wish {
	h.mu.Lock()
	defer h.mu.Unlock()
	return h.want
}

// Refusal is a host's word to a member instead of an answer.
type Refusal struct{ Words string }

func (r *Refusal) Error() string { return r.Words }

// Exchange takes a checked request and answers it. The error is a *Refusal:
// there is no room.
func (h *Host) Exchange(now time.Time, a Ask) (Answer, error) {
	h.mu.Lock()
	defer h.mu.Unlock()
	us := h.us(now)
	h.forget(us)
	out := Answer{Version: Version, Group: h.want.Group, Title: h.want.Title, ClockUS: us, Sequence: a.Sequence, GunUS: h.want.GunUS,
		Words: h.want.Words, Keep: h.want.Keep, Strength: h.want.Strength, Ended: h.want.Ended}
	if a.Member != "" {
		m, err := h.report(a, us)
		if err != nil {
			return Answer{}, err
		}
		out.Heard, out.BringUp = m.phrase, m.order
	}
	for _, m := range h.members {
		out.Members = append(out.Members, m.Member)
	}
	sort.Slice(out.Members, func(i, j int) bool { return out.Members[i].Key < out.Members[j].Key })
	for _, p := range h.phrases {
		if p.N > a.Since && len(out.Phrases) < mostNew {
			out.Phrases = append(out.Phrases, p)
		}
	}
	return out, nil
}

// report takes what a member says of themselves.
func (h *Host) report(a Ask, us int64) (*member, error) {
	key := KeyOf(a.Member)
	m := h.members[key]
	if m == nil {
		if len(h.members) >= MostMembers {
			return nil, &Refusal{fmt.Sprintf("the group is full: it has %d members", MostMembers)}
		}
		m = &member{Member: Member{Key: key}}
		h.members[key] = m
	}
	m.heard, m.Name = us, a.Name
	s := a.Sample
	if s.AtUS > us+aheadUS || s.AtUS == 0 {
		s.AtUS = us
	}
	if s.BegunUS > us {
		s.BegunUS = us
	}
	if s.AtUS >= m.Sample.AtUS {
		m.Sample = s
	}
	if m.order.N != 0 && s.Brought >= m.order.N {
		m.order = Order{}
	}
	if p := a.Phrase; p != nil && p.N > m.phrase {
		m.phrase = p.N // heard, if too soon after the last to be passed on
		if us-m.saidUS >= betweenUS {
			m.saidUS = us
			h.serial++
			h.phrases = append(h.phrases, Said{h.serial, key, us, p.Index})
		}
	}
	return m, nil
}

// forget drops phrases that were said long ago, and whoever left before they
// began.
func (h *Host) forget(us int64) {
	for len(h.phrases) > 0 && (us-h.phrases[0].AtUS > phraseUS || len(h.phrases) > mostNew) {
		h.phrases = h.phrases[1:]
	}
	for key, m := range h.members {
		if m.Sample.Stage == Waiting && us-m.heard > forgetUS {
			delete(h.members, key)
		}
	}
}

// Count sets the gun; false when it has gone.
func (h *Host) Count(now time.Time, in time.Duration) bool {
	h.mu.Lock()
	defer h.mu.Unlock()
	us := h.us(now)
	if h.want.GunUS != 0 && h.want.GunUS <= us {
		return false
	}
	h.want.GunUS = us + in.Microseconds()
	return true
}

// Say shows words to everybody.
func (h *Host) Say(now time.Time, words string) {
	h.mu.Lock()
	defer h.mu.Unlock()
	us := h.us(now)
	h.want.Words = Words{N: max(h.want.Words.N+1, uint64(us)), AtUS: us, Text: Line(words, mostWords)}
}

// Keep begins or ends keeping the group together.
func (h *Host) Keep(on bool) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.want.Keep = on
}

// Strength sets how strong the shelter is, 0 to 1.
func (h *Host) Strength(s float64) {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.want.Strength = max(0, min(1, s))
}

// End ends the group.
func (h *Host) End() {
	h.mu.Lock()
	defer h.mu.Unlock()
	h.want.Ended = true
}

// BringUp orders a member up to the last of the others who ride; the error is
// a sentence why not.
func (h *Host) BringUp(now time.Time, key string) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	m := h.members[key]
	if m == nil {
		return fmt.Errorf("there is nobody of that key in the group")
	}
	if m.Sample.Stage != Riding {
		return fmt.Errorf("%s is not riding", m.Name)
	}
	us := h.us(now)
	last, any := 0.0, false
	for k, o := range h.members {
		if k == key || o.Sample.Stage != Riding || us-o.Sample.AtUS > silentUS {
			continue
		}
		if at, _ := Reckon(o.Sample, us); !any || at < last {
			last, any = at, true
		}
	}
	switch at, _ := Reckon(m.Sample, us); {
	case !any:
		return fmt.Errorf("nobody else is riding")
	case last <= at:
		return fmt.Errorf("%s is not behind the others", m.Name)
	}
	h.serial++
	m.order = Order{N: max(uint64(us), h.serial, m.Sample.Brought+1), ToM: last} // above the last one done, also by a clock that was set back
	return nil
}
