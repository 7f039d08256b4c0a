package sensor

import (
	"fmt"
	"strings"
	"time"

	"chainline/internal/sensor/gatt"
)

// Link is how far the link to a device has come.
type Link int

// The states of a link.
const (
	NotConnected Link = iota // nobody asked for it
	Connecting               // asked of the port
	Connected
	Retrying // lost; tried again after a while
	Ending   // ended by us, the port has not said so yet
)

func (l Link) String() string {
	return [...]string{"not connected", "connecting", "connected", "lost, trying again", "ending"}[l]
}

// Latest is the last value of one quantity by one service.
type Latest struct {
	By       Service
	Quantity Quantity
	Value    float64
	At       time.Time
}

// Brake is how a trainer's brake may be set, as far as it said.
type Brake struct {
	Power, Gradient, Resistance, SpinDown bool
	// The ranges it gave; not Usable where it gave none. Fractions for
	// gradients, its own levels for resistances.
	Watts, Gradients, Levels gatt.Range
}

// Any reports whether there is a brake to set.
func (b Brake) Any() bool { return b.Power || b.Gradient || b.Resistance }

// Device is what is known of one device.
type Device struct {
	ID       string
	Name     string
	Link     Link
	Saved    bool // connected by the person, now or on an earlier day
	Services []Service
	RSSI     int       // dBm at the last advertisement; 0 is unknown
	Heard    time.Time // last advertisement
	Spoke    time.Time // last message over the link

	Maker, Model, Firmware string
	Location               string // where it says it sits
	Doing                  string // what a machine says it does
	Battery                float64
	HasBattery             bool

	Brake       Brake
	Controlled  bool // its brake is ours now
	TakesOffset bool // its zero offset can be set
	AsksOffset  bool // it asks for that
	OneOfTwo    bool // it says it may be half of a pair
	Garbled     int  // messages that could not be read

	Latest []Latest
}

// Age is the time since the device last said anything over its link; false
// when it never did.
func (d Device) Age(now time.Time) (time.Duration, bool) {
	if d.Spoke.IsZero() {
		return 0, false
	}
	return now.Sub(d.Spoke), true
}

// Measures reports whether the device has brought a quantity.
func (d Device) Measures(q Quantity) bool {
	for _, l := range d.Latest {
		if l.Quantity == q {
			return true
		}
	}
	return false
}

func (d Device) speaks(s Service) bool {
	for _, is := range d.Services {
		if is == s {
			return true
		}
	}
	return false
}

// Sentence says what the device is good for, in a sentence or two.
func (d Device) Sentence() string {
	if d.Link != Connected {
		return fmt.Sprintf("%s is %s.", d.Name, d.Link)
	}
	var said []string
	brings := func(q Quantity, what string) {
		if d.Measures(q) {
			said = append(said, what)
		}
	}
	brings(Power, "watts")
	brings(Cadence, "cadence")
	if d.Measures(WheelSpeed) {
		said = append(said, "wheel speed")
	}
	brings(HeartRate, "heart rate")
	var words []string
	if len(said) > 0 {
		first := strings.ToUpper(said[0][:1]) + said[0][1:]
		verb := "come"
		if len(said) == 1 && said[0] != "watts" {
			verb = "comes"
		}
		words = append(words, fmt.Sprintf("%s %s from %s.", listed(first, said[1:]), verb, d.Name))
	}
	if d.Brake.Any() {
		words = append(words, d.brakeSentence())
	}
	if len(words) == 0 {
		return fmt.Sprintf("%s is connected and has said nothing yet.", d.Name)
	}
	return strings.Join(words, " ")
}

func (d Device) brakeSentence() string {
	var by []string
	if d.Brake.Power {
		s := "power"
		if r := d.Brake.Watts; r.Usable() {
			s += fmt.Sprintf(" up to %.0f W", r.Max)
		}
		by = append(by, s)
	}
	if d.Brake.Gradient {
		s := "gradient"
		if r := d.Brake.Gradients; r.Usable() {
			s += fmt.Sprintf(" up to %.0f %%", r.Max*100)
		}
		by = append(by, s)
	}
	if d.Brake.Resistance {
		by = append(by, "resistance")
	}
	return fmt.Sprintf("The brake we may set is %s's: by %s.", d.Name, listed(by[0], by[1:]))
}

func listed(first string, rest []string) string {
	if len(rest) == 0 {
		return first
	}
	all := append([]string{first}, rest...)
	return strings.Join(all[:len(all)-1], ", ") + " and " + all[len(all)-1]
}

// device is the hub's own side of a device.
type device struct {
	id      string
	setting Setting
	saved   bool
	advert  Advert
	heard   time.Time
	spoke   time.Time

	wanted bool // the person wants a link
	link   Link
	since  time.Time // of the link's state; zero until the clock is known
	upAt   time.Time
	tries  int
	nextAt time.Time
	chars  []uint16

	features         gatt.MachineFeatures
	hasFeatures      bool
	powerRange       gatt.Range
	resistanceRange  gatt.Range
	inclinationRange gatt.Range
	meter            gatt.PowerFeatures
	hasMeter         bool
	counts           gatt.SpeedCadenceFeatures
	location         string
	doing            string
	maker, model     string
	battery          float64
	hasBattery       bool
	batterySaid      float64 // the lowest threshold said so far
	asksOffset       bool

	ctl         control
	offsetSince time.Time // of a zero offset under way

	merger                             gatt.BikeMerger
	powerWheel, speedWheel             gatt.Counter
	powerCrank, speedCrank             gatt.Counter
	contactLost                        bool
	contactSaid                        time.Time
	garbled                            int
	garbledSaid, firmwareSaid, failing bool
	latest                             []Latest
}

func newDevice(id string) *device {
	return &device{
		id: id, batterySaid: 1, setting: Setting{Device: id},
		powerWheel: gatt.NewPowerWheel(), speedWheel: gatt.NewSpeedWheel(),
		powerCrank: gatt.NewCrank(), speedCrank: gatt.NewCrank(),
	}
}

func (d *device) name() string {
	switch {
	case d.advert.Name != "":
		return d.advert.Name
	case d.setting.Name != "":
		return d.setting.Name
	}
	return d.id
}

func (d *device) has(char uint16) bool {
	for _, c := range d.chars {
		if c == char {
			return true
		}
	}
	return false
}

func (d *device) say(out *Out, at time.Time, kind NoticeKind, format string, args ...any) {
	out.Notices = append(out.Notices, Notice{Device: d.id, At: at, Kind: kind, Words: fmt.Sprintf(format, args...)})
}

// forgetLink drops what belonged to one link only: records half there,
// counters, control, and every command that waits.
func (d *device) forgetLink() {
	d.merger.Reset()
	d.powerWheel.Reset()
	d.speedWheel.Reset()
	d.powerCrank.Reset()
	d.speedCrank.Reset()
	d.ctl = control{}
	d.offsetSince = time.Time{}
	d.contactLost = false
}

func (d *device) brake() Brake {
	b := Brake{Watts: d.powerRange, Gradients: d.inclinationRange, Levels: d.resistanceRange}
	if !d.has(gatt.MachineControlPoint) || !d.hasFeatures {
		return b
	}
	t := d.features.Targets
	b.Power = t&gatt.TakesPower != 0
	b.Gradient = t&(gatt.TakesSimulation|gatt.TakesInclination) != 0
	b.Resistance = t&gatt.TakesResistance != 0 && d.resistanceRange.Usable()
	b.SpinDown = t&gatt.TakesSpinDown != 0
	return b
}

func (d *device) services() []Service {
	var all []Service
	add := func(s uint16) {
		for _, is := range all {
			if is == Service(s) {
				return
			}
		}
		if s != 0 {
			all = append(all, Service(s))
		}
	}
	for _, s := range d.advert.Services {
		add(s)
	}
	for _, c := range d.chars {
		if c != gatt.SensorLocation { // it stands in two services
			add(gatt.ServiceOf(c))
		}
	}
	return all
}

func (d *device) public() Device {
	return Device{
		ID: d.id, Name: d.name(), Link: d.link, Saved: d.saved, Services: d.services(),
		RSSI: d.advert.RSSI, Heard: d.heard, Spoke: d.spoke,
		Maker: d.maker, Model: d.model, Firmware: d.setting.Firmware,
		Location: d.location, Doing: d.doing, Battery: d.battery, HasBattery: d.hasBattery,
		Brake: d.brake(), Controlled: d.ctl.held,
		TakesOffset: d.takesOffset(), AsksOffset: d.asksOffset,
		OneOfTwo: d.meter.Distribution() == gatt.Distributed,
		Garbled:  d.garbled, Latest: append([]Latest(nil), d.latest...),
	}
}

func (d *device) takesOffset() bool {
	return d.has(gatt.CyclingPowerControlPoint) && (!d.hasMeter || d.meter&gatt.HasOffsetCompensation != 0)
}
