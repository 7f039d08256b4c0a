package replay

import (
	"math"

	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
	"chainline/recording"
)

// sample is one value of one channel.
type sample struct {
	second   float64
	quantity recording.Quantity
	value    float64
}

// source is one source of the recording as a device.
type source struct {
	name    string
	has     map[recording.Quantity]bool
	samples []sample // still to come, in order
	device  *virtual.Device

	crank, wheel     virtual.Turns
	crankAt, wheelAt float64 // s of the last value of each
	beats            []float64
}

// longest is the last second that is played, a week: a recording that says
// more is damaged there.
const longest = 7 * 86400.0

func (s *source) take(c recording.Channel) {
	for i, at := range c.Seconds {
		v := c.Values[i]
		if at >= 0 && at <= longest && !math.IsNaN(v) && !math.IsInf(v, 0) {
			s.samples = append(s.samples, sample{at, c.Quantity, v})
			s.has[c.Quantity] = true
		}
	}
}

// machine reports whether the source was a trainer: only one claims a speed
// or a resistance of its own.
func (s *source) machine() bool { return s.has[recording.MachineSpeed] || s.has[recording.Resistance] }

// meter reports whether its power comes by Cycling Power.
func (s *source) meter() bool { return s.has[recording.Power] && !s.machine() }

// counts reports whether it is a speed and cadence sensor besides.
func (s *source) counts() bool {
	return s.has[recording.WheelSpeed] || s.has[recording.Cadence] && !s.machine() && !s.meter()
}

func (s *source) beatsToo() bool { return s.has[recording.HeartRate] || s.has[recording.RRInterval] }

func (s *source) services() (services, chars []uint16) {
	offer := func(is bool, service uint16, c ...uint16) {
		if is {
			services, chars = append(services, service), append(chars, c...)
		}
	}
	offer(s.machine(), gatt.FitnessMachineService, gatt.FitnessMachineFeature, gatt.IndoorBikeData, gatt.MachineControlPoint, gatt.MachineStatus)
	offer(s.meter(), gatt.CyclingPowerService, gatt.CyclingPowerMeasurement, gatt.CyclingPowerFeature)
	offer(s.counts(), gatt.SpeedCadenceService, gatt.SpeedCadenceMeasurement, gatt.SpeedCadenceFeature)
	offer(s.beatsToo(), gatt.HeartRateService, gatt.HeartRateMeasurement)
	offer(s.has[recording.Battery], gatt.BatteryService, gatt.BatteryLevel)
	return services, append(chars, gatt.ModelNumber)
}

func (s *source) read(char uint16) ([]byte, error) {
	switch char {
	case gatt.ModelNumber:
		return []byte(s.name), nil
	case gatt.FitnessMachineFeature:
		var f gatt.MachineFeatures // no targets
		for q, bit := range map[recording.Quantity]gatt.MachineMeasures{
			recording.Power: gatt.MeasuresPower, recording.Cadence: gatt.MeasuresCadence, recording.Resistance: gatt.MeasuresResistance} {
			if s.has[q] {
				f.Measures |= bit
			}
		}
		return f.Append(nil), nil
	case gatt.CyclingPowerFeature:
		var f gatt.PowerFeatures
		if s.has[recording.Cadence] {
			f |= gatt.HasCrank
		}
		if s.has[recording.LeftShare] {
			f |= gatt.HasBalance
		}
		return f.Append(nil), nil
	case gatt.SpeedCadenceFeature:
		var f gatt.SpeedCadenceFeatures
		if s.has[recording.WheelSpeed] {
			f |= gatt.CountsWheel
		}
		if s.cadenceByCounter() {
			f |= gatt.CountsCrank
		}
		return f.Append(nil), nil
	}
	return nil, virtual.ErrNoChar
}

// cadenceByCounter: a trainer's and a meter's cadence go with their power.
func (s *source) cadenceByCounter() bool {
	return s.has[recording.Cadence] && !s.machine() && !s.meter()
}

// speak says the values of one instant, in the messages they belong to.
func (s *source) speak(now []sample, circumference float64) {
	values := map[recording.Quantity]float64{}
	for _, v := range now {
		if v.quantity == recording.RRInterval {
			s.beats = append(s.beats, v.value)
		}
		values[v.quantity] = v.value
	}
	at := now[0].second
	if c, is := values[recording.Cadence]; is {
		turn(&s.crank, &s.crankAt, at, c/60)
	}
	if v, is := values[recording.WheelSpeed]; is {
		turn(&s.wheel, &s.wheelAt, at, v/circumference)
	}
	if s.machine() {
		s.speakMachine(values)
	}
	if s.meter() {
		s.speakPower(values)
	}
	if s.counts() {
		s.speakCounts(values)
	}
	s.speakHeart(values)
	if b, is := values[recording.Battery]; is {
		s.device.Send(0, gatt.BatteryLevel, gatt.AppendBattery(nil, b))
	}
}

// turn lets a counter run at a rate (turns per second) since its last value;
// across a gap nothing is known to have turned.
func turn(t *virtual.Turns, last *float64, now, rate float64) {
	h := now - *last
	*last = now
	if h > gatt.StillAfter.Seconds() || h <= 0 {
		if rate > 0 {
			t.Restart(now)
		}
		return
	}
	t.Add(math.Max(0, rate)*h, h, now)
}

func (s *source) speakMachine(values map[recording.Quantity]float64) {
	var d gatt.BikeData
	for _, f := range []struct {
		q   recording.Quantity
		bit gatt.BikeFields
		to  *float64
	}{
		{recording.MachineSpeed, gatt.BikeSpeed, &d.Speed},
		{recording.Cadence, gatt.BikeCadence, &d.Cadence},
		{recording.Resistance, gatt.BikeResistance, &d.Resistance},
		{recording.Power, gatt.BikePower, &d.Power},
	} {
		if v, is := values[f.q]; is {
			d.Has |= f.bit
			*f.to = v
		}
	}
	// Without a speed the message says by itself that more of the record
	// follows; nothing is put in its place.
	if d.Has != 0 {
		s.device.Send(0, gatt.IndoorBikeData, d.Append(nil))
	}
}

func (s *source) speakPower(values map[recording.Quantity]float64) {
	watts, is := values[recording.Power]
	if !is {
		return // this service has no message without power
	}
	m := gatt.PowerMeasurement{Power: watts}
	if s.has[recording.Cadence] {
		m.Has |= gatt.PowerCrank
		m.CrankRevs, m.CrankTime = uint16(s.crank.Whole), virtual.Ticks(s.crank.At, gatt.CrankTicks)
	}
	if share, is := values[recording.LeftShare]; is {
		m.Has |= gatt.PowerBalance | gatt.PowerBalanceOfLeft
		m.Balance = share
	}
	s.device.Send(0, gatt.CyclingPowerMeasurement, m.Append(nil))
}

func (s *source) speakCounts(values map[recording.Quantity]float64) {
	_, wheel := values[recording.WheelSpeed]
	_, crank := values[recording.Cadence]
	crank = crank && s.cadenceByCounter()
	if !wheel && !crank {
		return
	}
	s.device.Send(0, gatt.SpeedCadenceMeasurement, gatt.SpeedCadence{
		HasWheel: wheel, HasCrank: crank,
		WheelRevs: s.wheel.Whole, WheelTime: virtual.Ticks(s.wheel.At, gatt.SpeedWheelTicks),
		CrankRevs: uint16(s.crank.Whole), CrankTime: virtual.Ticks(s.crank.At, gatt.CrankTicks),
	}.Append(nil))
}

// most intervals fit in the smallest message of the radio.
const mostBeats = 8

// speakHeart says the heart rate and the intervals since. Where only
// intervals were recorded the rate is that of the last one: the service has
// no message without a rate.
func (s *source) speakHeart(values map[recording.Quantity]float64) {
	bpm, is := values[recording.HeartRate]
	if !is && (s.has[recording.HeartRate] || len(s.beats) == 0) {
		return
	}
	if !is {
		bpm = math.Round(60 / s.beats[len(s.beats)-1])
	}
	h := gatt.HeartRate{BPM: bpm, Contact: gatt.ContactDetected, RR: s.beats[max(0, len(s.beats)-mostBeats):]}
	s.beats = nil
	s.device.Send(0, gatt.HeartRateMeasurement, h.Append(nil))
}
