package fitfile

import (
	"bytes"
	"fmt"
	"math"
	"strings"
	"sync"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/proto"

	"chainline/recording"
)

// The fields of a record that are read, in the order they are tried: an
// enhanced field is the better one of the two.
const (
	inPower = iota
	inCadence
	inHeart
	inSpeed
	inDistance
	inAltitude
	inLatitude
	inLongitude
	inGrade
	inLeft
	inResistance
	inputs
)

var quantities = [inputs]recording.Quantity{
	recording.Power, recording.Cadence, recording.HeartRate, recording.Speed, recording.Position, recording.Altitude,
	recording.Latitude, recording.Longitude, recording.Gradient, recording.LeftShare, recording.Resistance,
}

// series is what one field said, record by record.
type series struct {
	record []int32
	value  []float64
}

func (s *series) add(record, room int, v float64) {
	if s.record == nil {
		s.record, s.value = make([]int32, 0, room), make([]float64, 0, room)
	}
	s.record, s.value = append(s.record, int32(record)), append(s.value, v)
}

type devKey struct{ index, number uint8 }

// devField is a developer's field that is read, nil series: it is not.
type devField struct {
	quantity recording.Quantity
	source   string
	scale    float64
	offset   float64
	values   *series
}

type fitSession struct {
	start, end uint32 // of FIT; end may be unknown
	sport      string
}

type timerEvent struct {
	at   uint32
	stop bool
}

type beat struct {
	record int // it came behind
	value  float64
}

// scan collects what the messages of one FIT file say.
type scan struct {
	file       typedef.File
	own        bool // Chainline wrote it
	created    uint32
	hint       uint32 // the first time stamp before the records
	room       int    // records there may be, a guess by the file's size
	records    int
	dropped    int      // above the limit
	times      []uint32 // of the records; 0: none
	in         [inputs]series
	balanceOff int // balances that do not say which side
	developers map[devKey]*devField
	ours       map[uint8]bool // developer indices that are Chainline's
	devOrder   []devKey
	leftOut    []string // developers' fields not read
	sessions   []fitSession
	laps       []uint32 // their starts
	timer      []timerEvent
	beats      []beat
	beatsApart int // messages of beats that have a clock of their own
	sport      string
	zone       int // s
	zoned      bool
	meter      bool // a power meter is named among the devices
	trainer    bool
}

// scans are used again, for a folder of rides would make the collector run
// for every few of them.
var scans = sync.Pool{New: func() any { return &scan{} }}

func newScan(room int) *scan {
	old := scans.Get().(*scan)
	s := &scan{
		room: max(16, min(room, 20_000)), file: typedef.FileInvalid, times: old.times[:0],
		developers: map[devKey]*devField{}, ours: map[uint8]bool{}, beats: old.beats[:0],
	}
	for i, in := range old.in {
		s.in[i] = series{in.record[:0], in.value[:0]}
	}
	return s
}

// release gives the room of a scan back; nothing may hold on to its series.
// The very large are left to the collector.
func (s *scan) release() {
	if cap(s.times) <= 100_000 {
		scans.Put(s)
	}
}

// OnMesg takes one message; the library calls it.
func (s *scan) OnMesg(m proto.Message) {
	switch m.Num {
	case typedef.MesgNumRecord:
		s.record(&m)
	case typedef.MesgNumHrv:
		s.hrv(&m)
	case typedef.MesgNumHr:
		s.beatsApart++
	case typedef.MesgNumEvent:
		s.event(&m)
	case typedef.MesgNumLap:
		if t := m.FieldValueByNum(fieldnum.LapStartTime).Uint32(); isStamp(t) && len(s.laps) < maxMarks {
			s.laps = append(s.laps, t)
		}
	case typedef.MesgNumSession:
		s.session(&m)
	case typedef.MesgNumFileId:
		s.fileID(&m)
	case typedef.MesgNumDeviceInfo:
		s.device(&m)
	case typedef.MesgNumSport:
		x := mesgdef.NewSport(&m)
		s.sport = sportName(x.Sport, x.SubSport)
	case typedef.MesgNumActivity:
		s.local(m.FieldValueByNum(fieldnum.ActivityTimestamp).Uint32(), m.FieldValueByNum(fieldnum.ActivityLocalTimestamp).Uint32())
	case typedef.MesgNumTimestampCorrelation:
		s.local(m.FieldValueByNum(fieldnum.TimestampCorrelationTimestamp).Uint32(), m.FieldValueByNum(fieldnum.TimestampCorrelationLocalTimestamp).Uint32())
	case typedef.MesgNumDeveloperDataId:
		x := mesgdef.NewDeveloperDataId(&m)
		s.ours[x.DeveloperDataIndex] = bytes.Equal(x.ApplicationId, application)
	case typedef.MesgNumFieldDescription:
		s.describe(mesgdef.NewFieldDescription(&m))
	}
}

func isStamp(t uint32) bool { return t != 0 && t != basetype.Uint32Invalid }

// record takes the fields of one record.
func (s *scan) record(m *proto.Message) {
	if s.records >= maxRecords {
		s.dropped++
		return
	}
	i := s.records
	s.records++
	at := uint32(0)
	var got [inputs]float64
	var have [inputs]bool
	enhanced, fraction := [inputs]bool{}, 0.0
	put := func(in int, f *proto.Field, better bool) {
		if v, ok := number(f.Value, f.BaseType); ok && (better || !enhanced[in]) {
			got[in], have[in], enhanced[in] = v/f.Scale-f.Offset, true, better
		}
	}
	for k := range m.Fields {
		f := &m.Fields[k]
		switch f.Num {
		case fieldnum.RecordTimestamp:
			if t := f.Value.Uint32(); isStamp(t) {
				at = t
			}
		case fieldnum.RecordPower:
			put(inPower, f, false)
		case fieldnum.RecordCadence:
			put(inCadence, f, false)
		case fieldnum.RecordFractionalCadence:
			if v, ok := number(f.Value, f.BaseType); ok {
				fraction = v / f.Scale
			}
		case fieldnum.RecordHeartRate:
			put(inHeart, f, false)
		case fieldnum.RecordSpeed:
			put(inSpeed, f, false)
		case fieldnum.RecordEnhancedSpeed:
			put(inSpeed, f, true)
		case fieldnum.RecordDistance:
			put(inDistance, f, false)
		case fieldnum.RecordAltitude:
			put(inAltitude, f, false)
		case fieldnum.RecordEnhancedAltitude:
			put(inAltitude, f, true)
		case fieldnum.RecordPositionLat:
			put(inLatitude, f, false)
		case fieldnum.RecordPositionLong:
			put(inLongitude, f, false)
		case fieldnum.RecordGrade:
			put(inGrade, f, false)
		case fieldnum.RecordLeftRightBalance:
			put(inLeft, f, false)
		case fieldnum.RecordResistance:
			put(inResistance, f, false)
		}
	}
	s.times = append(s.times, at)
	got[inCadence] += fraction
	for in := range have {
		if have[in] {
			s.keep(in, i, got[in])
		}
	}
	s.developer(m, i)
}

// keep turns a field into the unit of a channel.
func (s *scan) keep(in, record int, v float64) {
	switch in {
	case inLatitude, inLongitude:
		v *= 180.0 / (1 << 31)
	case inGrade:
		v /= 100
	case inLeft:
		if int(v)&int(typedef.LeftRightBalanceRight) == 0 {
			s.balanceOff++ // the profile: without that bit the side is unknown
			return
		}
		v = 1 - float64(int(v)&int(typedef.LeftRightBalanceMask))/100
		if v < 0 {
			return
		}
	}
	s.in[in].add(record, s.room, v)
}

// number is a field's single value before scale and offset; false: it has
// none, or the format's mark for none.
func number(v proto.Value, base basetype.BaseType) (float64, bool) {
	switch v.Type() {
	case proto.TypeUint8:
		x := v.Uint8()
		return float64(x), base == basetype.Uint8z && x != 0 || base != basetype.Uint8z && x != math.MaxUint8
	case proto.TypeUint16:
		x := v.Uint16()
		return float64(x), base == basetype.Uint16z && x != 0 || base != basetype.Uint16z && x != math.MaxUint16
	case proto.TypeUint32:
		x := v.Uint32()
		return float64(x), base == basetype.Uint32z && x != 0 || base != basetype.Uint32z && x != math.MaxUint32
	case proto.TypeInt8:
		return float64(v.Int8()), v.Int8() != math.MaxInt8
	case proto.TypeInt16:
		return float64(v.Int16()), v.Int16() != math.MaxInt16
	case proto.TypeInt32:
		return float64(v.Int32()), v.Int32() != math.MaxInt32
	case proto.TypeFloat32:
		x := float64(v.Float32())
		return x, !math.IsNaN(x) && !math.IsInf(x, 0)
	case proto.TypeFloat64:
		x := v.Float64()
		return x, !math.IsNaN(x) && !math.IsInf(x, 0)
	}
	return 0, false
}

func (s *scan) developer(m *proto.Message, record int) {
	for _, f := range m.DeveloperFields {
		d := s.developers[devKey{f.DeveloperDataIndex, f.Num}]
		if d == nil || d.values == nil {
			continue
		}
		if v, ok := number(f.Value, baseOf(f.Value)); ok {
			d.values.add(record, s.room, v/d.scale-d.offset)
		}
	}
}

// baseOf: developers' fields have no kinds of which 0 is the mark for none.
func baseOf(v proto.Value) basetype.BaseType {
	switch v.Type() {
	case proto.TypeUint8:
		return basetype.Uint8
	case proto.TypeUint16:
		return basetype.Uint16
	}
	return basetype.Uint32
}

// describe notes what a developer's field is. Another source of what a record
// has a field for becomes a channel; the rest is named among the losses.
func (s *scan) describe(x *mesgdef.FieldDescription) {
	k := devKey{x.DeveloperDataIndex, x.FieldDefinitionNumber}
	if len(s.devOrder) >= 100 {
		return
	}
	name, unit := "", ""
	if len(x.FieldName) > 0 {
		name = plainText(strings.Join(x.FieldName, ""))
	}
	if len(x.Units) > 0 {
		unit = strings.ToLower(plainText(x.Units[0]))
	}
	d := &devField{scale: 1, source: name}
	if x.Scale != basetype.Uint8Invalid && x.Scale != 0 {
		d.scale = float64(x.Scale)
	}
	if x.Offset != basetype.Sint8Invalid {
		d.offset = float64(x.Offset)
	}
	ofRecord := x.NativeMesgNum == typedef.MesgNumRecord || x.NativeMesgNum == typedef.MesgNumInvalid
	lower := strings.ToLower(name)
	switch {
	case s.ours[k.index] && strings.HasPrefix(name, "power "):
		d.quantity, d.source = recording.Power, strings.TrimPrefix(name, "power ")
	case ofRecord && x.NativeFieldNum == fieldnum.RecordPower,
		(unit == "watts" || unit == "watt" || unit == "w") && strings.Contains(lower, "power"):
		d.quantity = recording.Power
	case ofRecord && x.NativeFieldNum == fieldnum.RecordCadence:
		d.quantity = recording.Cadence
	case ofRecord && x.NativeFieldNum == fieldnum.RecordHeartRate:
		d.quantity = recording.HeartRate
	}
	if d.source == "" {
		d.source = fmt.Sprintf("field %d of developer %d", k.number, k.index)
	}
	if d.quantity != "" {
		d.values = &series{}
	} else if name != "" {
		s.leftOut = append(s.leftOut, name)
	}
	if old := s.developers[k]; old != nil { // described again, as some write it before each part
		d.values = old.values
	} else {
		s.devOrder = append(s.devOrder, k)
	}
	s.developers[k] = d
}

func (s *scan) hrv(m *proto.Message) {
	f := m.FieldByNum(fieldnum.HrvTime)
	if f == nil {
		return
	}
	for _, ms := range f.Value.SliceUint16() {
		if ms != math.MaxUint16 && ms > 0 && len(s.beats) < maxBeats {
			s.beats = append(s.beats, beat{s.records - 1, float64(ms) / 1000})
		}
	}
}

func (s *scan) event(m *proto.Message) {
	if typedef.Event(m.FieldValueByNum(fieldnum.EventEvent).Uint8()) != typedef.EventTimer {
		return
	}
	t := m.FieldValueByNum(fieldnum.EventTimestamp).Uint32()
	s.hinted(t)
	if !isStamp(t) || len(s.timer) >= maxMarks {
		return
	}
	switch typedef.EventType(m.FieldValueByNum(fieldnum.EventEventType).Uint8()) {
	case typedef.EventTypeStart:
		s.timer = append(s.timer, timerEvent{t, false})
	case typedef.EventTypeStop, typedef.EventTypeStopAll, typedef.EventTypeStopDisable, typedef.EventTypeStopDisableAll:
		s.timer = append(s.timer, timerEvent{t, true})
	}
}

func (s *scan) session(m *proto.Message) {
	t := m.FieldValueByNum(fieldnum.SessionStartTime).Uint32()
	if !isStamp(t) || len(s.sessions) >= maxRides {
		return
	}
	s.sessions = append(s.sessions, fitSession{
		start: t, end: m.FieldValueByNum(fieldnum.SessionTimestamp).Uint32(),
		sport: sportName(typedef.Sport(m.FieldValueByNum(fieldnum.SessionSport).Uint8()), typedef.SubSport(m.FieldValueByNum(fieldnum.SessionSubSport).Uint8())),
	})
}

func (s *scan) fileID(m *proto.Message) {
	if s.file != typedef.FileInvalid {
		return // a file has one; a second is damage
	}
	x := mesgdef.NewFileId(m)
	s.file = x.Type
	s.own = x.Manufacturer == typedef.ManufacturerDevelopment && x.ProductName == "Chainline"
	if t := m.FieldValueByNum(fieldnum.FileIdTimeCreated).Uint32(); isStamp(t) {
		s.created = t
		s.hinted(t)
	}
}

func (s *scan) hinted(t uint32) {
	if s.records == 0 && s.hint == 0 && isStamp(t) {
		s.hint = t
	}
}

// device notes the kinds of device, never who made them.
func (s *scan) device(m *proto.Message) {
	switch typedef.AntplusDeviceType(m.FieldValueByNum(fieldnum.DeviceInfoDeviceType).Uint8()) {
	case typedef.AntplusDeviceTypeBikePower:
		s.meter = true
	case typedef.AntplusDeviceTypeFitnessEquipment:
		s.trainer = true
	}
}

// local takes the difference of local time to UTC, whole quarters of an hour.
func (s *scan) local(utc, local uint32) {
	if !isStamp(utc) || !isStamp(local) {
		return
	}
	zone := math.Round((float64(local)-float64(utc))/900) * 900
	if math.Abs(zone) <= 18*3600 {
		s.zone, s.zoned = int(zone), true
	}
}

// powerSource is what the record's power is called; brands stay out.
func (s *scan) powerSource() string {
	switch {
	case s.meter:
		return "meter"
	case s.trainer:
		return "trainer"
	}
	return "recorded"
}

// cycling is the sport of a ride that may be indoors or not.
const cycling = "cycling"

func sportName(sport typedef.Sport, sub typedef.SubSport) string {
	switch sport {
	case typedef.SportInvalid:
		return ""
	case typedef.SportCycling:
		switch sub {
		case typedef.SubSportIndoorCycling, typedef.SubSportSpin, typedef.SubSportVirtualActivity:
			return "indoor cycling"
		case typedef.SubSportGeneric, typedef.SubSportInvalid:
			return cycling
		}
		return "road cycling"
	}
	name := strings.ReplaceAll(sport.String(), "_", " ")
	if strings.Contains(name, "(") { // a number without a name
		return "another sport"
	}
	return name
}

// losses is what this file held that has no place in a recording.
func (s *scan) losses(part int) []Loss {
	var out []Loss
	add := func(format string, args ...any) { out = append(out, Loss{What: fmt.Sprintf(format, args...)}) }
	if s.dropped > 0 {
		add("more than %d records: %d are left out", maxRecords, s.dropped)
	}
	if s.balanceOff > 0 {
		add("%d left/right balances do not say which side they are of and are left out", s.balanceOff)
	}
	if s.beatsApart > 0 {
		add("heart beats that were sent apart, with a clock of their own, are left out (%d messages)", s.beatsApart)
	}
	if len(s.leftOut) > 0 {
		add("developers' fields without a like in a recording are left out: %s", plainText(strings.Join(s.leftOut, ", ")))
	}
	if s.file == typedef.FileInvalid {
		add("the file does not say what kind it is; it holds records, so it is taken as an activity")
	}
	for i := range out {
		if part > 1 {
			out[i].Where = fmt.Sprintf("file %d of the chain", part)
		}
	}
	return out
}
