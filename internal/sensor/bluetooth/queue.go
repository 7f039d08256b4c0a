package bluetooth

import (
	"sync"
	"time"

	"chainline/internal/sensor"
)

// Room for a slow consumer. A trainer, a meter and a belt bring some ten
// values a second: it would have to sleep for more than an hour.
const (
	advertsKept = 256
	valuesKept  = 65536
)

// queue holds events between the radio and whoever reads them, in the order
// in which they came. Putting never blocks. When there are too many, the
// oldest advertisement goes; a value that finds no room is refused, and its
// sender then ends the link, so that no stream ever has a hole.
type queue struct {
	mu      sync.Mutex
	room    int // for values
	count   uint64
	adverts ring
	rest    ring
	last    map[string]time.Time
	stirred chan struct{}
}

type numbered struct {
	n uint64
	e sensor.Event
}

func newQueue() *queue {
	return &queue{room: valuesKept, stirred: make(chan struct{}, 1), last: map[string]time.Time{}}
}

// put adds an event; false means that there is no room for this value.
func (q *queue) put(e sensor.Event) bool {
	q.mu.Lock()
	defer q.mu.Unlock()
	if e.Kind == sensor.Value && q.rest.len() >= q.room {
		return false
	}
	// Answers are stamped when they are dealt with, values when they arrive:
	// a device's time must not run backwards over that difference.
	if before := q.last[e.Device]; e.At.Before(before) {
		e.At = before
	}
	if len(q.last) > 4*advertsKept { // strangers' addresses change all the time
		clear(q.last)
	}
	q.last[e.Device] = e.At
	q.count++
	if e.Kind == sensor.Found {
		if q.adverts.len() >= advertsKept {
			q.adverts.pop()
		}
		q.adverts.push(numbered{q.count, e})
	} else {
		q.rest.push(numbered{q.count, e})
	}
	select {
	case q.stirred <- struct{}{}:
	default:
	}
	return true
}

// take removes the oldest event.
func (q *queue) take() (sensor.Event, bool) {
	q.mu.Lock()
	defer q.mu.Unlock()
	from := &q.rest
	if q.adverts.len() > 0 && (q.rest.len() == 0 || q.adverts.first().n < q.rest.first().n) {
		from = &q.adverts
	}
	if from.len() == 0 {
		return sensor.Event{}, false
	}
	return from.pop().e, true
}

// pump hands events over until quit is closed; then it closes out.
func (q *queue) pump(out chan<- sensor.Event, quit <-chan struct{}) {
	defer close(out)
	for {
		e, ok := q.take()
		if !ok {
			select {
			case <-q.stirred:
				continue
			case <-quit:
				return
			}
		}
		select {
		case out <- e:
		case <-quit:
			return
		}
	}
}

// ring is a queue in a slice; what was taken is given back from time to time.
type ring struct {
	items []numbered
	head  int
}

func (r *ring) len() int         { return len(r.items) - r.head }
func (r *ring) first() *numbered { return &r.items[r.head] }
func (r *ring) push(n numbered)  { r.items = append(r.items, n) }

func (r *ring) pop() numbered {
	n := r.items[r.head]
	r.items[r.head] = numbered{}
	r.head++
	if r.head >= 64 && r.head*2 >= len(r.items) {
		r.items = append(r.items[:0], r.items[r.head:]...)
		clear(r.items[len(r.items):cap(r.items)])
		r.head = 0
	}
	return n
}
