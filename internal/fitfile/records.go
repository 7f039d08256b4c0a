package fitfile

import (
	"math"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"

	"chainline/recording"
)

// application tells Chainline's developer fields from others'; drawn once at
// random.
var application = []byte{0x6d, 0x1c, 0x8a, 0x52, 0x0b, 0x97, 0x4e, 0x3f, 0xa1, 0x64, 0xd8, 0x25, 0xc3, 0x70, 0x9e, 0x4b}

// maxExtra is how many further power sources have room in a file.
const maxExtra = 20

// developerFields describes one field for each source of power that is not
// the one shown, and what a live group did to the ride; the fields are in the
// order of their numbers.
func (a *activity) developerFields() ([]proto.Message, []extraField) {
	var extra []extraField
	for _, c := range a.rows.Columns {
		if c.Quantity == recording.Power && len(extra) < maxExtra && !a.shown(c) && (!c.Used || a.options.Source != "") {
			name := "power " + c.Source
			if c.Used {
				name = "power as ridden"
			}
			extra = append(extra, extraField{name, "watts", c.Values, 1})
		}
	}
	for _, q := range []recording.Quantity{recording.Shelter, recording.Help} {
		if values := a.rows.Column(q); values != nil { // that a ride had shelter must not get lost
			extra = append(extra, extraField{string(q), "%", values, 100})
		}
	}
	if len(extra) == 0 {
		return nil, nil
	}
	out := []proto.Message{mesgdef.NewDeveloperDataId(nil).
		SetApplicationId(application).
		SetManufacturerId(typedef.ManufacturerDevelopment).
		SetDeveloperDataIndex(0).ToMesg(nil)}
	for i, f := range extra {
		out = append(out, mesgdef.NewFieldDescription(nil).
			SetDeveloperDataIndex(0).
			SetFieldDefinitionNumber(uint8(i)).
			SetFitBaseTypeId(basetype.Uint16).
			SetFieldName([]string{shorten(f.name)}).
			SetUnits([]string{f.unit}).
			SetNativeMesgNum(typedef.MesgNumRecord).ToMesg(nil))
	}
	return out, extra
}

// extraField is what the format has no field for: values times scale.
type extraField struct {
	name, unit string
	values     []float64
	scale      float64
}

// shorten cuts a name to what a field's name may hold: 63 bytes and no NUL.
func shorten(s string) string {
	out := ""
	for _, r := range s {
		if r < ' ' || r == 0xFFFD {
			r = '_'
		}
		if len(out)+len(string(r)) > 63 {
			break
		}
		out += string(r)
	}
	return out
}

// shown: the column is the power the file shows.
func (a *activity) shown(c recording.Column) bool {
	if a.options.Source == "" {
		return c.Used
	}
	return c.Source == a.options.Source && (!c.Used || !a.has(c.Source))
}

// has: the source has a column of its own beside the one in use.
func (a *activity) has(source string) bool {
	for _, c := range a.rows.Columns {
		if c.Quantity == recording.Power && !c.Used && c.Source == source {
			return true
		}
	}
	return false
}

// records are one a second outside pauses; what is not known has no field,
// and a second of which nothing is known no record.
func (a *activity) records(extra []extraField) []timed {
	var power []float64
	for _, c := range a.rows.Columns {
		if c.Quantity == recording.Power && a.shown(c) {
			power = c.Values
		}
	}
	column := a.rows.Column
	set := []setter{
		{power, 1, 65534, func(r *mesgdef.Record, v float64) { r.SetPower(uint16(v)) }},
		{column(recording.Cadence), 1, 254, func(r *mesgdef.Record, v float64) { r.SetCadence(uint8(v)) }},
		{column(recording.HeartRate), 1, 254, func(r *mesgdef.Record, v float64) { r.SetHeartRate(uint8(v)) }},
		{column(recording.Speed), 1000, 65534, func(r *mesgdef.Record, v float64) { r.SetSpeed(uint16(v)) }},
		{ridden(column(recording.Position), column(recording.Brought)), 100, 4294967294, func(r *mesgdef.Record, v float64) { r.SetDistance(uint32(v)) }},
		{raised(column(recording.Altitude), 500), 5, 65534, func(r *mesgdef.Record, v float64) { r.SetAltitude(uint16(v)) }},
		{column(recording.LeftShare), 100, 100, func(r *mesgdef.Record, v float64) {
			r.SetLeftRightBalance(typedef.LeftRightBalanceRight | typedef.LeftRightBalance(100-v))
		}},
	}
	grade, lat, lon := column(recording.Gradient), column(recording.Latitude), column(recording.Longitude)
	var out []timed
	for k, s := range a.rows.Seconds {
		if a.rows.Paused[k] {
			continue
		}
		r := mesgdef.NewRecord(nil).SetTimestamp(a.time(s))
		known := 0
		for _, f := range set {
			known += f.put(r, k)
		}
		if g := value(grade, k); math.Abs(g) < 3 {
			r.SetGrade(int16(math.Round(g * 10000)))
		}
		if y, x := value(lat, k), value(lon, k); math.Abs(y) <= 90 && math.Abs(x) <= 180 {
			r.SetPositionLatDegrees(y).SetPositionLongDegrees(x)
		}
		for i, f := range extra {
			if w, ok := fits(f.values[k]*f.scale, 65534); ok {
				r.DeveloperFields = append(r.DeveloperFields, proto.DeveloperField{Num: byte(i), Value: proto.Uint16(uint16(w))})
				known++
			}
		}
		if known > 0 {
			out = append(out, timed{s, atRecord, r.ToMesg(nil)})
		}
	}
	return out
}

// setter puts one column into records: the value times scale, rounded, if it
// is known and the format can hold it.
type setter struct {
	values []float64
	scale  float64
	most   float64
	set    func(*mesgdef.Record, float64)
}

func (f *setter) put(r *mesgdef.Record, k int) int {
	v, ok := fits(value(f.values, k)*f.scale, f.most)
	if !ok {
		return 0
	}
	f.set(r, v)
	return 1
}

func value(values []float64, k int) float64 {
	if values == nil {
		return math.NaN()
	}
	return values[k]
}

// raised adds an offset to a copy.
func raised(values []float64, by float64) []float64 {
	var out []float64
	for _, v := range values {
		out = append(out, v+by)
	}
	return out
}

// ridden is the position less what was not ridden of it.
func ridden(position, brought []float64) []float64 {
	if brought == nil {
		return position
	}
	out := append([]float64(nil), position...)
	for i := range out {
		if b := brought[i]; b > 0 { // not a number before anything was
			out[i] -= b
		}
	}
	return out
}

// fits rounds what is known and lies from 0 to most.
func fits(v, most float64) (float64, bool) {
	v = math.Round(v)
	return v, v >= 0 && v <= most
}

// milli is seconds in the format's thousandths.
func milli(seconds float64) uint32 { return uint32(math.Round(seconds * 1000)) }

func (a *activity) lap(i int, t *recording.Totals, last bool) proto.Message {
	trigger := typedef.LapTriggerManual
	if last {
		trigger = typedef.LapTriggerSessionEnd
	}
	sport, sub := a.sport()
	m := mesgdef.NewLap(nil).
		SetMessageIndex(typedef.MessageIndex(i)).
		SetTimestamp(a.time(t.To)).
		SetStartTime(a.time(t.From)).
		SetEvent(typedef.EventLap).
		SetEventType(typedef.EventTypeStop).
		SetSport(sport).
		SetSubSport(sub).
		SetLapTrigger(trigger).
		SetTotalElapsedTime(milli(t.Elapsed)).
		SetTotalTimerTime(milli(t.Moving))
	s := summarise(t)
	m.TotalWork, m.TotalDistance, m.TotalAscent = s.work, s.distance, s.ascent
	m.AvgPower, m.MaxPower, m.AvgSpeed, m.MaxSpeed = s.meanW, s.maxW, s.meanSpeed, s.maxSpeed
	m.AvgCadence, m.MaxCadence, m.AvgHeartRate, m.MaxHeartRate = s.meanCadence, s.maxCadence, s.meanHeart, s.maxHeart
	return m.ToMesg(nil)
}

func (a *activity) session(t *recording.Totals, laps int) proto.Message {
	sport, sub := a.sport()
	m := mesgdef.NewSession(nil).
		SetMessageIndex(0).
		SetTimestamp(a.time(t.To)).
		SetStartTime(a.time(0)).
		SetEvent(typedef.EventSession).
		SetEventType(typedef.EventTypeStop).
		SetTrigger(typedef.SessionTriggerActivityEnd).
		SetSport(sport).
		SetSubSport(sub).
		SetFirstLapIndex(0).
		SetNumLaps(uint16(laps)).
		SetTotalElapsedTime(milli(t.Elapsed)).
		SetTotalTimerTime(milli(t.Moving))
	s := summarise(t)
	m.TotalWork, m.TotalDistance, m.TotalAscent = s.work, s.distance, s.ascent
	m.AvgPower, m.MaxPower, m.AvgSpeed, m.MaxSpeed = s.meanW, s.maxW, s.meanSpeed, s.maxSpeed
	m.AvgCadence, m.MaxCadence, m.AvgHeartRate, m.MaxHeartRate = s.meanCadence, s.maxCadence, s.meanHeart, s.maxHeart
	return m.ToMesg(nil)
}

// summary is what laps and sessions share, in the format's units; what is
// not known has the format's mark for that.
type summary struct {
	work, distance                               uint32
	ascent, meanW, maxW, meanSpeed, maxSpeed     uint16
	meanCadence, maxCadence, meanHeart, maxHeart uint8
}

func summarise(t *recording.Totals) summary {
	return summary{
		work: long(t.WorkJ), distance: long(t.DistanceM * 100), ascent: short(t.AscentM),
		meanW: short(t.MeanW), maxW: short(t.MaxW),
		meanSpeed: short(t.DistanceM / t.Moving * 1000), maxSpeed: short(t.MaxSpeed * 1000),
		meanCadence: byteOf(t.MeanCadence), maxCadence: byteOf(t.MaxCadence),
		meanHeart: byteOf(t.MeanHeart), maxHeart: byteOf(t.MaxHeart),
	}
}

func long(v float64) uint32 {
	if v, ok := fits(v, math.MaxUint32-1); ok {
		return uint32(v)
	}
	return math.MaxUint32
}

func short(v float64) uint16 {
	if v, ok := fits(v, math.MaxUint16-1); ok {
		return uint16(v)
	}
	return math.MaxUint16
}

func byteOf(v float64) uint8 {
	if v, ok := fits(v, math.MaxUint8-1); ok {
		return uint8(v)
	}
	return math.MaxUint8
}
