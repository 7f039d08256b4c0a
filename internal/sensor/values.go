package sensor

import (
	"time"

	"chainline/internal/sensor/gatt"
)

// Battery levels at which a person hears of it. Our judgement.
var batteryWarnings = []float64{0.20, 0.10}

// contactAgain is how long a belt has to keep quiet about its contact before
// losing it is said again. Our judgement.
const contactAgain = 30 * time.Second

// value takes a notification, an indication or what a read brought.
func (d *device) value(e Event, out *Out) {
	var err error
	switch e.Char {
	case gatt.IndoorBikeData:
		err = d.bike(e, out)
	case gatt.CyclingPowerMeasurement:
		err = d.power(e, out)
	case gatt.SpeedCadenceMeasurement:
		err = d.speedCadence(e, out)
	case gatt.HeartRateMeasurement:
		err = d.heart(e, out)
	case gatt.BatteryLevel:
		err = d.batteryLevel(e, out)
	case gatt.MachineControlPoint:
		var p gatt.MachineResponse
		if p, err = gatt.DecodeMachineResponse(e.Bytes); err == nil {
			d.answered(p, e.At, out)
		}
	case gatt.MachineStatus:
		var s gatt.Status
		if s, err = gatt.DecodeStatus(e.Bytes); err == nil {
			d.machineStatus(s, e.At, out)
		}
	case gatt.CyclingPowerControlPoint:
		var p gatt.PowerResponse
		if p, err = gatt.DecodePowerResponse(e.Bytes); err == nil {
			d.offsetAnswered(p, e.At, out)
		}
	case gatt.TrainingStatus:
		var t gatt.Training
		if t, err = gatt.DecodeTraining(e.Bytes); err == nil {
			d.doing = t.State.String()
		}
	default:
		err = d.described(e, out)
	}
	if err != nil {
		d.spoilt(err, e.At, out)
	}
}

// spoilt counts a message that could not be read, and says so once.
func (d *device) spoilt(err error, at time.Time, out *Out) {
	d.garbled++
	if !d.garbledSaid {
		d.garbledSaid = true
		d.say(out, at, Garbled, "%s sent something that cannot be read: %v. It is left out and counted.", d.name(), err)
	}
}

// described takes what a device says of itself.
func (d *device) described(e Event, out *Out) (err error) {
	switch e.Char {
	case gatt.FitnessMachineFeature:
		var f gatt.MachineFeatures
		if f, err = gatt.DecodeMachineFeatures(e.Bytes); err == nil {
			d.features, d.hasFeatures = f, true
		}
	case gatt.PowerRange:
		err = readRange(e, &d.powerRange)
	case gatt.ResistanceRange:
		err = readRange(e, &d.resistanceRange)
	case gatt.InclinationRange:
		err = readRange(e, &d.inclinationRange)
	case gatt.CyclingPowerFeature:
		var f gatt.PowerFeatures
		if f, err = gatt.DecodePowerFeatures(e.Bytes); err == nil {
			d.meter, d.hasMeter = f, true
		}
	case gatt.SpeedCadenceFeature:
		var f gatt.SpeedCadenceFeatures
		if f, err = gatt.DecodeSpeedCadenceFeatures(e.Bytes); err == nil {
			d.counts = f
		}
	case gatt.SensorLocation:
		var l gatt.Location
		if l, err = gatt.DecodeLocation(e.Bytes); err == nil {
			d.location = l.String()
		}
	case gatt.BodySensorLocation:
		var l gatt.BodyLocation
		if l, err = gatt.DecodeBodyLocation(e.Bytes); err == nil {
			d.location = l.String()
		}
	case gatt.FirmwareRevision:
		d.firmware(gatt.DecodeText(e.Bytes), e.At, out)
	case gatt.ManufacturerName:
		d.maker = gatt.DecodeText(e.Bytes)
	case gatt.ModelNumber:
		d.model = gatt.DecodeText(e.Bytes)
	}
	return err
}

func readRange(e Event, to *gatt.Range) error {
	r, err := gatt.DecodeRange(e.Char, e.Bytes)
	if err == nil {
		*to = r
	}
	return err
}

// firmware remembers a device's firmware and says when it changed: what a
// rig check found may no longer hold.
func (d *device) firmware(now string, at time.Time, out *Out) {
	if now == "" {
		return
	}
	if before := d.setting.Firmware; before != "" && before != now {
		d.say(out, at, FirmwareChanged,
			"The firmware of %s is now %s; last time it was %s. Its numbers may have changed: repeat the rig check.",
			d.name(), now, before)
	}
	d.setting.Firmware = now
}

func (d *device) batteryLevel(e Event, out *Out) error {
	level, known, err := gatt.DecodeBattery(e.Bytes)
	if err != nil {
		return err
	}
	d.hasBattery = known
	if !known {
		return nil
	}
	d.battery = level
	d.put(out, e.At, BatteryLevel, Battery, level)
	if level > 0.5 {
		d.batterySaid = 1 // a new battery
	}
	for _, w := range batteryWarnings {
		if level <= w && d.batterySaid > w {
			d.batterySaid = w
			d.say(out, e.At, BatteryLow, "The battery of %s is at %.0f %%.", d.name(), level*100)
			break
		}
	}
	if level <= batteryWarnings[len(batteryWarnings)-1] {
		d.batterySaid = min(d.batterySaid, batteryWarnings[len(batteryWarnings)-1])
	}
	return nil
}

// put adds a reading and remembers it as the latest of its kind.
func (d *device) put(out *Out, at time.Time, by Service, q Quantity, v float64) {
	out.Readings = append(out.Readings, Reading{Device: d.id, By: by, Quantity: q, At: at, Value: v})
	for i := range d.latest {
		if l := &d.latest[i]; l.By == by && l.Quantity == q {
			l.Value, l.At = v, at
			return
		}
	}
	d.latest = append(d.latest, Latest{By: by, Quantity: q, Value: v, At: at})
}

func (d *device) bike(e Event, out *Out) error {
	part, err := gatt.DecodeBike(e.Bytes)
	if err != nil {
		return err
	}
	m, whole := d.merger.Add(part)
	if !whole {
		return nil
	}
	put := func(is gatt.BikeFields, q Quantity, v float64) {
		if m.Has&is != 0 {
			d.put(out, e.At, FitnessMachine, q, v)
		}
	}
	put(gatt.BikePower, Power, m.Power)
	put(gatt.BikeCadence, Cadence, m.Cadence)
	put(gatt.BikeSpeed, MachineSpeed, m.Speed)
	put(gatt.BikeResistance, Resistance, m.Resistance)
	if m.HeartRate > 0 { // machines say 0 for none
		put(gatt.BikeHeartRate, HeartRate, m.HeartRate)
	}
	return nil
}

func (d *device) power(e Event, out *Out) error {
	m, err := gatt.DecodePower(e.Bytes)
	if err != nil {
		return err
	}
	d.put(out, e.At, CyclingPower, Power, m.Power)
	d.asksOffset = m.Has&gatt.PowerAsksOffset != 0
	if ours := gatt.PowerBalance | gatt.PowerBalanceOfLeft; m.Has&ours == ours && m.Balance <= 1 {
		d.put(out, e.At, CyclingPower, LeftShare, m.Balance)
	}
	if m.Has&gatt.PowerCrank != 0 {
		d.turned(e, CyclingPower, Cadence, d.powerCrank.Add(uint32(m.CrankRevs), m.CrankTime, e.At), 60, out)
	}
	if m.Has&gatt.PowerWheel != 0 {
		d.turned(e, CyclingPower, WheelSpeed, d.powerWheel.Add(m.WheelRevs, m.WheelTime, e.At), d.setting.Circumference, out)
	}
	return nil
}

func (d *device) speedCadence(e Event, out *Out) error {
	m, err := gatt.DecodeSpeedCadence(e.Bytes)
	if err != nil {
		return err
	}
	if m.HasCrank {
		d.turned(e, SpeedCadence, Cadence, d.speedCrank.Add(uint32(m.CrankRevs), m.CrankTime, e.At), 60, out)
	}
	if m.HasWheel {
		d.turned(e, SpeedCadence, WheelSpeed, d.speedWheel.Add(m.WheelRevs, m.WheelTime, e.At), d.setting.Circumference, out)
	}
	return nil
}

// turned makes a reading of a rate of turning; per is what one revolution a
// second is worth, 0 when that is not known.
func (d *device) turned(e Event, by Service, q Quantity, t gatt.Turned, per float64, out *Out) {
	if t.Absurd {
		d.spoilt(errAbsurd, e.At, out)
	}
	if t.Known && per > 0 {
		d.put(out, e.At, by, q, t.Rate*per)
	}
}

type plainError string

func (e plainError) Error() string { return string(e) }

const errAbsurd = plainError("a counter that jumped faster than anything turns")

func (d *device) heart(e Event, out *Out) error {
	m, err := gatt.DecodeHeartRate(e.Bytes)
	if err != nil {
		return err
	}
	lost := m.Contact == gatt.ContactLost
	if lost && !d.contactLost && (d.contactSaid.IsZero() || e.At.Sub(d.contactSaid) >= contactAgain) {
		d.contactSaid = e.At
		d.say(out, e.At, ContactLost, "%s has no contact with the skin: moisten its electrodes and tighten it.", d.name())
	}
	d.contactLost = lost
	if m.None() {
		return nil
	}
	d.put(out, e.At, HeartRateBelt, HeartRate, m.BPM)
	for _, s := range m.RR {
		d.put(out, e.At, HeartRateBelt, RRInterval, s)
	}
	return nil
}
