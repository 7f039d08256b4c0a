package sensor

import (
	"time"

	"chainline/internal/sensor/gatt"
)

// Wanted is a kind of sensor somebody waits for.
type Wanted int

// The kinds of sensors.
const (
	WantPowerMeter Wanted = iota + 1
	WantTrainer
	WantHeartBelt
	WantSpeedCadence
)

// service is the service a sensor of this kind offers.
func (w Wanted) service() Service {
	switch w {
	case WantPowerMeter:
		return CyclingPower
	case WantTrainer:
		return FitnessMachine
	case WantHeartBelt:
		return HeartRateBelt
	}
	return SpeedCadence
}

// Cause is a reason for a sensor not to appear.
type Cause int

// The causes, in order of likelihood when nothing is known; the two of the
// radio come first as soon as they are seen. The order is common practice.
const (
	CauseNoRadio    Cause = iota + 1 // no low-energy radio in this machine
	CauseRadioOff                    // it is there and switched off
	CauseAsleep                      // sensors wake when moved or worn
	CauseHeld                        // another program or phone holds the link
	CauseFar                         // heard faintly
	CauseStillWheel                  // on a wheel that does not turn
	CauseMagnet                      // the gap to the magnet
	CauseDryStrap                    // no contact with the skin
	CauseDeaf                        // this radio hears nothing at all
	CauseOtherRadio                  // it only speaks another radio
	CauseBattery
)

// Limits of the tree. Our judgement.
const (
	emptyBattery = 0.10             // at or below, the battery is the first suspect
	faintSignal  = -85              // dBm
	deafAfter    = 30 * time.Second // of scanning without any advertisement
)

// Looking is what is seen while somebody waits for a sensor, and what was
// tried already.
type Looking struct {
	Kind     Wanted
	NoRadio  bool // no low-energy radio was found
	RadioOff bool // there is one, and it is off
	Scanned  time.Duration
	Others   int // other devices heard, of any kind

	Heard   bool // the sensor, or one of its kind, advertises
	RSSI    int  // dBm, 0 unknown
	Known   bool // connected before
	Failing bool // attempts to connect fail
	Linked  bool // connected

	Battery     float64 // at its last word, fraction
	HasBattery  bool
	ContactLost bool // a belt says that it has no skin
	Worn        bool // the person says the belt is on

	Turning      bool // the cranks turn: another sensor or the person says so
	HasWheel     bool // the sensor says that it counts a wheel
	HasCrank     bool // the sensor says that it counts a crank
	WheelCounted bool // wheel revolutions arrive
	CrankCounted bool // crank revolutions, or watts, or heart beats arrive

	Tried []Cause
}

// Step is one thing to try next.
type Step struct {
	Cause Cause
	Do    string // a sentence
	Why   string // a sentence
}

// Next is the next thing to try, and false when there is nothing wrong that
// is seen or nothing left to try. It names one thing at a time.
func Next(l Looking) (Step, bool) {
	for _, c := range suspects(l) {
		if !tried(l.Tried, c) {
			do, why := words(c, l)
			return Step{Cause: c, Do: do, Why: why}, true
		}
	}
	return Step{}, false
}

func tried(all []Cause, c Cause) bool {
	for _, t := range all {
		if t == c {
			return true
		}
	}
	return false
}

// suspects are the causes that fit what is seen, the likeliest first.
func suspects(l Looking) []Cause {
	switch {
	case l.NoRadio:
		return []Cause{CauseNoRadio}
	case l.RadioOff:
		return []Cause{CauseRadioOff}
	case l.Linked:
		return silent(l)
	case l.Heard && !l.Failing:
		return nil // it is there, to be connected
	case l.Heard:
		return unreachable(l)
	}
	return unheard(l)
}

// silent are the causes of a sensor that is connected and does not count.
func silent(l Looking) []Cause {
	var all []Cause
	if l.Kind == WantHeartBelt && (l.ContactLost || !l.CrankCounted) {
		all = append(all, CauseDryStrap)
	}
	if l.Kind == WantSpeedCadence && l.Turning {
		nothing := !l.WheelCounted && !l.CrankCounted
		wheel := l.HasWheel && !l.WheelCounted || nothing && !l.HasCrank
		crank := l.HasCrank && !l.CrankCounted
		if wheel {
			all = append(all, CauseStillWheel)
		}
		if wheel || crank {
			all = append(all, CauseMagnet)
		}
	}
	if len(all) == 0 && (l.CrankCounted || l.WheelCounted || !l.Turning && l.Kind != WantHeartBelt) {
		return nil // it counts, or there is nothing to count yet
	}
	return withBattery(all, l)
}

// unreachable are the causes of a sensor that advertises and cannot be
// connected.
func unreachable(l Looking) []Cause {
	all := []Cause{CauseHeld}
	if l.RSSI != 0 && l.RSSI <= faintSignal {
		all = []Cause{CauseFar, CauseHeld}
	}
	return withBattery(all, l)
}

// unheard are the causes of a sensor that does not advertise.
func unheard(l Looking) []Cause {
	var all []Cause
	awake := l.Turning
	if l.Kind == WantHeartBelt {
		awake = l.Worn
	}
	if !awake {
		all = append(all, CauseAsleep)
	}
	all = append(all, CauseHeld)
	switch l.Kind {
	case WantSpeedCadence:
		all = append(all, CauseStillWheel, CauseMagnet)
	case WantHeartBelt:
		all = append(all, CauseDryStrap)
	}
	if l.Others == 0 && l.Scanned >= deafAfter {
		all = append(all, CauseDeaf)
	}
	if !l.Known {
		all = append(all, CauseOtherRadio) // one seen before speaks this one
	}
	return withBattery(all, l)
}

// withBattery puts the battery last, or first when it was nearly empty at
// the sensor's last word. A trainer has none.
func withBattery(all []Cause, l Looking) []Cause {
	switch {
	case l.Kind == WantTrainer:
		return all
	case l.HasBattery && l.Battery <= emptyBattery:
		return append([]Cause{CauseBattery}, all...)
	}
	return append(all, CauseBattery)
}

func words(c Cause, l Looking) (do, why string) {
	switch c {
	case CauseNoRadio:
		return "Plug in a Bluetooth low energy adapter.", "No low-energy radio was found in this machine."
	case CauseRadioOff:
		return "Switch Bluetooth on.", "The radio of this machine is there and off."
	case CauseAsleep:
		return asleepWords(l)
	case CauseHeld:
		if l.Kind == WantTrainer {
			return "Close every other program and phone that may hold the trainer, then wait ten seconds.",
				"Most trainers let only one program in at a time, and stay unseen by the others."
		}
		return "Close every other program, phone and watch that may hold the sensor, then wait ten seconds.",
			"Many sensors let only one or two in at a time, and stay unseen by the others."
	case CauseFar:
		return "Bring this machine nearer, or its adapter on a cable to within two metres.",
			"The sensor is heard, but only faintly."
	case CauseStillWheel:
		return "Look at which wheel the sensor sits on, and move it to the one that turns.",
			"On a trainer the front wheel stands still, and on many the rear wheel is taken off."
	case CauseMagnet:
		return "Bring magnet and sensor to within three millimetres of each other, or turn the sensor the right way.",
			"Something turns, and the sensor does not count it."
	case CauseDryStrap:
		return "Moisten the electrodes of the belt and tighten it.",
			"A belt wakes and measures only through damp skin contact."
	case CauseDeaf:
		return "Plug the adapter into another socket, away from metal and other radios, or restart it.",
			"This machine has not heard a single device so far."
	case CauseOtherRadio:
		return "Look on the sensor or in its papers whether it speaks Bluetooth low energy.",
			"Some sensors speak only another radio, which this program does not hear."
	case CauseBattery:
		if l.HasBattery && l.Battery <= emptyBattery {
			return "Change or charge its battery.", "It was nearly empty when the sensor was last heard."
		}
		return "Change or charge its battery.", "Nothing likelier is left."
	}
	return "", ""
}

func asleepWords(l Looking) (do, why string) {
	switch l.Kind {
	case WantTrainer:
		return "See that the trainer has current, and spin the cranks for ten to fifteen seconds.",
			"Many trainers sleep until their flywheel turns."
	case WantHeartBelt:
		return "Put the belt on, with its electrodes moist.", "Belts sleep until they are worn."
	case WantSpeedCadence:
		return "Spin the cranks so that the wheel turns too, for ten to fifteen seconds.",
			"Such sensors sleep until they are moved."
	}
	return "Spin the cranks for ten to fifteen seconds.", "Power meters sleep until they are moved."
}

// recently is how new a value has to be to show that something turns. Our
// judgement, as long as an engine holds a last value.
const recently = 3 * time.Second

// Looking is what the hub sees of a kind of sensor: of the device named, or
// of any of its kind when the name is empty. How long was scanned, what the
// person says and what was tried is for the caller to add; whether there is
// no radio at all is for the port's owner.
func (h *Hub) Looking(kind Wanted, id string) Looking {
	l := Looking{Kind: kind, RadioOff: h.radioOff != ""}
	for _, d := range h.devices {
		p := d.public()
		if d.link == Connected && h.moves(d) {
			l.Turning = true
		}
		wanted := p.ID == id || id == "" && p.speaks(kind.service())
		if !wanted {
			if !d.heard.IsZero() {
				l.Others++
			}
			continue
		}
		h.lookAt(d, &l)
	}
	return l
}

func (h *Hub) moves(d *device) bool {
	for _, v := range d.latest {
		if (v.Quantity == Cadence || v.Quantity == Power) && v.Value > 0 && h.now.Sub(v.At) <= recently {
			return true
		}
	}
	return false
}

func (h *Hub) lookAt(d *device, l *Looking) {
	l.Heard = l.Heard || !d.heard.IsZero() && h.now.Sub(d.heard) <= deafAfter
	if d.advert.RSSI != 0 {
		l.RSSI = d.advert.RSSI
	}
	l.Known = l.Known || d.saved && !d.setting.Seen.IsZero()
	l.Failing = l.Failing || d.failing
	l.Linked = l.Linked || d.link == Connected
	if d.hasBattery {
		l.Battery, l.HasBattery = d.battery, true
	}
	l.HasWheel = l.HasWheel || d.counts&gatt.CountsWheel != 0
	l.HasCrank = l.HasCrank || d.counts&gatt.CountsCrank != 0
	l.ContactLost = l.ContactLost || d.contactLost
	for _, v := range d.latest {
		if d.link != Connected || h.now.Sub(v.At) > recently || v.Value <= 0 && v.Quantity != Power {
			continue
		}
		switch v.Quantity {
		case WheelSpeed, MachineSpeed:
			l.WheelCounted = true
		case Cadence, Power, HeartRate:
			l.CrankCounted = true
		}
	}
	if d.link == Connected && (d.speedWheel.Turning(h.now) || d.powerWheel.Turning(h.now)) {
		l.WheelCounted = true // even while its circumference is not known
	}
}
