package bench

import (
	"math"
	"math/rand/v2"
	"time"

	"chainline/estimate"
	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
)

// jitter is how much later than due a message may arrive.
const jitter = 12 * time.Millisecond

const batteryEvery = time.Minute

// unit is one sensor as a device on the radio.
type unit struct {
	Unit
	role   string
	device *virtual.Device
	random *rand.Rand
	speak  func(u *unit) // the messages of one interval

	watts  float64 // smoothed, what a power sensor has seen
	keep   float64
	woken  bool
	latest time.Duration     // when the last message arrives
	last   map[uint16][]byte // for a stuck sensor
	spoke  uint64            // counts links, so that an old interval ends

	dead              bool
	diesFrom          float64
	diesAt, diesFor   time.Duration
	toldBattery       int
	lastBatteryAt     time.Duration
	measuresAtTheRear bool   // the wheel, not the crank
	offsetRuns        bool   // a meter's zero offset
	seen, missed      uint32 // wheel turns: come by, and not counted
	shownRevs         uint32
	shownAt           float64 // s
}

func (w *World) makeUnits() {
	if t := w.c.Trainer; t != nil {
		chars := []uint16{gatt.FitnessMachineFeature, gatt.PowerRange, gatt.ResistanceRange, gatt.InclinationRange,
			gatt.MachineControlPoint, gatt.MachineStatus, gatt.TrainingStatus, gatt.IndoorBikeData}
		services := []uint16{gatt.FitnessMachineService}
		if t.AlsoPower {
			chars = append(chars, gatt.CyclingPowerMeasurement, gatt.CyclingPowerFeature)
			services = append(services, gatt.CyclingPowerService)
		}
		w.trainer = w.unit("trainer", "Bench trainer", t.Unit, services, chars, w.trainerSpeaks)
		w.trainer.measuresAtTheRear = true
		d := w.trainer.device
		d.Advert.ServiceData = map[uint16][]byte{gatt.FitnessMachineService: gatt.MachineAdvert{Available: true, Kinds: gatt.KindIndoorBike}.Append(nil)}
	}
	if m := w.c.Meter; m != nil {
		w.meter = w.unit("meter", "Bench crank meter", m.Unit, []uint16{gatt.CyclingPowerService},
			[]uint16{gatt.CyclingPowerMeasurement, gatt.CyclingPowerFeature, gatt.CyclingPowerControlPoint, gatt.SensorLocation}, w.meterSpeaks)
	}
	if p := w.c.Pace; p != nil {
		w.pace = w.unit("pace", "Bench speed and cadence", p.Unit, []uint16{gatt.SpeedCadenceService},
			[]uint16{gatt.SpeedCadenceMeasurement, gatt.SpeedCadenceFeature, gatt.SensorLocation}, w.paceSpeaks)
	}
	if b := w.c.Belt; b != nil {
		w.belt = w.unit("belt", "Bench belt", b.Unit, []uint16{gatt.HeartRateService},
			[]uint16{gatt.HeartRateMeasurement, gatt.BodySensorLocation}, w.beltSpeaks)
	}
}

func (w *World) unit(role, name string, is Unit, services, chars []uint16, speak func(*unit)) *unit {
	u := &unit{Unit: is, role: role, speak: speak, last: map[uint16][]byte{}, toldBattery: -1}
	u.random = estimate.Stream(w.c.Seed, 10+len(w.units))
	u.keep = keep(step, is.Smooth.Seconds())
	if u.Every <= 0 {
		u.Every = time.Second
	}
	chars = append(chars, gatt.FirmwareRevision, gatt.ManufacturerName, gatt.ModelNumber)
	if is.Battery > 0 {
		chars = append(chars, gatt.BatteryLevel)
	}
	u.device = &virtual.Device{
		ID: w.name() + "-" + role, Advert: sensor.Advert{Name: name, Services: services, RSSI: -62},
		Chars: chars, Random: estimate.Stream(w.c.Seed, 50+len(w.units)),
		Reachable: func() bool { return w.reachable(u) },
		Linked:    func(up bool) { w.linked(u, up) },
		Read:      func(char uint16) ([]byte, error) { return w.read(u, char) },
		Write:     func(char uint16, b []byte) error { return w.write(u, char, b) },
	}
	w.radio.Add(u.device)
	w.units = append(w.units, u)
	return u
}

// follow is what a power sensor smooths, step by step. Still cranks are zero
// watts, whatever the flywheel does.
func (u *unit) follow(w *World) {
	if w.legs.cadence > 0 {
		u.woken = true
	}
	at := w.now.legs + u.Zero*w.legs.cadence*math.Pi/30
	if u.measuresAtTheRear {
		at = w.now.wheel
	}
	u.watts = at + (u.watts-at)*u.keep
	if w.legs.cadence == 0 {
		u.watts = 0
	}
}

func (w *World) reachable(u *unit) bool {
	_, away := w.fault(u, Disconnects)
	return !away && !u.dead && !u.Empty && !u.Held && (!u.Asleep || u.woken)
}

func (w *World) linked(u *unit, up bool) {
	u.spoke++
	if u == w.trainer {
		w.control.linked(up)
	}
	if !up {
		return
	}
	u.latest = 0
	clear(u.last)
	link := u.spoke
	var again func()
	again = func() {
		if u.spoke != link {
			return
		}
		u.speak(u)
		w.battery(u)
		w.radio.After(u.Every, again)
	}
	w.radio.After(time.Duration(u.random.Int64N(int64(u.Every))), again)
}

// level is what is in the battery, as a fraction.
func (u *unit) level(now time.Duration) float64 {
	l := u.Battery
	if u.Lasts > 0 {
		l -= now.Seconds() / u.Lasts.Seconds()
	}
	if u.diesFor > 0 {
		l = u.diesFrom * (1 - (now-u.diesAt).Seconds()/u.diesFor.Seconds())
	}
	return math.Max(0, l)
}

// battery tells of a changed per cent, and once a minute.
func (w *World) battery(u *unit) {
	if u.Battery <= 0 {
		return
	}
	l := u.level(w.radio.Now())
	if l == 0 {
		u.dead = true
		u.device.Drop(virtual.ErrOutOfRange)
		return
	}
	per := int(math.Round(l * 100))
	if per != u.toldBattery || w.radio.Now()-u.lastBatteryAt >= batteryEvery {
		u.toldBattery, u.lastBatteryAt = per, w.radio.Now()
		w.say(u, gatt.BatteryLevel, gatt.AppendBattery(nil, l))
	}
}

// reads is what a unit makes of a true value: bias, noise and what is wrong.
func (w *World) reads(u *unit, value float64) float64 {
	if value == 0 {
		u.random.NormFloat64() // the stream stays in step
	} else {
		value *= 1 + u.Bias + u.Noise*u.random.NormFloat64()
	}
	if len(w.faults) == 0 {
		return value
	}
	if size, runs := w.fault(u, Scale); runs {
		value *= size
	}
	if size, runs := w.fault(u, Spike); runs {
		value += size
	}
	return value
}

func (w *World) read(u *unit, char uint16) ([]byte, error) {
	switch char {
	case gatt.FirmwareRevision:
		return []byte(u.Firmware), nil
	case gatt.ManufacturerName:
		return []byte("Bench"), nil
	case gatt.ModelNumber:
		return []byte(u.device.Advert.Name), nil
	case gatt.BatteryLevel:
		return gatt.AppendBattery(nil, u.level(w.radio.Now())), nil
	case gatt.FitnessMachineFeature:
		return w.brake.features().Append(nil), nil
	case gatt.PowerRange:
		return w.brake.powerRange().Append(char, nil), nil
	case gatt.ResistanceRange:
		return w.brake.resistanceRange().Append(char, nil), nil
	case gatt.InclinationRange:
		return gatt.Range{Min: -steepest, Max: steepest, Step: 0.001}.Append(char, nil), nil
	case gatt.TrainingStatus:
		return w.training().Append(nil), nil
	case gatt.CyclingPowerFeature:
		return powerFeatures(u).Append(nil), nil
	case gatt.SpeedCadenceFeature:
		return w.paceFeatures().Append(nil), nil
	case gatt.SensorLocation:
		if u == w.pace {
			return []byte{byte(gatt.AtRearHub)}, nil
		}
		return []byte{byte(gatt.AtSpider)}, nil
	case gatt.BodySensorLocation:
		return []byte{1}, nil // chest
	}
	return nil, virtual.ErrNoChar
}

func (w *World) write(u *unit, char uint16, b []byte) error {
	switch char {
	case gatt.MachineControlPoint:
		return w.control.write(b)
	case gatt.CyclingPowerControlPoint:
		return w.meterAsked(b)
	}
	return virtual.ErrNoChar
}
