package bluetooth

import (
	"cmp"
	"context"
	"errors"
	"slices"
	"strings"
	"sync"
	"time"

	"github.com/godbus/dbus/v5"
)

// Names on the bus.
const (
	bluez       = "org.bluez"
	adapterIs   = "org.bluez.Adapter1"
	deviceIs    = "org.bluez.Device1"
	charIs      = "org.bluez.GattCharacteristic1"
	agentIs     = "org.bluez.Agent1"
	agentsAt    = "org.bluez.AgentManager1"
	objectsAt   = "org.freedesktop.DBus.ObjectManager"
	propertiesA = "org.freedesktop.DBus.Properties"
	daemon      = "org.freedesktop.DBus"
)

// callsOpen bounds the calls under way, so that their answers always have
// room and the connection's reader never waits for us.
const callsOpen = 512

// bus is one connection. Signals and the answers to our calls are dealt with
// in the order in which they came over the wire: a control point's answer is
// a signal, the acknowledgement of the write before it is a reply, and who
// mixes them up sees trainers answer before they were asked.
type bus struct {
	conn   *dbus.Conn
	cancel context.CancelFunc
	inbox  *inbox
	done   chan *dbus.Call
	open   map[*dbus.Call]func(*dbus.Call)
	late   []*dbus.Call // answers whose turn is not yet certain
	owner  string       // the unique name of the Bluetooth service
}

// arrived is a signal and when it came.
type arrived struct {
	*dbus.Signal
	at time.Time
}

// inbox takes signals from the connection's reader, which never waits.
type inbox struct {
	mu      sync.Mutex
	signals []arrived
	wake    func()
}

// DeliverSignal implements dbus.SignalHandler.
func (b *inbox) DeliverSignal(_, _ string, s *dbus.Signal) {
	b.mu.Lock()
	b.signals = append(b.signals, arrived{s, time.Now()})
	b.mu.Unlock()
	b.wake()
}

func (b *inbox) take() []arrived {
	b.mu.Lock()
	defer b.mu.Unlock()
	s := b.signals
	b.signals = nil
	return s
}

// dial connects; it ends with ctx or after limit, for a bus may take the
// connection and then say nothing. The connection ends with ctx.
func dial(ctx context.Context, address string, limit time.Duration, wake func()) (*bus, error) {
	ctx, cancel := context.WithCancel(ctx)
	timer := time.AfterFunc(limit, cancel)
	b, err := connect(ctx, address, wake)
	if !timer.Stop() && err == nil { // the connection is being closed
		err = context.DeadlineExceeded
	}
	if err != nil {
		cancel()
		return nil, err
	}
	b.cancel = cancel
	return b, nil
}

func connect(ctx context.Context, address string, wake func()) (*bus, error) {
	b := &bus{inbox: &inbox{wake: wake}, done: make(chan *dbus.Call, callsOpen), open: map[*dbus.Call]func(*dbus.Call){}}
	options := []dbus.ConnOption{dbus.WithContext(ctx), dbus.WithSignalHandler(b.inbox)}
	var err error
	if address == "" {
		b.conn, err = dbus.ConnectSystemBus(options...)
	} else {
		b.conn, err = dbus.Connect(address, options...)
	}
	if err != nil {
		return nil, err
	}
	return b, nil
}

func (b *bus) close() {
	_ = b.conn.Close()
	b.cancel()
}

// call sends a call; then, if it is not nil, gets its outcome in order.
func (b *bus) call(ctx context.Context, dest string, path dbus.ObjectPath, method string, then func(*dbus.Call), args ...any) {
	if len(b.open) >= callsOpen {
		if then != nil {
			then(&dbus.Call{Err: errBusy})
		}
		return
	}
	c := b.conn.Object(dest, path).GoWithContext(ctx, method, 0, b.done, args...)
	b.open[c] = then
}

// turn deals with everything that has come, in the order of the wire. It
// reports whether it should be called again at once.
func (b *bus) turn(signal func(arrived), first ...*dbus.Call) bool {
	// Whatever was answered before the signals are taken has all its
	// predecessors among them; whatever comes after may not.
	answers := append(append(b.late, first...), b.drain()...)
	b.late = nil
	signals := b.inbox.take()
	var last dbus.Sequence
	if len(signals) > 0 {
		last = signals[len(signals)-1].Sequence
	}
	for _, c := range b.drain() {
		if c.ResponseSequence > last {
			b.late = append(b.late, c)
		} else {
			answers = append(answers, c)
		}
	}
	slices.SortStableFunc(answers, func(x, y *dbus.Call) int { return cmp.Compare(x.ResponseSequence, y.ResponseSequence) })
	for _, s := range signals {
		for len(answers) > 0 && answers[0].ResponseSequence < s.Sequence {
			b.finish(answers[0])
			answers = answers[1:]
		}
		signal(s)
	}
	for _, c := range answers {
		b.finish(c)
	}
	return len(b.late) > 0
}

func (b *bus) drain() []*dbus.Call {
	var all []*dbus.Call
	for {
		select {
		case c := <-b.done:
			all = append(all, c)
		default:
			return all
		}
	}
}

func (b *bus) finish(c *dbus.Call) {
	then := b.open[c]
	delete(b.open, c)
	if then != nil {
		then(c)
	}
}

// watch asks for the signals needed. A match that is refused shows in what
// does not come; there is nothing better to do about it.
func (b *bus) watch(ctx context.Context) {
	for _, rule := range []string{
		"type='signal',sender='org.freedesktop.DBus',interface='org.freedesktop.DBus',member='NameOwnerChanged',arg0='org.bluez'",
		"type='signal',sender='org.bluez',interface='org.freedesktop.DBus.ObjectManager'",
		"type='signal',sender='org.bluez',interface='org.freedesktop.DBus.Properties',member='PropertiesChanged',path_namespace='/org/bluez'",
	} {
		b.call(ctx, daemon, "/org/freedesktop/DBus", daemon+".AddMatch", nil, rule)
	}
}

// plain is what went wrong with a call, as one line for a person.
func plain(err error) error {
	var e dbus.Error
	switch {
	case err == nil:
		return nil
	case errors.Is(err, context.DeadlineExceeded):
		return refusal{errSilent.Error(), err}
	case errors.As(err, &e):
		switch e.Name {
		case "org.freedesktop.DBus.Error.UnknownObject", "org.freedesktop.DBus.Error.UnknownMethod":
			return refusal{"the radio does not know the device any more", err}
		case "org.freedesktop.DBus.Error.AccessDenied":
			return refusal{"the system does not let this program use the radio", err}
		case "org.freedesktop.DBus.Error.NoReply", "org.freedesktop.DBus.Error.Timeout":
			return refusal{errSilent.Error(), err}
		}
		text := strings.TrimSpace(e.Error())
		if text == "" || text == e.Name {
			text = "refused: " + strings.TrimPrefix(e.Name, "org.bluez.Error.")
		}
		return refusal{text, err}
	}
	return err
}

// named reports whether err is one of the service's errors of this name.
func named(err error, names ...string) bool {
	var e dbus.Error
	return errors.As(err, &e) && slices.Contains(names, strings.TrimPrefix(e.Name, "org.bluez.Error."))
}

// wantsPairing reports whether a refusal is one that pairing may lift:
// insufficient authentication, authorisation or encryption (ATT errors 0x05,
// 0x08, 0x0F).
func wantsPairing(err error) bool {
	var e dbus.Error
	if !errors.As(err, &e) || !strings.HasPrefix(e.Name, "org.bluez.Error.") {
		return false
	}
	if named(err, "NotAuthorized") {
		return true
	}
	text := strings.ToLower(e.Error())
	for _, part := range []string{"0x05", "0x08", "0x0f", "authentication", "encryption", "not paired"} {
		if strings.Contains(text, part) {
			return true
		}
	}
	return false
}
