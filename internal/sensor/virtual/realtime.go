package virtual

import (
	"context"
	"sync"
	"time"

	"chainline/internal/sensor"
)

// Stage is something that lives in virtual time. Its methods may be called
// from any goroutine.
type Stage interface {
	Do(sensor.Request)
	Advance(to time.Time) []sensor.Event
	Now() time.Time
}

// tick is how often the wall clock moves a stage.
const tick = 20 * time.Millisecond

// port drives a stage by the wall clock.
type port struct {
	stage  Stage
	events chan sensor.Event
	quit   chan struct{}
	done   chan struct{}
	once   sync.Once
}

// Realtime is a stage as a port: one second of it in one second. Its events
// bear the time of the wall. It ends with ctx or Close; both end its one
// goroutine and close the channel.
func Realtime(ctx context.Context, s Stage) sensor.Port {
	p := &port{stage: s, events: make(chan sensor.Event, 64), quit: make(chan struct{}), done: make(chan struct{})}
	go p.drive(ctx)
	return p
}

func (p *port) Do(r sensor.Request)         { p.stage.Do(r) }
func (p *port) Events() <-chan sensor.Event { return p.events }

func (p *port) Close() error {
	p.once.Do(func() { close(p.quit) })
	<-p.done
	return nil
}

func (p *port) drive(ctx context.Context) {
	defer close(p.done)
	defer close(p.events)
	clock := time.NewTicker(tick)
	defer clock.Stop()
	wall, stage := time.Now(), p.stage.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-p.quit:
			return
		case <-clock.C:
		}
		for _, e := range p.stage.Advance(stage.Add(time.Since(wall))) {
			e.At = wall.Add(e.At.Sub(stage))
			select {
			case p.events <- e:
			case <-ctx.Done():
				return
			case <-p.quit:
				return
			}
		}
	}
}
