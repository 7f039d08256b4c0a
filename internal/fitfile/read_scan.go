package fitfile

import (
	"bytes"
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

// What is read of a record.
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

// taken is where a field of a record goes; enhanced fields, which are the
// better ones, stand for themselves.
type taken struct {
	in     int8 // -1: not read
	better bool
}

var takes = func() (t [256]taken) {
	for i := range t {
		t[i].in = -1
	}
	for number, in := range map[byte]int8{
		fieldnum.RecordPower: inPower, fieldnum.RecordCadence: inCadence, fieldnum.RecordHeartRate: inHeart,
		fieldnum.RecordSpeed: inSpeed, fieldnum.RecordDistance: inDistance, fieldnum.RecordAltitude: inAltitude,
		fieldnum.RecordPositionLat: inLatitude, fieldnum.RecordPositionLong: inLongitude, fieldnum.RecordGrade: inGrade,
		fieldnum.RecordLeftRightBalance: inLeft, fieldnum.RecordResistance: inResistance,
	} {
		t[number].in = in
	}
	t[fieldnum.RecordEnhancedSpeed] = taken{inSpeed, true}
	t[fieldnum.RecordEnhancedAltitude] = taken{inAltitude, true}
	return t
}()

// record takes the fields of one record.
func (s *scan) record(m *proto.Message) {
	if s.records >= maxRecords {
		s.dropped++
		return
	}
	i := s.records
	s.records++
	at, fraction := uint32(0), 0.0
	var got [inputs]float64
	var have, better [inputs]bool
	for k := range m.Fields {
		f := &m.Fields[k]
		switch f.Num {
		case fieldnum.RecordTimestamp:
			if t := f.Value.Uint32(); isStamp(t) {
				at = t
			}
			continue
		case fieldnum.RecordFractionalCadence:
			if v, ok := number(f.Value, f.BaseType); ok {
				fraction = v / f.Scale
			}
			continue
		}
		t := takes[f.Num]
		if t.in < 0 || better[t.in] && !t.better {
			continue
		}
		if v, ok := number(f.Value, f.BaseType); ok {
			got[t.in], have[t.in], better[t.in] = v/f.Scale-f.Offset, true, t.better
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
