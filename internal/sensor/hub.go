package sensor

import (
	"errors"
	"fmt"
	"time"

	"chainline/internal/sensor/gatt"
)

// Waits before a lost device is tried again, and the longest. Our judgement:
// a sensor that only fell asleep for a moment is back within a breath; one
// that is gone does not keep the radio busy.
var linkRetries = []time.Duration{time.Second, 2 * time.Second, 4 * time.Second, 8 * time.Second, 15 * time.Second}

// Time-outs of links, for ports that never answer. Our judgement.
const (
	connectTime = 45 * time.Second // a port should say Lost long before
	closeTime   = 5 * time.Second
	steadyAfter = 5 * time.Second // a link that lasted so long begins its retries anew
)

// devicesKept bounds what a busy hall of advertisements can make us remember.
const devicesKept = 256

// Hub turns what ports see into readings and notices, and wishes into
// requests. It belongs to one goroutine. It never writes to a trainer's
// control point before Command or SpinDown was called for that trainer on
// the present link.
type Hub struct {
	devices  []*device // in the order they were first seen
	byID     map[string]*device
	now      time.Time // the latest time seen
	scanning bool
	radioOff string // why the radio cannot work; empty when it can
}

// NewHub makes a hub that remembers the settings of devices seen before. It
// connects to none of them by itself.
func NewHub(saved []Setting) *Hub {
	h := &Hub{byID: map[string]*device{}}
	for _, s := range saved {
		if s.Device == "" {
			continue
		}
		d := h.device(s.Device)
		d.setting, d.saved = s, true
	}
	return h
}

func (h *Hub) device(id string) *device {
	if d, ok := h.byID[id]; ok {
		return d
	}
	if len(h.devices) >= devicesKept {
		h.dropOldest()
	}
	d := newDevice(id)
	h.byID[id] = d
	h.devices = append(h.devices, d)
	return d
}

// dropOldest forgets the device unheard of for longest that nobody chose.
func (h *Hub) dropOldest() {
	oldest := -1
	for i, d := range h.devices {
		if d.saved || d.wanted || d.link != NotConnected {
			continue
		}
		if oldest < 0 || d.heard.Before(h.devices[oldest].heard) {
			oldest = i
		}
	}
	if oldest >= 0 {
		h.remove(oldest)
	}
}

func (h *Hub) remove(i int) {
	delete(h.byID, h.devices[i].id)
	h.devices = append(h.devices[:i], h.devices[i+1:]...)
}

// Handle takes what a port saw.
func (h *Hub) Handle(e Event) Out {
	var out Out
	if e.At.After(h.now) {
		h.now = e.At
	}
	switch e.Kind {
	case RadioOff:
		h.radioIsOff(e, &out)
		return out
	case RadioOn:
		h.radioIsOn(e, &out)
		return out
	case Found:
		h.device(e.Device).found(e)
		return out
	}
	d, known := h.byID[e.Device]
	if !known {
		if e.Kind == Up {
			out.Requests = append(out.Requests, Request{Kind: Disconnect, Device: e.Device})
		}
		return out
	}
	switch e.Kind {
	case Up:
		d.up(e, &out)
	case Lost:
		d.lost(e.At, e.Err, &out)
	case Value, Answer:
		if e.Err == nil && (d.link == Connected || d.link == Connecting) {
			d.spoke = e.At
			d.value(e, &out)
		}
	case Wrote:
		d.acknowledged(e, &out)
	}
	return out
}

// found keeps what a device says of itself; not every advertisement says all.
func (d *device) found(e Event) {
	before := d.advert
	d.advert = e.Advert
	d.advert.Name = gatt.DecodeText([]byte(e.Advert.Name)) // any stranger may send it
	if d.advert.Name == "" {
		d.advert.Name = before.Name
	}
	if len(d.advert.Services) == 0 {
		d.advert.Services = before.Services
	}
	if len(d.advert.ServiceData) == 0 {
		d.advert.ServiceData = before.ServiceData
	}
	d.heard = e.At
}

func (d *device) up(e Event, out *Out) {
	if !d.wanted {
		out.Requests = append(out.Requests, Request{Kind: Disconnect, Device: d.id})
		return
	}
	queued, given := d.ctl.queued, d.ctl.given // given while connecting
	d.forgetLink()
	if queued != nil && e.At.Sub(given) <= staleAfter {
		d.ctl.wanted, d.ctl.queued, d.ctl.given = true, queued, given
	}
	d.link, d.since, d.upAt = Connected, e.At, e.At
	d.failing, d.spoke = false, e.At
	d.chars = append([]uint16(nil), e.Chars...)
	d.setting.Seen, d.setting.Name = e.At, d.name()
	d.say(out, e.At, LinkUp, "%s is connected.", d.name())
	for _, c := range gatt.ReadOnUp {
		if d.has(c) {
			out.Requests = append(out.Requests, Request{Kind: Read, Device: d.id, Char: c})
		}
	}
	d.drive(e.At, out)
}

// lost takes the end of a link, or of an attempt at one.
func (d *device) lost(at time.Time, why error, out *Out) {
	was := d.link
	if was == NotConnected {
		return
	}
	d.forgetLink()
	if !d.wanted {
		d.link = NotConnected
		return
	}
	because := ""
	if why != nil {
		because = fmt.Sprintf(" (%v)", why)
	}
	switch {
	case was == Connected || was == Ending:
		if at.Sub(d.upAt) >= steadyAfter {
			d.tries = 0
		}
		d.say(out, at, LinkLost, "The link to %s is lost%s; trying again.", d.name(), because)
	case was == Connecting && !d.failing:
		d.failing = true
		d.say(out, at, LinkLost, "%s cannot be reached%s; trying again.", d.name(), because)
	}
	if was != Retrying {
		d.link, d.since = Retrying, at
		d.nextAt = at.Add(linkRetries[min(d.tries, len(linkRetries)-1)])
		d.tries++
	}
}

func (d *device) connect(now time.Time, out *Out) {
	d.link, d.since = Connecting, now
	out.Requests = append(out.Requests, Request{Kind: Connect, Device: d.id})
}

// end asks the port to end a link.
func (d *device) end(now time.Time, out *Out) {
	d.link, d.since = Ending, now
	out.Requests = append(out.Requests, Request{Kind: Disconnect, Device: d.id})
}

func (d *device) acknowledged(e Event, out *Out) {
	if d.link != Connected {
		return
	}
	switch e.Char {
	case gatt.MachineControlPoint:
		d.wrote(e.Err, e.At, out)
	case gatt.CyclingPowerControlPoint:
		d.offsetWrote(e.Err, e.At, out)
	}
}

func (h *Hub) radioIsOff(e Event, out *Out) {
	if h.radioOff != "" {
		return
	}
	h.radioOff = "it says nothing about why"
	if e.Err != nil {
		h.radioOff = e.Err.Error()
	}
	out.Notices = append(out.Notices, Notice{
		At: e.At, Kind: RadioTrouble, Words: fmt.Sprintf("The radio does not work: %s.", h.radioOff),
	})
	for _, d := range h.devices {
		d.lost(e.At, errors.New("the radio does not work"), out)
	}
}

// radioIsOn connects again at once what the person had connected.
func (h *Hub) radioIsOn(e Event, out *Out) {
	if h.radioOff == "" {
		return
	}
	h.radioOff = ""
	out.Notices = append(out.Notices, Notice{At: e.At, Kind: RadioTrouble, Words: "The radio works again."})
	if h.scanning {
		out.Requests = append(out.Requests, Request{Kind: ScanOn})
	}
	for _, d := range h.devices {
		if d.wanted && d.link == Retrying {
			d.tries = 0
			d.connect(e.At, out)
		}
	}
}

// Tick lets time pass: reconnects what is due, ends what does not answer.
// Call it a few times a second.
func (h *Hub) Tick(now time.Time) Out {
	var out Out
	if now.After(h.now) {
		h.now = now
	}
	for _, d := range h.devices {
		if d.since.IsZero() {
			d.since = now // asked for before any clock was seen
		}
		switch d.link {
		case Connected:
			d.controlTick(now, &out)
			d.offsetTick(now, &out)
		case Connecting:
			if now.Sub(d.since) >= connectTime && h.radioOff == "" {
				out.Requests = append(out.Requests, Request{Kind: Disconnect, Device: d.id})
				d.lost(now, errors.New("no answer"), &out)
			}
		case Retrying:
			if !now.Before(d.nextAt) && h.radioOff == "" {
				d.connect(now, &out)
			}
		case Ending:
			if now.Sub(d.since) >= closeTime {
				d.lost(now, errors.New("it did not answer"), &out)
			}
		}
	}
	return out
}

// Scan switches the search for devices on or off.
func (h *Hub) Scan(on bool) Out {
	h.scanning = on
	kind := ScanOff
	if on {
		kind = ScanOn
	}
	return Out{Requests: []Request{{Kind: kind}}}
}

// Connect asks for a device, now and again whenever its link is lost.
func (h *Hub) Connect(id string) Out {
	var out Out
	d := h.device(id)
	d.wanted, d.saved = true, true
	if d.link != NotConnected && d.link != Retrying {
		return out
	}
	d.tries = 0
	if h.radioOff != "" {
		d.link, d.since = Retrying, h.now
		return out
	}
	d.connect(h.now, &out)
	return out
}

// Disconnect ends a link and does not try again; the device stays known.
func (h *Hub) Disconnect(id string) Out {
	var out Out
	d, ok := h.byID[id]
	if !ok {
		return out
	}
	d.wanted = false
	switch d.link {
	case Connected, Connecting:
		d.end(h.now, &out)
	case Retrying:
		d.link = NotConnected
	}
	return out
}

// Forget ends a link and forgets the device.
func (h *Hub) Forget(id string) Out {
	out := h.Disconnect(id)
	for i, d := range h.devices {
		if d.id == id {
			h.remove(i)
			break
		}
	}
	return out
}

// Command tells a trainer what to do. Only what passed ride's safety gate
// may come here. The first command on a link asks for control; a command
// that waits is replaced by a newer one, and dropped when the link or the
// control is lost or when it is older than three seconds by the time control
// is granted. So command again at every ControlGained.
func (h *Hub) Command(id string, c Command, now time.Time) Out {
	var out Out
	if now.After(h.now) {
		h.now = now
	}
	d, ok := h.byID[id]
	if !ok || !d.wanted {
		out.Notices = append(out.Notices, Notice{
			Device: id, At: now, Kind: CommandFailed, Words: fmt.Sprintf("%s is not connected.", h.nameOf(id)),
		})
		return out
	}
	d.command(c, now, &out)
	return out
}

// Steering tells whether a trainer's brake is ours now, and whether it would
// take a command at once: no procedure is under way and none waits.
func (h *Hub) Steering(id string) (held, free bool) {
	d, ok := h.byID[id]
	if !ok || d.link != Connected {
		return false, false
	}
	return d.ctl.held, d.ctl.held && !d.ctl.busy && d.ctl.queued == nil
}

// Release stops wanting control of a trainer: nothing more is written to it,
// and nothing is asked for again. Its brake stays as it was told last.
func (h *Hub) Release(id string) Out {
	if d, ok := h.byID[id]; ok {
		d.ctl.wanted, d.ctl.queued, d.ctl.spin = false, nil, false
	}
	return Out{}
}

// SpinDown begins the trainer's own calibration.
func (h *Hub) SpinDown(id string) Out {
	var out Out
	d, ok := h.byID[id]
	switch {
	case !ok || d.link != Connected:
		h.cannot(id, SpinDown, "%s is not connected.", &out)
	case !d.has(gatt.MachineControlPoint) || d.hasFeatures && d.features.Targets&gatt.TakesSpinDown == 0:
		h.cannot(id, SpinDown, "%s has no spin-down that could be begun from here.", &out)
	default:
		d.ctl.wanted, d.ctl.spin = true, true
		d.drive(h.now, &out)
	}
	return out
}

func (h *Hub) cannot(id string, kind NoticeKind, words string, out *Out) {
	out.Notices = append(out.Notices, Notice{Device: id, At: h.now, Kind: kind, Words: fmt.Sprintf(words, h.nameOf(id))})
}

func (h *Hub) nameOf(id string) string {
	if d, ok := h.byID[id]; ok {
		return d.name()
	}
	return id
}

// Devices are all devices heard of, in the order they were first.
func (h *Hub) Devices() []Device {
	all := make([]Device, len(h.devices))
	for i, d := range h.devices {
		all[i] = d.public()
	}
	return all
}

// Settings are what is to be remembered of the devices the person chose.
func (h *Hub) Settings() []Setting {
	var all []Setting
	for _, d := range h.devices {
		if d.saved {
			all = append(all, d.setting)
		}
	}
	return all
}

// Configure sets what a person may set of a device: the circumference of its
// wheel, the scale of Crr and the width of a resistance.
func (h *Hub) Configure(s Setting) {
	if d, ok := h.byID[s.Device]; ok {
		d.setting.Circumference = s.Circumference
		d.setting.CrrScale = s.CrrScale
		d.setting.ResistanceBytes = s.ResistanceBytes
	}
}
