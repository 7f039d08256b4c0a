package bench

import (
	"encoding/binary"
	"math"
	"time"

	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/virtual"
)

// What each unit says, once in its interval.

func (w *World) trainerSpeaks(u *unit) {
	watts := w.reads(u, u.watts)
	w.say(u, gatt.IndoorBikeData, gatt.BikeData{
		Has:   gatt.BikeSpeed | gatt.BikeCadence | gatt.BikePower,
		Speed: w.drive.v, Cadence: w.legs.cadence, Power: watts,
	}.Append(nil))
	if w.brake.AlsoPower {
		w.say(u, gatt.CyclingPowerMeasurement, gatt.PowerMeasurement{Power: watts}.Append(nil))
	}
}

func (w *World) training() gatt.Training {
	switch {
	case w.brake.set.mode == holdsPower:
		return gatt.Training{State: gatt.TrainingControlledByPower}
	case w.control.started:
		return gatt.Training{State: gatt.TrainingManual}
	}
	return gatt.Training{State: gatt.TrainingIdle}
}

func powerFeatures(u *unit) gatt.PowerFeatures {
	if u.measuresAtTheRear {
		return gatt.PowerFeatures(0).With(gatt.NotDistributed)
	}
	return (gatt.HasCrank | gatt.HasOffsetCompensation | gatt.MeasuresTorque).With(gatt.NotDistributed)
}

func (w *World) meterSpeaks(u *unit) {
	w.say(u, gatt.CyclingPowerMeasurement, gatt.PowerMeasurement{
		Has: gatt.PowerCrank, Power: w.reads(u, u.watts),
		CrankRevs: uint16(w.crank.Whole), CrankTime: virtual.Ticks(w.crank.At, gatt.CrankTicks),
	}.Append(nil))
}

// meterOffset is the raw zero offset of the bench's meter; the value is that
// of the standard's example.
const meterOffset int16 = -12

// meterAsked takes a write to the meter's control point. The zero offset
// fails while the cranks turn.
func (w *World) meterAsked(b []byte) error {
	q, err := gatt.DecodePowerRequest(b)
	p := gatt.PowerResponse{Op: q.Op, Result: gatt.NotSupported}
	wait := 60 * time.Millisecond
	switch {
	case err != nil:
		p.Result = gatt.InvalidParameter
	case q.Op == gatt.AskCrankLength:
		p.Result, p.Param = gatt.Success, binary.LittleEndian.AppendUint16(nil, 345)
	case q.Op == gatt.StartOffset:
		wait = 2 * time.Second
	}
	if w.meter.offsetRuns {
		return virtual.ErrBusy
	}
	w.meter.offsetRuns = true
	link := w.meter.spoke
	still := w.legs.cadence == 0
	w.radio.After(wait, func() {
		w.meter.offsetRuns = false
		if w.meter.spoke != link {
			return
		}
		if q.Op == gatt.StartOffset && err == nil {
			p.Result = gatt.OperationFailed
			if still && w.legs.cadence == 0 {
				offset := meterOffset
				p.Result, p.Param = gatt.Success, binary.LittleEndian.AppendUint16(nil, uint16(offset))
			}
		}
		w.say(w.meter, gatt.CyclingPowerControlPoint, p.Append(nil))
	})
	return nil
}

func (w *World) paceFeatures() gatt.SpeedCadenceFeatures {
	var f gatt.SpeedCadenceFeatures
	if w.c.Pace.Wheel {
		f |= gatt.CountsWheel
	}
	if w.c.Pace.Crank {
		f |= gatt.CountsCrank
	}
	return f
}

func (w *World) paceSpeaks(u *unit) {
	if w.chance(u, MagnetGap) {
		// The counter stands: what was not counted never comes.
		u.missed += w.wheel.Whole - u.seen
	}
	u.seen = w.wheel.Whole
	if u.missed == 0 || w.wheel.Whole-u.missed != u.shownRevs {
		u.shownAt = w.wheel.At
	}
	u.shownRevs = w.wheel.Whole - u.missed
	w.say(u, gatt.SpeedCadenceMeasurement, gatt.SpeedCadence{
		HasWheel: w.c.Pace.Wheel, HasCrank: w.c.Pace.Crank,
		WheelRevs: u.shownRevs, WheelTime: virtual.Ticks(u.shownAt, gatt.SpeedWheelTicks),
		CrankRevs: uint16(w.crank.Whole), CrankTime: virtual.Ticks(w.crank.At, gatt.CrankTicks),
	}.Append(nil))
}

func (w *World) beltSpeaks(u *unit) {
	if w.chance(u, NoContact) {
		w.heart.take()
		w.say(u, gatt.HeartRateMeasurement, gatt.HeartRate{Contact: gatt.ContactLost}.Append(nil))
		return
	}
	w.say(u, gatt.HeartRateMeasurement, gatt.HeartRate{
		BPM: math.Round(w.reads(u, w.heart.rate)), Contact: gatt.ContactDetected, RR: w.heart.take(),
	}.Append(nil))
}
