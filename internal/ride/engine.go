package ride

import (
	"context"
	"sync"
	"sync/atomic"
	"time"

	"chainline/internal/sensor"
)

// Options are what an engine is connected to.
type Options struct {
	Port   sensor.Port
	Keep   func(record []byte) error // the journal; must not wait for a disk
	Replan Replanner                 // nil: the plan stays as it is
	Now    func() time.Time          // nil: time.Now
	Show   func(Snapshot, *Core)     // called by the engine's goroutine after every tick; may be nil
}

// Engine is the one goroutine that owns a ride. All methods may be called from
// any goroutine.
type Engine struct {
	o       Options
	core    *Core
	asks    chan ask
	answers chan answered
	done    chan struct{}
	latest  atomic.Pointer[Snapshot]
	err     error // of the journal, first; read after done

	mu   sync.Mutex
	subs map[chan Snapshot]bool
}

type ask struct {
	do     func(*Core, time.Time) string
	answer chan string
}

type answered struct {
	rest NewRest
	err  error
}

// Start runs a ride until it ends in order or ctx is cancelled: then the
// trainer is told 'easy', which takes up to three seconds, and the journal is
// left without an end, to be gone on with.
func Start(ctx context.Context, core *Core, o Options) *Engine {
	if o.Now == nil {
		o.Now = time.Now
	}
	e := &Engine{o: o, core: core, asks: make(chan ask), answers: make(chan answered, 1), done: make(chan struct{}), subs: map[chan Snapshot]bool{}}
	first := core.Snapshot()
	e.latest.Store(&first)
	go e.run(ctx)
	return e
}

// Done is closed when the ride has ended and everything was handed to the
// journal.
func (e *Engine) Done() <-chan struct{} { return e.done }

// Err is the first error of the journal, valid after Done.
func (e *Engine) Err() error { <-e.done; return e.err }

// Snapshot is the ride at the last tick.
func (e *Engine) Snapshot() Snapshot { return *e.latest.Load() }

// Key asks something of the ride; the answer is empty, or a sentence that says
// why not.
func (e *Engine) Key(k Key) string {
	return e.Do(func(c *Core, now time.Time) string { return c.Key(k, now) })
}

// Do runs a function on the core, in the ride's own goroutine; it must not
// block. After the end it answers that the ride is over.
func (e *Engine) Do(do func(c *Core, now time.Time) string) string {
	a := ask{do, make(chan string, 1)}
	select {
	case e.asks <- a:
		return <-a.answer
	case <-e.done:
		return "The ride has ended."
	}
}

// Watch gives every snapshot from now on, the newest only where the watcher is
// slow, until stop is called or the ride ends.
func (e *Engine) Watch() (snapshots <-chan Snapshot, stop func()) {
	ch := make(chan Snapshot, 1)
	e.mu.Lock()
	defer e.mu.Unlock()
	ch <- e.Snapshot()
	e.subs[ch] = true
	return ch, func() {
		e.mu.Lock()
		defer e.mu.Unlock()
		delete(e.subs, ch)
	}
}

func (e *Engine) run(ctx context.Context) {
	defer close(e.done)
	workers, stop := context.WithCancel(context.WithoutCancel(ctx))
	defer stop()
	tick := time.NewTicker(tickEvery)
	defer tick.Stop()
	cancelled := ctx.Done()
	events := e.o.Port.Events()
	e.flush(workers)
	for {
		select {
		case ev, ok := <-events:
			if !ok {
				events = nil
				continue
			}
			e.core.Event(ev)
		case <-tick.C:
			e.core.Tick(e.o.Now())
			e.show()
		case a := <-e.asks:
			a.answer <- a.do(e.core, e.o.Now())
			e.show()
		case n := <-e.answers:
			e.core.Replanned(n.rest, n.err)
		case <-cancelled:
			cancelled = nil
			e.core.leave(e.o.Now())
		}
		if e.flush(workers) {
			e.show()
			return
		}
	}
}

// flush moves what the core wants done to where it belongs.
func (e *Engine) flush(ctx context.Context) (over bool) {
	out := e.core.Effects()
	for _, r := range out.Requests {
		e.o.Port.Do(r)
	}
	for _, b := range out.Records {
		if e.o.Keep == nil {
			break
		}
		if err := e.o.Keep(b); err != nil && e.err == nil {
			e.err = err
			e.core.notice(AboutRide, true, "The ride cannot be written down: "+err.Error())
		}
	}
	if out.Replan != nil {
		e.ask(ctx, *out.Replan)
	}
	return out.Done
}

func (e *Engine) ask(ctx context.Context, r Rest) {
	if e.o.Replan == nil {
		e.core.Replanned(NewRest{}, context.Canceled)
		return
	}
	go func() {
		n, err := e.o.Replan.Replan(ctx, r)
		select {
		case e.answers <- answered{n, err}:
		case <-ctx.Done():
		}
	}()
}

func (e *Engine) show() {
	s := e.core.Snapshot()
	e.latest.Store(&s)
	if e.o.Show != nil {
		e.o.Show(s, e.core)
	}
	e.mu.Lock()
	defer e.mu.Unlock()
	for ch := range e.subs {
		select {
		case ch <- s:
		default:
			select { // the watcher is slow: the newest replaces what it did not take
			case <-ch:
			default:
			}
			select {
			case ch <- s:
			default:
			}
		}
	}
}
