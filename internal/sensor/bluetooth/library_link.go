package bluetooth

import (
	"errors"
	"fmt"
	"slices"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// serve is a link's goroutine, from the wish to connect until it is lost.
func (b *library) serve(l *libraryLink) {
	limit := time.Now().Add(b.times.connect)
	chars, err := b.raise(l, limit)
	if err != nil {
		b.lose(l, err)
	}
	for err == nil {
		select {
		case <-l.dead:
			err = errLost
		case w := <-l.wishes:
			if err = b.ask(l, chars, w); err != nil {
				b.lose(l, err)
			}
		}
	}
	b.mu.Lock()
	p, dropped := l.peer, l.dropped
	b.mu.Unlock()
	if p != nil && !dropped {
		_ = p.disconnect() // the link is over whatever this says
	}
}

// raise connects, finds the characteristics, subscribes and says Up.
func (b *library) raise(l *libraryLink, limit time.Time) (map[uint16]remote, error) {
	_, err := within(l, time.Until(limit), func() (peer, error) {
		p, err := b.stack.connect(l.id)
		if err != nil {
			return nil, err
		}
		b.mu.Lock()
		defer b.mu.Unlock()
		if l.over { // too late: nobody wants it any more
			go func() { _ = p.disconnect() }()
			return nil, errLost
		}
		l.peer = p
		return p, nil
	})
	if err != nil {
		return nil, err
	}
	all, err := within(l, time.Until(limit), func() ([]remote, error) { return l.peer.characteristics() })
	if err != nil {
		return nil, err
	}
	chars := map[uint16]remote{}
	var order []uint16
	for _, c := range all {
		if _, twice := chars[c.number()]; !twice {
			chars[c.number()] = c
			order = append(order, c.number())
		}
	}
	order, err = b.subscribe(l, limit, chars, order)
	if err != nil {
		return nil, err
	}
	b.mu.Lock()
	defer b.mu.Unlock()
	if l.over {
		return nil, errLost
	}
	l.isUp = true
	b.emit(sensor.Event{Kind: sensor.Up, Device: l.id, Chars: order})
	b.release(l)
	return chars, nil
}

// subscribe listens to what is known, control points first. What refuses is
// left out; a device that refuses all is given up.
func (b *library) subscribe(l *libraryLink, limit time.Time, chars map[uint16]remote, order []uint16) ([]uint16, error) {
	heard := 0
	var denied error
	for _, n := range gatt.Known {
		c, there := chars[n]
		if !there {
			continue
		}
		_, err := within(l, time.Until(limit), func() (struct{}, error) {
			return struct{}{}, c.listen(func(v []byte) { b.value(l, n, slices.Clone(v)) })
		})
		switch {
		case err == nil:
			heard++
		case errors.Is(err, errSilent), errors.Is(err, errLost):
			return nil, err
		default:
			denied = fmt.Errorf("it does not let %04X be listened to: %w", n, err)
			delete(chars, n)
			order = slices.DeleteFunc(order, func(o uint16) bool { return o == n })
		}
	}
	if heard == 0 && denied != nil {
		return nil, denied
	}
	return order, nil
}

// value is a notification or an indication. Before Up it waits, and so does
// the answer to a write until the write's own acknowledgement is out: they
// come by different threads.
func (b *library) value(l *libraryLink, n uint16, v []byte) {
	b.mu.Lock()
	defer b.mu.Unlock()
	e := sensor.Event{Kind: sensor.Value, Device: l.id, Char: n, Bytes: v}
	switch {
	case l.over:
	case !l.isUp, l.writing == n:
		l.held = append(l.held, e)
		if len(l.held) > wishesKept {
			b.end(l, errOverflow)
		}
	case !b.emit(e):
		b.end(l, errOverflow)
	}
}

// release lets go of what waited. b.mu is held.
func (b *library) release(l *libraryLink) {
	held := l.held
	l.held = nil
	for _, e := range held {
		b.emit(e)
	}
}

// ask does one wish. An error is one that ends the link.
func (b *library) ask(l *libraryLink, chars map[uint16]remote, w wish) error {
	c, there := chars[w.Char]
	left := b.times.ask - time.Since(w.asked)
	switch {
	case !there:
		b.answer(l, failed(w.Request, errNoChar))
		return nil
	case left <= 0: // too late to be sent
		b.answer(l, failed(w.Request, errSilent))
		return nil
	}
	b.mu.Lock()
	if w.Kind == sensor.Write {
		l.writing = w.Char
	}
	b.mu.Unlock()
	v, err := within(l, left, func() ([]byte, error) {
		if w.Kind == sensor.Read {
			return c.read()
		}
		return nil, c.write(w.Bytes)
	})
	e := failed(w.Request, err)
	e.Bytes = v
	b.answer(l, e)
	if errors.Is(err, errSilent) {
		return errSilent
	}
	return nil
}

func (b *library) answer(l *libraryLink, e sensor.Event) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if l.over {
		return
	}
	b.emit(e)
	l.writing = 0
	b.release(l)
}
