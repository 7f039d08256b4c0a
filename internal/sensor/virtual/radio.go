// Package virtual is a radio in virtual time: devices that advertise, are
// connected to, speak and fall silent, all as a list of what is due when. The
// bench and the playback of recordings stand on it, so that both behave as a
// real radio does and neither reads a clock. Realtime lets the wall clock
// drive it.
package virtual

import (
	"container/heap"
	"errors"
	"math/rand/v2"
	"slices"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// Why a link or a request failed.
var (
	ErrUnknown    = errors.New("no such device in range")
	ErrSilent     = errors.New("the device did not answer")
	ErrNotUp      = errors.New("the device is not connected")
	ErrEnded      = errors.New("the link was ended as asked")
	ErrOutOfRange = errors.New("the link was lost")
	ErrNoChar     = errors.New("the device has no such characteristic")
	ErrBusy       = errors.New("refused: procedure already in progress (0xFE)")
	ErrRadio      = errors.New("the radio is off")
)

// Latencies of a link. Our judgement: of the order a low-energy radio shows.
const (
	connectLeast   = 300 * time.Millisecond
	connectSpread  = 500 * time.Millisecond
	connectTimeout = 8 * time.Second
	askLatency     = 45 * time.Millisecond
	advertEvery    = time.Second
)

// Radio is the list of what is due. It is not safe for concurrent use: its
// owner locks.
type Radio struct {
	start    time.Time
	now      time.Duration
	due      queue
	count    uint64
	out      []sensor.Event
	scanning int // which scan; even is off
	off      bool
	devices  []*Device
}

// NewRadio is a radio whose time begins at start.
func NewRadio(start time.Time) *Radio { return &Radio{start: start} }

// Add puts a device in range. It must be called before anything is asked.
func (r *Radio) Add(d *Device) {
	d.radio = r
	r.devices = append(r.devices, d)
}

// Now is the virtual time reached, since start.
func (r *Radio) Now() time.Duration { return r.now }

// Clock is the virtual time reached.
func (r *Radio) Clock() time.Time { return r.start.Add(r.now) }

// Start is where virtual time began.
func (r *Radio) Start() time.Time { return r.start }

// After has f called when the wait is over. What is due at the same instant
// is done in the order in which it was asked for.
func (r *Radio) After(wait time.Duration, f func()) {
	r.count++
	heap.Push(&r.due, item{at: r.now + max(0, wait), order: r.count, do: f})
}

// Due is when the next thing happens; false means never.
func (r *Radio) Due() (time.Duration, bool) {
	if len(r.due) == 0 {
		return 0, false
	}
	return r.due[0].at, true
}

// Run does everything due up to and at t and leaves the time there.
func (r *Radio) Run(t time.Duration) {
	for len(r.due) > 0 && r.due[0].at <= t {
		next := heap.Pop(&r.due).(item)
		r.now = max(r.now, next.at)
		next.do()
	}
	r.now = max(r.now, t)
}

// Take hands over what happened since the last call.
func (r *Radio) Take() []sensor.Event {
	out := r.out
	r.out = nil
	return out
}

func (r *Radio) emit(e sensor.Event) {
	e.At = r.Clock()
	r.out = append(r.out, e)
}

// Do takes one request, as a sensor.Port does.
func (r *Radio) Do(q sensor.Request) {
	switch q.Kind {
	case sensor.ScanOn:
		r.scan()
		return
	case sensor.ScanOff:
		r.scanning += r.scanning & 1
		return
	}
	i := slices.IndexFunc(r.devices, func(d *Device) bool { return d.ID == q.Device })
	if i < 0 {
		r.After(askLatency, func() { r.fail(q, ErrUnknown) })
		return
	}
	d := r.devices[i]
	switch q.Kind {
	case sensor.Connect:
		d.connect()
	case sensor.Disconnect:
		d.hangUp()
	case sensor.Read, sensor.Write:
		r.After(askLatency, func() { d.ask(q) })
	}
}

func (r *Radio) fail(q sensor.Request, why error) {
	kind := map[sensor.RequestKind]sensor.EventKind{
		sensor.Connect: sensor.Lost, sensor.Disconnect: sensor.Lost,
		sensor.Read: sensor.Answer, sensor.Write: sensor.Wrote,
	}[q.Kind]
	r.emit(sensor.Event{Kind: kind, Device: q.Device, Char: q.Char, Err: why})
}

// scan has every device that advertises found about once a second.
func (r *Radio) scan() {
	if r.off {
		r.emit(sensor.Event{Kind: sensor.RadioOff, Err: ErrRadio})
	}
	if r.scanning&1 == 1 {
		return
	}
	r.scanning++
	for _, d := range r.devices {
		d.advertise(r.scanning)
	}
}

// Off switches the radio off: every link is lost, nothing is found.
func (r *Radio) Off(why error) {
	if r.off {
		return
	}
	r.off = true
	for _, d := range r.devices {
		d.wanted++
		if d.trying {
			d.fail(why)
		}
		d.Drop(why)
	}
	r.emit(sensor.Event{Kind: sensor.RadioOff, Err: why})
}

// On switches it on again.
func (r *Radio) On() {
	if r.off {
		r.off = false
		r.emit(sensor.Event{Kind: sensor.RadioOn})
	}
}

// Device is one thing in range of the radio. Its functions are what is
// particular to it; nil means nothing to say.
type Device struct {
	ID     string
	Advert sensor.Advert
	Chars  []uint16
	Random *rand.Rand // latencies and signal strength

	Reachable func() bool                       // advertises and can be connected
	Linked    func(up bool)                     // the link came or went
	Read      func(char uint16) ([]byte, error) // what a read brings
	Write     func(char uint16, bytes []byte) error

	radio  *Radio
	up     bool
	link   int // counts links, so that nothing of an old one arrives on a new
	trying bool
	wanted int // counts wishes, so that an old attempt does not outlive a new wish
}

// Up reports whether a link stands.
func (d *Device) Up() bool { return d.up }

func (d *Device) reachable() bool {
	return !d.radio.off && (d.Reachable == nil || d.Reachable())
}

func (d *Device) advertise(scan int) {
	wait := time.Duration(d.Random.Int64N(int64(advertEvery)))
	var again func()
	again = func() {
		if d.radio.scanning != scan {
			return
		}
		if !d.up && d.reachable() {
			a := d.Advert
			a.Services = slices.Clone(a.Services)
			a.RSSI += d.Random.IntN(7) - 3
			data := make(map[uint16][]byte, len(a.ServiceData))
			for k, v := range a.ServiceData {
				data[k] = slices.Clone(v)
			}
			a.ServiceData = data
			d.radio.emit(sensor.Event{Kind: sensor.Found, Device: d.ID, Advert: a})
		}
		d.radio.After(advertEvery, again)
	}
	d.radio.After(wait, again)
}

func (d *Device) connect() {
	if d.up {
		return
	}
	d.wanted++
	d.trying = true
	wish, begun := d.wanted, d.radio.now
	var attempt func()
	attempt = func() {
		switch {
		case d.wanted != wish || d.up:
		case d.reachable():
			d.raise()
		case d.radio.off:
			d.fail(ErrRadio)
		case d.radio.now-begun >= connectTimeout:
			d.fail(ErrSilent)
		default:
			d.radio.After(500*time.Millisecond, attempt)
		}
	}
	d.radio.After(connectLeast+time.Duration(d.Random.Int64N(int64(connectSpread))), attempt)
}

// fail ends an attempt to connect.
func (d *Device) fail(why error) {
	d.trying = false
	d.radio.emit(sensor.Event{Kind: sensor.Lost, Device: d.ID, Err: why})
}

// hangUp ends what stands or is being tried.
func (d *Device) hangUp() {
	d.wanted++
	if d.trying {
		d.fail(ErrEnded)
	}
	d.Drop(ErrEnded)
}

func (d *Device) raise() {
	d.up, d.trying = true, false
	d.link++
	d.radio.emit(sensor.Event{Kind: sensor.Up, Device: d.ID, Chars: slices.Clone(d.Chars)})
	if d.Linked != nil {
		d.Linked(true)
	}
}

// Drop ends the link, if there is one.
func (d *Device) Drop(why error) {
	if !d.up {
		return
	}
	d.up = false
	d.radio.emit(sensor.Event{Kind: sensor.Lost, Device: d.ID, Err: why})
	if d.Linked != nil {
		d.Linked(false)
	}
}

// Send has a notification or indication arrive after a wait, if the link
// still stands then and the characteristic is one that a port subscribes to.
func (d *Device) Send(wait time.Duration, char uint16, bytes []byte) {
	if !d.up || !slices.Contains(gatt.Known, char) || !slices.Contains(d.Chars, char) {
		return
	}
	link := d.link
	send := func() {
		if d.up && d.link == link {
			d.radio.emit(sensor.Event{Kind: sensor.Value, Device: d.ID, Char: char, Bytes: bytes})
		}
	}
	if wait <= 0 {
		send()
		return
	}
	d.radio.After(wait, send)
}

// ask answers a read or a write when it has reached the device.
func (d *Device) ask(q sensor.Request) {
	r := d.radio
	switch {
	case !d.up:
		r.fail(q, ErrNotUp)
	case !slices.Contains(d.Chars, q.Char):
		r.fail(q, ErrNoChar)
	case q.Kind == sensor.Read:
		b, err := d.Read(q.Char)
		r.emit(sensor.Event{Kind: sensor.Answer, Device: d.ID, Char: q.Char, Bytes: b, Err: err})
	default:
		// The acknowledgement goes out before whatever the write leads to.
		at := len(r.out)
		r.emit(sensor.Event{Kind: sensor.Wrote, Device: d.ID, Char: q.Char})
		r.out[at].Err = d.Write(q.Char, q.Bytes)
	}
}

// item is one thing due; queue is ordered by time, then by asking.
type item struct {
	at    time.Duration
	order uint64
	do    func()
}

type queue []item

func (q queue) Len() int { return len(q) }
func (q queue) Less(i, j int) bool {
	return q[i].at < q[j].at || q[i].at == q[j].at && q[i].order < q[j].order
}
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(x any)   { *q = append(*q, x.(item)) }
func (q *queue) Pop() any {
	last := (*q)[len(*q)-1]
	(*q)[len(*q)-1] = item{}
	*q = (*q)[:len(*q)-1]
	return last
}
