// Package replay plays a recording back as devices: each source becomes one
// that speaks what it measured then, by the same services. Nothing is filled
// in: where the recording has a gap the device is silent. A trainer among
// them cannot be driven and says so.
package replay

import (
	"context"
	"errors"
	"math/rand/v2"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
	"chainline/recording"
)

// ErrOver is why links end when the recording does.
var ErrOver = errors.New("the recording is over")

// Options say how to play.
type Options struct {
	Start time.Time // where virtual time begins; zero is the recording's start
	Speed float64   // how many of its seconds go by in one; 0 is 1
	Name  string    // begins the devices' addresses; empty is "replay"
	// Circumference of the wheel (m) by which wheel speeds become turns; 0 is
	// 2.105, that of the standard's examples.
	Circumference float64
}

// Player is a recording as devices in virtual time. Its clock starts when the
// first device is connected. Its methods may be called from any goroutine.
type Player struct {
	mu      sync.Mutex
	radio   *virtual.Radio
	o       Options
	sources []*source
	playing bool
	begun   time.Duration
	end     float64 // s of the last value
	over    bool
}

// New prepares a recording. What the program itself reckoned is no device,
// and what no service carries is left out.
func New(r recording.Recording, o Options) *Player {
	if o.Speed <= 0 {
		o.Speed = 1
	}
	if o.Name == "" {
		o.Name = "replay"
	}
	if o.Circumference <= 0 {
		o.Circumference = 2.105
	}
	if o.Start.IsZero() {
		o.Start = time.Unix(0, int64(r.StartUnix*1e9)).UTC()
	}
	p := &Player{o: o, radio: virtual.NewRadio(o.Start)}
	by := map[string]*source{}
	for _, c := range r.Channels {
		if c.Source == own || !carried[c.Quantity] || len(c.Seconds) != len(c.Values) {
			continue
		}
		s := by[c.Source]
		if s == nil {
			s = &source{name: c.Source, has: map[recording.Quantity]bool{}}
			by[c.Source] = s
			p.sources = append(p.sources, s)
		}
		s.take(c)
	}
	p.sources = slices.DeleteFunc(p.sources, func(s *source) bool { return len(s.samples) == 0 })
	for i, s := range p.sources {
		p.add(s, i)
	}
	return p
}

// own is the source of what the program reckoned.
const own = "ride"

var carried = map[recording.Quantity]bool{
	recording.Power: true, recording.Cadence: true, recording.WheelSpeed: true, recording.MachineSpeed: true,
	recording.HeartRate: true, recording.RRInterval: true, recording.LeftShare: true,
	recording.Resistance: true, recording.Battery: true,
}

// Realtime has the wall clock drive a player.
func Realtime(ctx context.Context, p *Player) sensor.Port { return virtual.Realtime(ctx, p) }

// Devices are the addresses of the devices, in the order of the recording.
func (p *Player) Devices() []string {
	var ids []string
	for _, s := range p.sources {
		ids = append(ids, s.device.ID)
	}
	return ids
}

// Over reports whether everything has been played.
func (p *Player) Over() bool {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.over
}

// Now is the virtual time reached.
func (p *Player) Now() time.Time {
	p.mu.Lock()
	defer p.mu.Unlock()
	return p.radio.Clock()
}

// Do takes a request at the virtual time reached.
func (p *Player) Do(r sensor.Request) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.radio.Do(r)
}

// Advance moves to a time and returns what the devices said since.
func (p *Player) Advance(to time.Time) []sensor.Event {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.radio.Run(to.Sub(p.o.Start))
	return p.radio.Take()
}

// play starts the clock of the recording.
func (p *Player) play() {
	if p.playing {
		return
	}
	p.playing, p.begun = true, p.radio.Now()
	for _, s := range p.sources {
		p.next(s)
	}
	p.radio.After(p.until(p.end)+time.Second, func() {
		p.over = true
		for _, s := range p.sources {
			s.device.Drop(ErrOver)
		}
	})
}

// until is the wait until a second of the recording.
func (p *Player) until(second float64) time.Duration {
	return p.begun + time.Duration(second/p.o.Speed*float64(time.Second)) - p.radio.Now()
}

// next has the source's next values spoken when it is their time. Values of
// one instant go into one message, as they came.
func (p *Player) next(s *source) {
	if len(s.samples) == 0 {
		return
	}
	at := s.samples[0].second
	p.radio.After(p.until(at), func() {
		n := sort.Search(len(s.samples), func(i int) bool { return s.samples[i].second > at+together })
		now := s.samples[:n]
		s.samples = s.samples[n:]
		s.speak(now, p.o.Circumference)
		p.next(s)
	})
}

// together is how far apart, in seconds, values of one message may be stamped.
const together = 0.002

func (p *Player) add(s *source, i int) {
	slices.SortStableFunc(s.samples, func(a, b sample) int {
		switch {
		case a.second < b.second:
			return -1
		case a.second > b.second:
			return 1
		}
		return 0
	})
	p.end = max(p.end, s.samples[len(s.samples)-1].second)
	services, chars := s.services()
	name := s.name
	if name == "" {
		name = "recorded device"
	}
	s.device = &virtual.Device{
		ID: p.o.Name + "-" + strings.ReplaceAll(name, " ", "-"), Chars: chars,
		Advert: sensor.Advert{Name: name, Services: services, RSSI: -55},
		// Only latencies are drawn, so that a fixed stream is as good as any.
		Random:    rand.New(rand.NewPCG(1, uint64(i))),
		Reachable: func() bool { return !p.over },
		Linked: func(up bool) {
			if up {
				p.play()
			}
		},
		Read:  s.read,
		Write: func(char uint16, b []byte) error { return p.refuse(s, char, b) },
	}
	if s.machine() {
		s.device.Advert.ServiceData = map[uint16][]byte{
			gatt.FitnessMachineService: gatt.MachineAdvert{Available: false, Kinds: gatt.KindIndoorBike}.Append(nil)}
	}
	p.radio.Add(s.device)
}

// refuse answers every write to a trainer: what has been ridden cannot be
// driven.
func (p *Player) refuse(s *source, char uint16, b []byte) error {
	if char != gatt.MachineControlPoint {
		return virtual.ErrNoChar
	}
	a := gatt.MachineResponse{Result: gatt.NotPermitted}
	if len(b) > 0 {
		a.Op = gatt.MachineOp(b[0])
	}
	s.device.Send(20*time.Millisecond, char, a.Append(nil))
	return nil
}
