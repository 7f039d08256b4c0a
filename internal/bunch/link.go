package bunch

import (
	"context"
	"crypto/rand"
	"encoding/hex"
	"errors"
	"sync"
	"time"
)

// Transport carries messages to the host and back.
type Transport interface {
	// Exchange sends a request and waits for its answer.
	Exchange(ctx context.Context, a Ask) (Answer, error)
	// Course fetches what is ridden, as the host has it.
	Course(ctx context.Context) ([]byte, error)
}

// NewMember is a member's secret.
func NewMember() string {
	var b [16]byte
	_, _ = rand.Read(b[:]) // never fails
	return hex.EncodeToString(b[:])
}

// How exchanges go: with every tick of the ride, else once a second; how many
// may wait for their answer, and for how long.
const (
	lookEvery = time.Second
	mostWait  = 8
	waitFor   = 2 * time.Second
)

// A link is called slow by its last exchanges, when so many of them were lost.
// Our judgement.
const (
	recent    = 8
	lostOften = 3
)

// Link is a member's end of a group whose host is elsewhere. All methods may
// be called from any goroutine.
type Link struct {
	to     Transport
	now    func() time.Time
	member string
	name   string

	wake  chan struct{}
	slots chan struct{}
	wait  sync.WaitGroup

	mu       sync.Mutex
	seat     *Seat
	me       *Me // last told
	meAt     time.Time
	sequence uint64
	told     uint64 // newest sequence whose answer came
	trips    [recent]time.Duration
	lost     uint32 // of the last 32 exchanges, by bit
	refused  string // what the host said last instead of an answer
}

// NewLink is an end for a member (empty: only looking), by the ride's clock.
// Run does the exchanges.
func NewLink(to Transport, now func() time.Time, member, name string) *Link {
	return &Link{to: to, now: now, member: member, name: Name(name), wake: make(chan struct{}, 1), slots: make(chan struct{}, mostWait), seat: newSeat(member, name, false)}
}

// Run exchanges until ctx ends, and waits for what is under way.
func (l *Link) Run(ctx context.Context) {
	defer l.wait.Wait()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	select {
	case l.wake <- struct{}{}: // the first at once
	default:
	}
	for {
		select {
		case <-ctx.Done():
			return
		case <-l.wake:
			look.Reset(lookEvery)
		case <-look.C:
		}
		select {
		case l.slots <- struct{}{}:
			l.wait.Go(func() {
				defer func() { <-l.slots }()
				l.once(ctx)
			})
		default: // the link is lost or slow: what waits has to end first
		}
	}
}

// once is one exchange.
func (l *Link) once(ctx context.Context) {
	ctx, cancel := context.WithTimeout(ctx, waitFor)
	defer cancel()
	a := l.ask()
	sent := l.now()
	answer, err := l.to.Exchange(ctx, a)
	got := l.now()
	l.mu.Lock()
	defer l.mu.Unlock()
	l.lost <<= 1
	if err != nil {
		l.lost |= 1
		if r, ok := errors.AsType[*Refusal](err); ok {
			l.refused = Line(r.Words, mostWords)
		}
		return
	}
	l.refused = ""
	l.told = max(l.told, answer.Sequence)
	copy(l.trips[1:], l.trips[:])
	l.trips[0] = got.Sub(sent)
	l.seat.take(answer, sent, got)
}

// ask is the next request.
func (l *Link) ask() Ask {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.sequence++
	a := Ask{Version: Version, Sequence: l.sequence, Since: l.seat.since()}
	if l.member == "" || l.me == nil || !l.seat.clock.Known() {
		return a // before the host's clock is known there is no time to report at
	}
	a.Member, a.Name, a.Sample = l.member, l.name, l.seat.sample(l.meAt, *l.me)
	if p := l.me.Phrase; p != nil && p.N > l.seat.last.Heard {
		a.Phrase = p
	}
	return a
}

// Meet tells the group where the rider is at an instant, and says where the
// others are. It does not wait for anything.
func (l *Link) Meet(now time.Time, me Me) Scene {
	l.mu.Lock()
	defer l.mu.Unlock()
	l.me, l.meAt = &me, now
	select {
	case l.wake <- struct{}{}:
	default:
	}
	out := l.seat.scene(now, &me, l.quality(now))
	out.Refused = l.refused
	return out
}

// Look is the group for somebody who only looks.
func (l *Link) Look(now time.Time) Scene {
	l.mu.Lock()
	defer l.mu.Unlock()
	out := l.seat.scene(now, nil, l.quality(now))
	out.Refused = l.refused
	return out
}

// Last has the host hear where the ride ended: it goes on exchanging until a
// request sent from now on was answered, or the time is over.
func (l *Link) Last(ctx context.Context, most time.Duration) {
	ctx, cancel := context.WithTimeout(ctx, most)
	defer cancel()
	l.mu.Lock()
	from := l.sequence
	l.mu.Unlock()
	each := time.NewTicker(250 * time.Millisecond)
	defer each.Stop()
	for {
		select {
		case <-ctx.Done():
			return
		case <-each.C:
		}
		l.mu.Lock()
		done := l.told > from
		l.mu.Unlock()
		if done {
			return
		}
		select {
		case l.wake <- struct{}{}:
		default:
		}
	}
}

// quality of the link in a word.
func (l *Link) quality(now time.Time) string {
	heard := l.seat.heard
	if heard.IsZero() || now.Sub(heard) >= quietFor {
		return Silenced
	}
	lost, over, known := 0, 0, 0
	for i := range recent {
		lost += int(l.lost >> i & 1)
		if l.trips[i] > 0 {
			known++
			if l.trips[i] > slowTrip {
				over++
			}
		}
	}
	if now.Sub(heard) >= slowFor || lost >= lostOften || known > 4 && 2*over > known {
		return Slow
	}
	return Well
}

// Near is a member's end of a group whose host is this very program.
type Near struct {
	host   *Host
	member string
	name   string

	mu   sync.Mutex
	seat *Seat
}

// NewNear is an end for a member; without one it only looks.
func NewNear(h *Host, member, name string) *Near {
	return &Near{host: h, member: member, name: Name(name), seat: newSeat(member, name, true)}
}

// Meet is Link's, without a way between.
func (n *Near) Meet(now time.Time, me Me) Scene {
	n.mu.Lock()
	defer n.mu.Unlock()
	if !n.seat.clock.Known() {
		n.seat.clock.Heard(now, now, n.host.us(now))
	}
	a := Ask{Version: Version, Member: n.member, Name: n.name, Sample: n.seat.sample(now, me), Phrase: me.Phrase, Since: n.seat.since()}
	answer, err := n.host.Exchange(now, a)
	if err == nil {
		n.seat.take(answer, now, now)
	}
	out := n.seat.scene(now, &me, Here)
	if err != nil {
		out.Refused = err.Error()
	}
	return out
}

// Look is the group for somebody who only looks.
func (n *Near) Look(now time.Time) Scene {
	n.mu.Lock()
	defer n.mu.Unlock()
	if answer, err := n.host.Exchange(now, Ask{Version: Version, Since: n.seat.since()}); err == nil {
		n.seat.take(answer, now, now)
	}
	return n.seat.scene(now, nil, Here)
}
