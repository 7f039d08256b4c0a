package bluetooth

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
)

// Open uses the system's Bluetooth service. It returns at once: that the
// radio cannot work, and later can, arrives as RadioOff and RadioOn. The port
// ends with ctx or Close.
func Open(ctx context.Context, o Options) (sensor.Port, error) { return open(ctx, o, usual), nil }

func open(ctx context.Context, o Options, t times) *port {
	p := &port{
		options: o, times: t, queue: newQueue(), events: make(chan sensor.Event),
		quit: make(chan struct{}), ended: make(chan struct{}), silence: make(chan struct{}),
		wake: make(chan struct{}, 1), links: map[string]*link{}, objects: newObjects(),
	}
	p.ctx, p.cancel = context.WithCancel(context.Background())
	stop := context.AfterFunc(ctx, p.shut)
	p.background.Go(func() { p.queue.pump(p.events, p.silence) })
	go func() {
		p.run()
		stop()
		close(p.ended)
	}()
	return p
}

// port is the radio. Everything below "owned" belongs to the goroutine of
// run; everyone else posts.
type port struct {
	options Options
	times   times
	queue   *queue
	events  chan sensor.Event

	ctx        context.Context // of everything asked of the bus
	cancel     context.CancelFunc
	quit       chan struct{} // someone wants the end
	once       sync.Once
	silence    chan struct{} // nobody is told anything any more
	ended      chan struct{}
	background sync.WaitGroup

	mu   sync.Mutex
	mail []func()
	wake chan struct{}

	// owned
	bus         *bus
	objects     *objects
	adapter     dbus.ObjectPath
	ready       bool             // what the state of the radio is, is known
	early       []sensor.Request // asked before that
	off         error            // why the radio cannot work; nil when it can
	scanning    bool             // somebody wants advertisements
	discovering bool             // the service has been asked for them
	resting     bool             // and is asked again later
	links       map[string]*link
	agent       *agent
	closing     bool
}

func (p *port) Events() <-chan sensor.Event { return p.events }

// Do takes a request and returns at once.
func (p *port) Do(r sensor.Request) {
	r.Bytes = append([]byte(nil), r.Bytes...)
	asked := time.Now()
	p.post(func() { p.request(r, asked) })
}

// Close ends every link and closes the channel. It waits for the service no
// longer than times.end.
func (p *port) Close() error {
	p.shut()
	<-p.ended
	return nil
}

func (p *port) shut() { p.once.Do(func() { close(p.quit) }) }

// post has f called by the port's goroutine.
func (p *port) post(f func()) {
	p.mu.Lock()
	p.mail = append(p.mail, f)
	p.mu.Unlock()
	p.stir()
}

func (p *port) stir() {
	select {
	case p.wake <- struct{}{}:
	default:
	}
}

// after posts f later, unless the port has ended meanwhile.
func (p *port) after(d time.Duration, f func()) *time.Timer {
	return time.AfterFunc(d, func() { p.post(f) })
}

func (p *port) emit(e sensor.Event) bool {
	if e.At.IsZero() {
		e.At = time.Now()
	}
	return p.queue.put(e)
}

// run is the port's goroutine.
func (p *port) run() {
	p.dial()
	quit := p.quit
	for p.ctx.Err() == nil {
		var done chan *dbus.Call
		var gone <-chan struct{}
		if p.bus != nil {
			done, gone = p.bus.done, p.bus.conn.Context().Done()
		}
		var first []*dbus.Call
		select {
		case <-p.wake:
		case c := <-done:
			first = append(first, c)
		case <-gone:
			p.busGone()
			continue
		case <-quit:
			quit = nil
			p.endAll()
			continue
		}
		if p.bus != nil && p.bus.turn(p.signal, first...) {
			p.stir()
		}
		p.readMail()
	}
	if p.bus != nil {
		p.bus.close()
	}
	p.background.Wait()
}

func (p *port) readMail() {
	p.mu.Lock()
	mail := p.mail
	p.mail = nil
	p.mu.Unlock()
	for _, f := range mail {
		f()
	}
}

// endAll ends every link and what else was begun, then the port.
func (p *port) endAll() {
	p.closing = true
	close(p.silence)
	time.AfterFunc(p.times.end, p.cancel)
	open := 1
	done := func(*dbus.Call) {
		if open--; open == 0 {
			p.cancel()
		}
	}
	if p.bus != nil {
		if p.discovering {
			open++
			p.bus.call(p.ctx, bluez, p.adapter, adapterIs+".StopDiscovery", done)
		}
		for _, l := range p.links {
			l.bury(p)
			if l.path != "" {
				open++
				p.bus.call(p.ctx, bluez, l.path, deviceIs+".Disconnect", done)
			}
		}
	}
	clear(p.links)
	done(nil)
}

// dial connects to the bus in the background.
func (p *port) dial() {
	p.background.Go(func() {
		b, err := dial(p.ctx, p.options.Address, p.times.ask, p.stir)
		p.post(func() { p.dialled(b, err) })
	})
}

func (p *port) dialled(b *bus, err error) {
	switch {
	case err != nil && !p.closing:
		p.radio(radioTrouble("the system's message bus cannot be reached",
			"on Linux the radio is used through the system bus and the Bluetooth service (BlueZ)", err))
		p.after(p.times.retry, p.dial)
	case err != nil:
	case p.closing:
		b.close()
	default:
		p.bus = b
		p.agent = newAgent(b.conn)
		b.watch(p.ctx)
		b.call(p.ctx, daemon, "/org/freedesktop/DBus", daemon+".GetNameOwner", func(c *dbus.Call) {
			var owner string
			if c.Store(&owner) == nil {
				b.owner = owner
			}
		}, bluez)
		p.list()
	}
}

func (p *port) busGone() {
	p.bus.close()
	p.bus = nil
	p.forget()
	if !p.closing {
		p.radio(radioTrouble("the system's message bus is gone", "it may come back by itself; if not, start this computer again", nil))
		p.after(p.times.retry, p.dial)
		return
	}
	p.cancel()
}

// forget drops what the service told, because it is not there any more.
func (p *port) forget() {
	p.objects = newObjects()
	p.discovering = false
}

// list asks the service for everything it knows; asking starts it where the
// system starts it by itself.
func (p *port) list() {
	b := p.bus
	ctx, cancel := context.WithTimeout(p.ctx, p.times.ask)
	b.call(ctx, bluez, "/", objectsAt+".GetManagedObjects", func(c *dbus.Call) {
		cancel()
		if p.bus != b || p.closing {
			return
		}
		var all map[dbus.ObjectPath]map[string]properties
		if err := c.Store(&all); err != nil {
			p.radio(noService(err))
			if errors.Is(err, context.DeadlineExceeded) { // it may only be busy
				p.after(p.times.retry, func() {
					if p.bus == b && !p.closing {
						p.list()
					}
				})
			}
			return
		}
		// What signals have told since the service came is kept.
		for path, interfaces := range all {
			p.objects.add(path, interfaces)
		}
		b.call(p.ctx, bluez, "/org/bluez", agentsAt+".RegisterAgent", nil, agentPath, "NoInputNoOutput")
		p.look()
		for path, d := range p.objects.devices { // of an earlier list, connected meanwhile or not
			p.deviceChanged(path, d)
		}
	})
}

func noService(err error) error {
	if named(err, "org.freedesktop.DBus.Error.AccessDenied") {
		return radioTrouble("the system does not let this program use Bluetooth",
			"use it from the computer's own desktop, or add this user to the group that may", err)
	}
	return radioTrouble("the system's Bluetooth service does not run",
		"start it (systemctl start bluetooth), or install BlueZ", err)
}

// look finds out whether there is a radio that works.
func (p *port) look() {
	before := p.adapter
	p.adapter = p.objects.pick(p.options.Adapter, p.adapter)
	if p.adapter != before {
		p.discovering = false
		p.loseAll(errLost)
	}
	a := p.objects.adapters[p.adapter]
	switch {
	case a == nil && p.options.Adapter != "":
		p.radio(radioTrouble("there is no Bluetooth radio called "+p.options.Adapter, "see which there are with: bluetoothctl list", nil))
	case a == nil:
		p.radio(radioTrouble("this computer has no Bluetooth radio that can be used", "plug one in; it is seen at once", nil))
	case !a.powered:
		p.discovering = false
		p.radio(radioTrouble("Bluetooth is switched off", "switch it on in the system's settings (or: bluetoothctl power on)", nil))
	default:
		p.radio(nil)
	}
}

// radio is told whether the radio works, and tells it when that is new.
func (p *port) radio(off error) {
	before, known := p.off, p.ready
	p.off, p.ready = off, true
	switch {
	case off != nil && (before == nil || before.Error() != off.Error()):
		p.loseAll(off)
		p.emit(sensor.Event{Kind: sensor.RadioOff, Err: off})
	case off == nil && known && before != nil:
		p.emit(sensor.Event{Kind: sensor.RadioOn})
	}
	early := p.early
	p.early = nil
	for _, r := range early {
		p.request(r, time.Now())
	}
	p.discover()
}

func (p *port) loseAll(why error) {
	for _, l := range p.links {
		l.again = false
		p.lose(l, why)
	}
}

// request does what was asked.
func (p *port) request(r sensor.Request, asked time.Time) {
	switch {
	case p.closing:
		return
	case !p.ready:
		p.early = append(p.early, r)
		return
	}
	switch r.Kind {
	case sensor.ScanOn:
		p.scan()
	case sensor.ScanOff:
		p.scanning = false
		p.discover()
	case sensor.Connect:
		p.connect(r)
	case sensor.Disconnect:
		p.disconnect(r)
	case sensor.Read, sensor.Write:
		p.ask(wish{r, asked})
	}
}

// signal deals with one signal of the bus.
func (p *port) signal(s arrived) {
	if p.closing {
		return
	}
	switch s.Sender {
	case daemon:
		p.ownerChanged(s)
	case p.bus.owner: // anyone may send us signals that look like the service's
		switch s.Name {
		case propertiesA + ".PropertiesChanged":
			p.changed(s)
		case objectsAt + ".InterfacesAdded":
			p.added(s)
		case objectsAt + ".InterfacesRemoved":
			p.removed(s)
		}
	}
}

// item is one value of a signal's body, of the type it should have.
func item[T any](s arrived, i int) (T, bool) {
	var none T
	if i >= len(s.Body) {
		return none, false
	}
	t, ok := s.Body[i].(T)
	return t, ok
}

func (p *port) ownerChanged(s arrived) {
	name, _ := item[string](s, 0)
	owner, ok := item[string](s, 2)
	if s.Name != daemon+".NameOwnerChanged" || name != bluez || !ok {
		return
	}
	p.bus.owner = owner
	p.forget()
	if owner == "" {
		p.radio(noService(errors.New("it left the bus")))
		return
	}
	p.loseAll(errLost)
	p.list()
}

func (p *port) added(s arrived) {
	path, ok := item[dbus.ObjectPath](s, 0)
	interfaces, ok2 := item[map[string]properties](s, 1)
	if !ok || !ok2 {
		return
	}
	p.objects.add(path, interfaces)
	if interfaces[adapterIs] != nil {
		p.look()
	}
	if d := p.objects.devices[path]; d != nil && interfaces[deviceIs] != nil {
		p.found(d, s.at)
		p.deviceChanged(path, d)
	}
}

func (p *port) removed(s arrived) {
	path, ok := item[dbus.ObjectPath](s, 0)
	interfaces, ok2 := item[[]string](s, 1)
	if !ok || !ok2 {
		return
	}
	d := p.objects.devices[path]
	p.objects.remove(path, interfaces)
	if d != nil && p.objects.devices[path] == nil {
		d.connected, d.resolved = false, false
		p.deviceChanged(path, d)
	}
	p.look()
}

func (p *port) changed(s arrived) {
	of, ok := item[string](s, 0)
	props, ok2 := item[properties](s, 1)
	if !ok || !ok2 {
		return
	}
	switch of {
	case charIs:
		if b, isBytes := value[[]byte](props, "Value"); isBytes {
			p.notified(s.Path, b, s.at)
		}
	case deviceIs:
		d := p.objects.devices[s.Path]
		if d == nil {
			return
		}
		d.change(props)
		if gone, ok := item[[]string](s, 2); ok {
			for _, name := range gone {
				if name == "RSSI" {
					d.advert.RSSI = 0
				}
			}
		}
		if isAdvert(props) {
			p.found(d, s.at)
		}
		p.deviceChanged(s.Path, d)
	case adapterIs:
		p.adapterChanged(s.Path, props)
	}
}

func (p *port) adapterChanged(path dbus.ObjectPath, props properties) {
	a := p.objects.adapters[path]
	if a == nil {
		return
	}
	a.change(props)
	if _, there := props["Powered"]; there {
		p.look()
	}
	if on, ok := value[bool](props, "Discovering"); ok && !on && path == p.adapter && p.discovering {
		p.discovering = false // someone or something ended it; it goes on
		p.rest()
	}
}
