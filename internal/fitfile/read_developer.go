package fitfile

import (
	"fmt"
	"strings"

	"github.com/muktihari/fit/profile/basetype"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/profile/untyped/fieldnum"
	"github.com/muktihari/fit/proto"

	"chainline/recording"
)

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
	case s.ours[k.index] && (name == string(recording.Shelter) || name == string(recording.Help)):
		d.quantity, d.source, d.scale = recording.Quantity(name), "ride", 100
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
