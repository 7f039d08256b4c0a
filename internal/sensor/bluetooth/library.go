package bluetooth

import (
	"context"
	"slices"
	"sync"
	"time"

	"chainline/internal/sensor"
)

// stack is a general Bluetooth library whose calls block and cannot be
// stopped. It is what Windows and macOS have; this file makes a port of it,
// and is tested with a stack that is not there.
type stack interface {
	// enable readies the radio; dropped is called when a peer ends a link.
	enable(dropped func(id string)) error
	// scan blocks until stopScan.
	scan(found func(id string, a sensor.Advert)) error
	stopScan() error
	connect(id string) (peer, error)
}

// peer is a connected device. Disconnect must not be called after dropped.
type peer interface {
	characteristics() ([]remote, error)
	disconnect() error
}

// remote is a characteristic of a peer.
type remote interface {
	number() uint16
	listen(func([]byte)) error // notifications or indications
	read() ([]byte, error)
	write([]byte) error
}

// library is the port over a stack. Each link has a goroutine for its
// blocking calls; a call that does not return in time ends the link, because
// nothing can be asked beside it, and its own goroutine is left to it.
type library struct {
	stack  stack
	times  times
	queue  *queue
	events chan sensor.Event
	quit   chan struct{}
	once   sync.Once
	links  sync.WaitGroup
	pumped chan struct{}

	mu       sync.Mutex
	up       map[string]*libraryLink
	scanning bool
	scans    bool // the scan's goroutine runs
	off      error
	enabled  bool
}

type libraryLink struct {
	id     string
	dead   chan struct{} // closed when the link is lost
	wishes chan wish

	// under library.mu
	over    bool
	dropped bool
	isUp    bool
	writing uint16 // a write to it is not yet acknowledged
	held    []sensor.Event
	peer    peer
}

func openLibrary(ctx context.Context, s stack, t times) *library {
	b := &library{stack: s, times: t, queue: newQueue(), events: make(chan sensor.Event), quit: make(chan struct{}),
		pumped: make(chan struct{}), up: map[string]*libraryLink{}}
	go func() {
		b.queue.pump(b.events, b.quit)
		close(b.pumped)
	}()
	b.links.Go(b.enable)
	context.AfterFunc(ctx, func() { _ = b.Close() })
	return b
}

func (b *library) Events() <-chan sensor.Event { return b.events }

// Close ends every link; calls that do not return are not waited for longer
// than times.end.
func (b *library) Close() error {
	b.once.Do(func() {
		b.mu.Lock()
		close(b.quit)
		all := b.up
		b.up = map[string]*libraryLink{}
		if b.scans {
			go func() { _ = b.stack.stopScan() }()
		}
		for _, l := range all {
			b.end(l, errEnded)
		}
		b.mu.Unlock()
		done := make(chan struct{})
		go func() { b.links.Wait(); close(done) }()
		select {
		case <-done:
		case <-time.After(b.times.end):
		}
	})
	<-b.pumped
	return nil
}

func (b *library) closing() bool {
	select {
	case <-b.quit:
		return true
	default:
		return false
	}
}

func (b *library) emit(e sensor.Event) bool {
	e.At = time.Now()
	return b.queue.put(e)
}

// pause waits; false means that the port ends.
func (b *library) pause() bool {
	select {
	case <-b.quit:
		return false
	case <-time.After(b.times.retry):
		return true
	}
}

// enable readies the radio, again and again until it works.
func (b *library) enable() {
	for {
		err := b.stack.enable(b.peerDropped)
		b.mu.Lock()
		b.enabled = err == nil
		b.radio(err)
		if b.enabled {
			b.scanAgain()
		}
		b.mu.Unlock()
		if err == nil || !b.pause() {
			return
		}
	}
}

// radio is told whether the radio works, and tells it when that is new.
func (b *library) radio(err error) {
	switch {
	case err != nil && b.off == nil:
		b.off = radioTrouble("the Bluetooth radio cannot be used", "see in the system's settings that it is there, switched on and allowed to this program", err)
		for _, l := range b.up {
			b.end(l, b.off)
		}
		b.emit(sensor.Event{Kind: sensor.RadioOff, Err: b.off})
	case err == nil && b.off != nil:
		b.off = nil
		b.emit(sensor.Event{Kind: sensor.RadioOn})
	}
}

// Do takes a request and returns at once.
func (b *library) Do(r sensor.Request) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.closing() {
		return
	}
	r.Bytes = slices.Clone(r.Bytes)
	l := b.up[r.Device]
	switch r.Kind {
	case sensor.ScanOn:
		b.scanning = true
		if b.off != nil {
			b.emit(sensor.Event{Kind: sensor.RadioOff, Err: b.off})
		}
		b.scanAgain()
	case sensor.ScanOff:
		if b.scanning && b.scans {
			go func() { _ = b.stack.stopScan() }()
		}
		b.scanning = false
	case sensor.Connect:
		b.begin(l, r)
	case sensor.Disconnect:
		if l == nil {
			b.emit(failed(r, errNotUp))
			return
		}
		b.end(l, errEnded)
	case sensor.Read, sensor.Write:
		if l == nil || !l.isUp {
			b.emit(failed(r, errNotUp))
			return
		}
		select {
		case l.wishes <- wish{r, time.Now()}:
		default:
			b.emit(failed(r, errBusy))
		}
	}
}

// scanAgain starts the scan's goroutine where it is wanted and missing.
func (b *library) scanAgain() {
	if !b.scanning || b.scans || !b.enabled || b.closing() {
		return
	}
	b.scans = true
	b.links.Go(func() {
		err := b.stack.scan(b.found)
		again := b.pauseUnless(err == nil)
		b.mu.Lock()
		defer b.mu.Unlock()
		b.scans = false
		if err != nil {
			b.radio(err)
		}
		if again {
			b.scanAgain()
		}
	})
}

// pauseUnless waits before a scan that failed is tried again.
func (b *library) pauseUnless(well bool) bool {
	if well {
		return !b.closing()
	}
	return b.pause()
}

func (b *library) found(id string, a sensor.Advert) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.scanning && !b.closing() {
		b.radio(nil)
		b.emit(sensor.Event{Kind: sensor.Found, Device: id, Advert: a})
	}
}

func (b *library) begin(l *libraryLink, r sensor.Request) {
	switch {
	case l != nil:
		return
	case b.off != nil:
		b.emit(failed(r, b.off))
		return
	}
	l = &libraryLink{id: r.Device, dead: make(chan struct{}), wishes: make(chan wish, wishesKept)}
	b.up[l.id] = l
	b.links.Go(func() { b.serve(l) })
}

func (b *library) peerDropped(id string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if l := b.up[id]; l != nil && l.peer != nil {
		l.dropped = true
		b.end(l, errLost)
	}
}

// end loses a link, once: what waits is answered, then it is lost. The link's
// goroutine disconnects, unless the other side did. b.mu is held.
func (b *library) end(l *libraryLink, why error) {
	if l.over {
		return
	}
	l.over = true
	close(l.dead)
	if b.up[l.id] == l {
		delete(b.up, l.id)
	}
	if l.writing != 0 {
		b.emit(failed(sensor.Request{Kind: sensor.Write, Device: l.id, Char: l.writing}, why))
	}
	for {
		select {
		case w := <-l.wishes:
			b.emit(failed(w.Request, why))
			continue
		default:
		}
		break
	}
	b.emit(sensor.Event{Kind: sensor.Lost, Device: l.id, Err: why})
}

func (b *library) lose(l *libraryLink, why error) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.end(l, why)
}

// within does a blocking call; it is not waited for longer than limit, nor
// once the link is lost.
func within[T any](l *libraryLink, limit time.Duration, call func() (T, error)) (T, error) {
	type outcome struct {
		v   T
		err error
	}
	out := make(chan outcome, 1)
	go func() {
		v, err := call()
		out <- outcome{v, err}
	}()
	timer := time.NewTimer(limit)
	defer timer.Stop()
	var none T
	select {
	case o := <-out:
		return o.v, o.err
	case <-l.dead:
		return none, errLost
	case <-timer.C:
		return none, errSilent
	}
}
