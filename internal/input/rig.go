package input

import (
	"fmt"
	"io"

	"go.yaml.in/yaml/v3"

	"chainline/rig"
	"chainline/room"
)

var rigFields = []field{
	{key: "trainer", form: group, needed: true, keys: trainerFields},
	{key: "power_source", form: group, keys: sourceFields},
	{key: "cadence_rpm", form: group, keys: cadenceFields},
	{key: "sensors", form: list, entry: &sensorField, most: 10},
	{key: "room", form: group, keys: roomFields},
}

var trainerFields = []field{
	{key: "kind", form: word, words: []string{"controllable", "plain", "rollers", "bike"}, needed: true},
	{key: "power_curve", form: list, keys: rowFields, most: maxRows},
	{key: "power_curve_accuracy_percent", unit: "%", low: 0.1, high: 50},
	{key: "floor", form: list, keys: rowFields, most: maxRows},
	{key: "ceiling", form: list, keys: rowFields, most: maxRows},
	{key: "gears", form: group, keys: gearFields},
	{key: "wheel_circumference_mm", unit: "mm", low: 1000, high: 2500, hint: "The way of one turn of the wheel, about 2105 mm for a road bike."},
}

var rowFields = []field{
	{key: "wheel_speed_km_h", unit: "km/h", low: 0, high: 150, needed: true},
	{key: "watts", unit: "W", low: 0, high: 3000, needed: true},
}

var gearFields = []field{
	{key: "chainrings", form: list, needed: true, entry: &teeth, most: maxChainrings},
	{key: "cogs", form: list, needed: true, entry: &teeth, most: maxCogs},
}

// teeth of one chainring or cog.
var teeth = field{key: "teeth", form: whole, unit: "teeth", low: 8, high: 70, needed: true}

var sourceFields = []field{
	{key: "name", form: text},
	{key: "kind", form: word, words: []string{"trainer", "crank", "pedal", "hub", "curve", "none"}, needed: true},
	{key: "accuracy_percent", unit: "%", low: 0.1, high: 30},
}

var cadenceFields = []field{
	{key: "low", unit: "rpm", low: 30, high: 150},
	{key: "preferred", unit: "rpm", low: 30, high: 150},
	{key: "high", unit: "rpm", low: 30, high: 150},
}

var sensorField = field{key: "sensor", form: word, words: []string{"speed", "cadence", "heart_rate"}, needed: true}

const maxRows, maxChainrings, maxCogs = 200, 4, 16

// RigFile is a rig file in SI units: the rig, and the room it stands in.
type RigFile struct {
	Rig  rig.Rig
	Room room.Room
}

// ReadRig reads a rig file; name is what its errors call it. A controllable
// trainer or indoor bike whose power source is left out shows its own watts.
// A rig whose sensors are left out is taken to have those of heart rate and,
// where cues need it, of speed; SensorsAssumed says so.
func ReadRig(name string, r io.Reader) (RigFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return RigFile{}, f.err
	}
	o := f.open(top, "", rigFields, "trainer", trainerFields)
	var file RigFile
	out := &file.Rig
	trainer, ok := o.child("trainer", trainerFields)
	if !ok {
		return RigFile{}, f.err
	}
	readTrainer(trainer, out)
	out.Source = readSource(o, out.Trainer.Kind)
	out.Cadence = readCadence(o)
	readSensors(o, out)
	file.Room = readRoom(o)
	if f.err != nil {
		return RigFile{}, f.err
	}
	return file, nil
}

var trainerKinds = map[string]rig.Kind{"controllable": rig.Controllable, "plain": rig.Plain, "rollers": rig.Rollers, "bike": rig.Bike}

func readTrainer(o object, out *rig.Rig) {
	kind := trainerKinds[o.word("kind")]
	out.Trainer.Kind = kind
	if kind != rig.Plain && kind != rig.Rollers {
		for _, key := range []string{"power_curve", "power_curve_accuracy_percent"} {
			o.refuse(key, "only a plain trainer or rollers have a power curve", "kind: plain or kind: rollers with it", "")
		}
	}
	if kind != rig.Controllable {
		for _, key := range []string{"floor", "ceiling"} {
			o.refuse(key, "only a controllable trainer has this limit", "kind: controllable with it", "")
		}
	}
	readCurve(o, &out.Trainer)
	out.Trainer.Floor = readLimit(o, "floor")
	out.Trainer.Ceiling = readLimit(o, "ceiling")
	if v, bad := out.Trainer.Contradiction(); bad {
		o.refuse("ceiling", fmt.Sprintf("below the floor at %.1f km/h", v*3.6), "a ceiling above the floor at every wheel speed", "")
	}
	if g, ok := o.child("gears", gearFields); ok {
		out.Gears.Chainrings = readTeeth(g, "chainrings", maxChainrings)
		out.Gears.Cogs = readTeeth(g, "cogs", maxCogs)
	}
	out.WheelCircumference = o.scaled("wheel_circumference_mm", 0.001).Or(rig.DefaultWheelCircumference)
}

func readLimit(o object, key string) rig.BrakeTable {
	rows := readRows(o, key, 1, false)
	if len(rows) == 0 {
		return rig.BrakeTable{}
	}
	table, err := rig.NewBrakeTable(rows)
	if err != nil {
		o.refuse(key, err.Error(), "rows of rising wheel speed above 0", "")
	}
	return table
}

func readCurve(o object, t *rig.Trainer) {
	rows := readRows(o, "power_curve", 2, true)
	if len(rows) == 0 {
		o.refuse("power_curve_accuracy_percent", "power_curve is not known", "a doubt only about a curve that is given", "")
		return
	}
	curve, err := rig.NewPowerCurve(rows, o.scaled("power_curve_accuracy_percent", 0.01).Or(0), "power curve typed in the rig file")
	if err != nil {
		o.refuse("power_curve", err.Error(), "rows of rising wheel speed and rising watts", "")
		return
	}
	t.Curve = curve
}

// readRows reads rows of wheel speed and watts; wheel speed, and watts where
// told, must rise.
func readRows(o object, key string, least int, wattsToo bool) []rig.Point {
	var rows []rig.Point
	for i, n := range o.items(key, "rows like {wheel_speed_km_h: 30, watts: 200}", least, maxRows) {
		row := o.f.open(n, o.entry(key, i), rowFields, "", nil)
		rows = append(rows, rig.Point{WheelSpeed: row.number("wheel_speed_km_h").Value / 3.6, Watts: row.number("watts").Value})
		if o.f.err != nil {
			return nil
		}
		if at, err := rig.Rising(rows, wattsToo); err != nil && at == i {
			want := "rows of rising wheel speed"
			if wattsToo {
				want += " and rising watts"
			}
			o.f.fail(n, o.entry(key, i), err.Error(), want, "")
			return nil
		}
	}
	return rows
}

func readTeeth(o object, key string, most int) []int {
	var out []int
	for i, n := range o.items(key, "numbers of teeth", 1, most) {
		v, _ := o.f.parseNumber(n, o.entry(key, i), teeth)
		out = append(out, int(v))
	}
	return out
}

var sourceKinds = map[string]rig.SourceKind{"trainer": rig.SourceTrainer, "crank": rig.SourceCrank, "pedal": rig.SourcePedal,
	"hub": rig.SourceHub, "curve": rig.SourceCurve, "none": rig.SourceNone}

func readSource(o object, trainer rig.Kind) rig.PowerSource {
	n, _ := o.get("power_source")
	switch {
	case n == nil && (trainer == rig.Controllable || trainer == rig.Bike):
		return rig.PowerSource{Name: "trainer", Kind: rig.SourceTrainer}
	case n == nil || n.Kind == yaml.ScalarNode && n.Value == "none":
		return rig.PowerSource{}
	}
	s, ok := o.child("power_source", sourceFields)
	if !ok {
		return rig.PowerSource{}
	}
	word := s.word("kind")
	source := rig.PowerSource{Name: s.text("name"), Kind: sourceKinds[word], Accuracy: s.scaled("accuracy_percent", 0.01).Value}
	if source.Kind == rig.SourceCurve && trainer != rig.Plain && trainer != rig.Rollers {
		s.refuse("kind", "only the watts of a plain trainer or rollers follow from a curve", "trainer, crank, pedal, hub or none", "")
	}
	if source.Kind == rig.SourceNone {
		s.refuse("accuracy_percent", "there is no source to be accurate", "no accuracy with kind none", "")
		return rig.PowerSource{}
	}
	if source.Name == "" {
		source.Name = word
	}
	return source
}

func readCadence(o object) rig.CadenceRange {
	want := rig.DefaultCadence
	c, ok := o.child("cadence_rpm", cadenceFields)
	if !ok {
		return want
	}
	want = rig.CadenceRange{Low: c.number("low").Or(want.Low), Preferred: c.number("preferred").Or(want.Preferred), High: c.number("high").Or(want.High)}
	if want.Low > want.Preferred || want.Preferred > want.High {
		c.f.fail(c.at, c.path, fmt.Sprintf("low %g, preferred %g, high %g are not in order", want.Low, want.Preferred, want.High),
			"low, preferred and high rising (left out: 70, 85, 100)", "")
	}
	return want
}

func readSensors(o object, out *rig.Rig) {
	if !o.has("sensors") {
		out.SensorsAssumed, out.HeartRate, out.SpeedSensor = true, true, true
		return
	}
	for i, n := range o.items("sensors", "sensors: speed, cadence, heart_rate", 0, 10) {
		switch {
		case n.Kind == yaml.ScalarNode && n.Value == "speed":
			out.SpeedSensor = true
		case n.Kind == yaml.ScalarNode && n.Value == "cadence":
			out.CadenceSensor = true
		case n.Kind == yaml.ScalarNode && n.Value == "heart_rate":
			out.HeartRate = true
		default:
			o.f.fail(n, o.entry("sensors", i), found(n), sensorField.expected(), "")
		}
	}
}
