package bluetooth

import (
	"context"
	"fmt"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// state is how far a link has come.
type state int

const (
	seeking     state = iota // the device is not known to the service yet
	connecting               // Device1.Connect is under way
	resolving                // its services are being found
	subscribing              // notifications are being switched on
	up
	ending // Device1.Disconnect is under way
)

// link is a device from the wish to connect until Lost.
type link struct {
	id     string
	state  state
	path   dbus.ObjectPath // of the device; empty while seeking
	ctx    context.Context // of every call on this link
	cancel context.CancelFunc
	limit  *time.Timer // of the attempt
	dead   bool
	again  bool // connect was asked for while it was ending
	paired bool // pairing was tried

	order  []uint16                   // its characteristics
	paths  map[uint16]dbus.ObjectPath // where they are
	heard  map[dbus.ObjectPath]uint16 // those subscribed to
	todo   []uint16                   // still to subscribe to
	denied error                      // why the last subscription was refused
	held   []sensor.Event             // came before Up

	wishes []wish
	now    *wish // the one under way
}

func (p *port) connect(r sensor.Request) {
	if l := p.links[r.Device]; l != nil {
		l.again = l.state == ending
		return
	}
	switch {
	case p.off != nil:
		p.emit(failed(r, p.off))
		return
	case !isAddress(r.Device):
		p.emit(failed(r, errAddress))
		return
	}
	l := &link{id: r.Device, heard: map[dbus.ObjectPath]uint16{}}
	l.ctx, l.cancel = context.WithCancel(p.ctx)
	l.limit = p.after(p.times.connect, func() {
		if !l.dead && l.state < up {
			p.giveUp(l, errSilent)
		}
	})
	p.links[l.id] = l
	if path, d := p.objects.device(p.adapter, l.id); d != nil {
		p.begin(l, path)
		return
	}
	p.discover()
}

// call is a call on this link; its outcome is only heard while the link is.
func (p *port) call(l *link, limit time.Duration, path dbus.ObjectPath, method string, then func(*dbus.Call), args ...any) {
	if l.dead || p.bus == nil {
		return
	}
	ctx, cancel := context.WithTimeout(l.ctx, limit)
	p.bus.call(ctx, bluez, path, method, func(c *dbus.Call) {
		cancel()
		if !l.dead {
			then(c)
		}
	}, args...)
}

func (p *port) begin(l *link, path dbus.ObjectPath) {
	l.state, l.path = connecting, path
	p.agent.trust(path)
	p.call(l, p.times.connect, path, deviceIs+".Connect", func(c *dbus.Call) {
		if c.Err != nil && !named(c.Err, "AlreadyConnected") {
			p.giveUp(l, plain(c.Err))
			return
		}
		l.state = resolving
		p.discover()
		if d := p.objects.devices[path]; d != nil {
			d.connected = true // the answer says so, whatever comes first
			p.deviceChanged(path, d)
		} else {
			p.lose(l, errLost)
		}
	})
}

// deviceChanged follows what the service says of a device's link.
func (p *port) deviceChanged(path dbus.ObjectPath, d *device) {
	l := p.links[d.address]
	if l == nil || d.adapter != p.adapter {
		return
	}
	switch {
	case l.state == seeking && p.objects.devices[path] != nil:
		p.begin(l, path)
	case l.path != path:
	case l.state == connecting: // Connect itself says what came of it
	case l.state == ending && !d.connected:
		p.lose(l, errEnded)
	case l.state >= resolving && !d.connected:
		p.lose(l, errLost)
	case l.state == resolving && d.resolved:
		p.subscribe(l)
	}
}

func (p *port) subscribe(l *link) {
	l.state = subscribing
	l.order, l.paths = p.objects.charsOf(l.path)
	for _, n := range gatt.Known {
		if path, there := l.paths[n]; there && p.objects.chars[path].speaks() {
			l.todo = append(l.todo, n)
		}
	}
	p.nextSubscription(l)
}

// nextSubscription switches the next notification on. A characteristic that
// refuses it is left out of Up: who cannot hear a control point's answers
// must not write to it. A device that refuses all is given up.
func (p *port) nextSubscription(l *link) {
	if len(l.todo) == 0 {
		if l.denied != nil && len(l.heard) == 0 {
			p.giveUp(l, l.denied)
			return
		}
		p.isUp(l)
		return
	}
	n := l.todo[0]
	path := l.paths[n]
	l.heard[path] = n // values may come before the reply is dealt with
	p.call(l, p.times.connect, path, charIs+".StartNotify", func(c *dbus.Call) {
		switch {
		case c.Err == nil || named(c.Err, "AlreadyExists"):
			l.todo = l.todo[1:]
			p.nextSubscription(l)
		case named(c.Err, "InProgress"): // the service renews an older one
			p.after(p.times.busy, func() {
				if !l.dead {
					p.nextSubscription(l)
				}
			})
		case named(c.Err, "NotConnected"):
			p.giveUp(l, plain(c.Err))
		case wantsPairing(c.Err) && !l.paired:
			p.pair(l, func() { p.nextSubscription(l) })
		default:
			delete(l.heard, path)
			l.denied = fmt.Errorf("it does not let %04X be listened to: %w", n, plain(c.Err))
			l.leaveOut(n)
			p.nextSubscription(l)
		}
	})
}

func (l *link) leaveOut(n uint16) {
	l.todo = l.todo[1:]
	delete(l.paths, n)
	for i, c := range l.order {
		if c == n {
			l.order = append(l.order[:i:i], l.order[i+1:]...)
			return
		}
	}
}

// pair pairs, once on a link, and goes on whatever came of it: what is tried
// again then says why it does not work.
func (p *port) pair(l *link, then func()) {
	l.paired = true
	p.call(l, p.times.connect, l.path, deviceIs+".Pair", func(*dbus.Call) { then() })
}

func (p *port) isUp(l *link) {
	l.limit.Stop()
	l.state = up
	e := sensor.Event{Kind: sensor.Up, Device: l.id, Chars: append([]uint16(nil), l.order...), At: time.Now()}
	if len(l.held) > 0 && l.held[0].At.Before(e.At) {
		e.At = l.held[0].At // the link stood when the first value came
	}
	p.emit(e)
	held := l.held
	l.held = nil
	for _, v := range held {
		p.emit(v)
	}
}

// notified is a notification or an indication.
func (p *port) notified(path dbus.ObjectPath, bytes []byte, at time.Time) {
	for _, l := range p.links {
		n, ours := l.heard[path]
		if !ours {
			continue
		}
		e := sensor.Event{Kind: sensor.Value, Device: l.id, Char: n, Bytes: bytes, At: at}
		switch {
		case l.state < up && len(l.held) < wishesKept:
			l.held = append(l.held, e)
		case l.state < up:
			p.giveUp(l, errOverflow)
		case !p.emit(e):
			p.giveUp(l, errOverflow)
		}
		return
	}
}

// giveUp ends a link from our side.
func (p *port) giveUp(l *link, why error) {
	path := l.path
	p.lose(l, why)
	if path != "" && p.bus != nil {
		ctx, cancel := context.WithTimeout(p.ctx, p.times.end)
		p.bus.call(ctx, bluez, path, deviceIs+".Disconnect", func(*dbus.Call) { cancel() })
	}
}

// bury ends what goes on for a link.
func (l *link) bury(p *port) {
	l.dead = true
	l.limit.Stop()
	l.cancel()
	if p.agent != nil {
		p.agent.distrust(l.path)
	}
}

// lose ends a link: every open wish is answered, then it is lost, once.
func (p *port) lose(l *link, why error) {
	if l.dead {
		return
	}
	l.bury(p)
	delete(p.links, l.id)
	if l.now != nil {
		p.emit(failed(l.now.Request, why))
	}
	for _, w := range l.wishes {
		p.emit(failed(w.Request, why))
	}
	p.emit(sensor.Event{Kind: sensor.Lost, Device: l.id, Err: why})
	if l.again {
		p.connect(sensor.Request{Kind: sensor.Connect, Device: l.id})
	}
	p.discover()
}

func (p *port) disconnect(r sensor.Request) {
	l := p.links[r.Device]
	switch {
	case l == nil:
		if _, d := p.objects.device(p.adapter, r.Device); d == nil {
			p.emit(failed(r, errNotUp))
		}
	case l.state == ending:
		l.again = false
	case l.state < up:
		p.giveUp(l, errEnded)
	default:
		l.state = ending
		p.call(l, p.times.end, l.path, deviceIs+".Disconnect", func(*dbus.Call) { p.lose(l, errEnded) })
	}
}

// ask takes a read or a write; one at a time goes to a device.
func (p *port) ask(w wish) {
	l := p.links[w.Device]
	switch {
	case l == nil || l.state != up:
		p.emit(failed(w.Request, errNotUp))
	case l.paths[w.Char] == "":
		p.emit(failed(w.Request, errNoChar))
	case len(l.wishes) >= wishesKept:
		p.emit(failed(w.Request, errBusy))
	default:
		l.wishes = append(l.wishes, w)
		p.nextWish(l)
	}
}

func (p *port) nextWish(l *link) {
	for l.now == nil && len(l.wishes) > 0 {
		w := l.wishes[0]
		l.wishes = l.wishes[1:]
		if time.Since(w.asked) >= p.times.ask { // too late to be sent
			p.emit(failed(w.Request, errSilent))
			continue
		}
		l.now = &w
		p.send(l, w)
	}
}

func (p *port) send(l *link, w wish) {
	limit := p.times.ask - time.Since(w.asked)
	answer := func(c *dbus.Call) {
		if c.Err != nil && wantsPairing(c.Err) && !l.paired {
			p.pair(l, func() { p.send(l, w) })
			return
		}
		e := failed(w.Request, plain(c.Err))
		if c.Err == nil && w.Kind == sensor.Read {
			if err := c.Store(&e.Bytes); err != nil {
				e.Err = refusal{"the radio's answer could not be read", err}
			}
		}
		l.now = nil
		p.emit(e)
		p.nextWish(l)
	}
	none := map[string]dbus.Variant{}
	if w.Kind == sensor.Read {
		p.call(l, limit, l.paths[w.Char], charIs+".ReadValue", answer, none)
		return
	}
	request := map[string]dbus.Variant{"type": dbus.MakeVariant("request")}
	p.call(l, limit, l.paths[w.Char], charIs+".WriteValue", answer, w.Bytes, request)
}
