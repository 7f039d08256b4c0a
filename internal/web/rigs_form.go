package web

import (
	"fmt"
	"strings"

	"chainline/internal/form"
)

// questionsAsked are what can be seen of a rig, in the order of form.Answers.
var questionsAsked = map[string]Field{
	form.AskWheel: {Label: "Where is the back wheel of the bike?", Options: []Option{
		{Value: "on", Label: "On the bike", Hint: "it turns a roller of the trainer"},
		{Value: "off", Label: "Taken off", Hint: "the bike hangs in the trainer by its chain"},
		{Value: "rollers", Label: "On drums", Hint: "the whole bike stands free on them"},
		{Value: "no_bike", Label: "There is no bike", Hint: "it is one machine"},
	}},
	form.AskPlug: {Label: "Does it have a mains plug?", Options: yesOrNo("", "")},
	form.AskHarder: {Label: "Does it get harder by itself?", Hint: "Uphill on the screen, or when told to: without you touching a lever, a knob or the gears.",
		Options: yesOrNo("", "only when I change gear or turn something")},
	form.AskWatts: {Label: "What shows watts while you ride?", Hint: "Watts say how hard you push. Plenty of people ride well without them.", Options: []Option{
		{Value: "nothing", Label: "Nothing"},
		{Value: "trainer", Label: "The trainer or the machine itself", Hint: "on its screen, or sent to a screen"},
		{Value: "crank", Label: "A meter in the crank", Hint: "the arm that a pedal is screwed to"},
		{Value: "pedal", Label: "The pedals"},
		{Value: "hub", Label: "The hub of the back wheel"},
		{Value: "table", Label: "A printed table of speed and watts", Hint: "of the trainer's maker"},
	}},
}

func yesOrNo(yes, no string) []Option {
	return []Option{{Value: "yes", Label: "Yes", Hint: yes}, {Value: "no", Label: "No", Hint: no}}
}

// RigQuestions are the questions on what can be seen, with answers.
func RigQuestions(answers map[string]string) []Field {
	f := NewForm("", answers, nil)
	var all []Field
	for _, q := range form.Answers {
		field := questionsAsked[q.Question]
		field.Name, field.Kind, field.Unknown = q.Question, "radio", true
		if q.Question == form.AskWheel {
			field.Options = pictured(field.Options, wheelPicture)
		}
		all = append(all, f.Field(field))
	}
	return all
}

// RigFan is the questions about one fan.
type RigFan struct {
	Title                          string
	Extra                          bool // asked for only if somebody wants to
	Kind, Distance, Setting, Count Field
}

// RigForm is everything that can be said of a rig but what kind it is.
type RigForm struct {
	*Form
	Called                                                       Field
	Temperature, Humidity, Volume, Openings                      Field
	Fans                                                         []RigFan
	Clothing                                                     Field
	Airflow, OutsideTemperature, OutsideHumidity                 Field
	Source                                                       []Field // of whatever shows watts; none if nothing does
	Curve                                                        []Field // of the table of a plain trainer or rollers; none otherwise
	Limits                                                       []Field // of the brake of a controllable trainer; none otherwise
	Chainrings, Cogs, Wheel                                      Field
	CadenceLow, CadencePreferred, CadenceHigh                    Field
	Sensors                                                      []Field
	Answers                                                      []Field // to what can be seen, kept for later
	OpenRoom, OpenSource, OpenCurve, OpenLimits, OpenGears, Sure bool    // parts that are open at once
}

// NewRigForm asks for a rig of a kind.
func NewRigForm(action string, values, errs, answers map[string]string, units form.Units) *RigForm {
	kinds, _ := form.RigFromAnswers(answers)
	f := NewForm(action, values, errs)
	key := func(q Field) Field { return keyField(f, form.Rig, units, q) }
	r := &RigForm{Form: f}
	r.Called = f.Field(Field{Name: "called", Label: "Name", Hint: "By which you find it again, such as Box room or Garage. It can stay empty."})
	r.Temperature = key(Field{Name: "room.temperature_c", Label: "Temperature before the ride"})
	r.Humidity = key(Field{Name: "room.humidity_percent", Label: "Humidity of the air", Hint: "A cheap indoor weather display shows it."})
	r.Volume = key(Field{Name: "room.volume_m3", Label: "Size of the room", Hint: "Length × width × height will do: " + sizeExample(units) + "."})
	r.Openings = f.Field(Field{Name: "room.openings", Label: "What stands open?", Kind: "radio", Unknown: true, Options: []Option{
		{Value: "closed", Label: "Nothing"}, {Value: "door", Label: "A door"}, {Value: "window", Label: "A window"},
		{Value: "door_and_window", Label: "A door and a window"}, {Value: "hall", Label: "It is a garage or a hall", Hint: "large, with draughts"}}})
	r.Fans = askFans(f, values, units)
	r.Clothing = f.Field(Field{Name: "room.clothing", Label: "What do you wear?", Kind: "radio", Unknown: true, Options: []Option{
		{Value: "shorts", Label: "Shorts alone"}, {Value: "shorts_and_jersey", Label: "Shorts and a jersey"}, {Value: "long", Label: "Long sleeves and legs"}}})
	r.Airflow = key(Field{Name: "room.airflow_m_s", Label: "Speed of the air at your chest", Hint: "If you ever measured it: it counts instead of the fans."})
	r.OutsideTemperature = key(Field{Name: "room.outside_temperature_c", Label: "Temperature of the air that comes in"})
	r.OutsideHumidity = key(Field{Name: "room.outside_humidity_percent", Label: "Humidity of the air that comes in", Hint: "These two go together."})
	r.askTrainer(key, kinds)
	for _, q := range form.Answers {
		r.Answers = append(r.Answers, Field{Name: "ask." + q.Question, Kind: "hidden", Value: answers[q.Question]})
	}
	r.open()
	return r
}

func sizeExample(units form.Units) string {
	if units == form.Imperial {
		return "13 × 10 × 8 ft"
	}
	return "4 × 3 × 2.5"
}

// askTrainer asks for the details of the trainer and what is on the bike.
func (r *RigForm) askTrainer(key func(Field) Field, kinds map[string]string) {
	if s := kinds["power_source.kind"]; s != "" && s != "none" {
		r.Source = []Field{
			key(Field{Name: "power_source.name", Label: "What you call what shows the watts", Hint: "So that rides measured with it can be told from others. Left empty, it is called " + s + "."}),
			key(Field{Name: "power_source.accuracy_percent", Label: "How far its watts may be off", Hint: "The maker's ± figure. Left empty, a figure from the literature counts."}),
		}
	}
	if kind := kinds["trainer.kind"]; kind == "plain" || kind == "rollers" {
		r.Curve = []Field{
			key(Field{Name: "trainer.power_curve", Kind: "area", Label: "The maker's table of watts by wheel speed", Hint: "A row on each line, speed and then watts, slowest first: 20 90, on the next line 30 190. Left empty, any usual trainer is thought possible."}),
			key(Field{Name: "trainer.power_curve_accuracy_percent", Label: "How far that table may be off", Hint: "Left empty: 10 %."}),
		}
	}
	if kinds["trainer.kind"] == "controllable" {
		r.Limits = []Field{
			key(Field{Name: "trainer.ceiling", Kind: "area", Label: "The most watts the brake can hold, by wheel speed", Hint: "A row on each line, speed and then watts, slowest first: 15 450, on the next line 40 1600. One row is enough. With the gears below, no plan asks for more than it can hold."}),
			key(Field{Name: "trainer.floor", Kind: "area", Label: "The least watts it can hold, by wheel speed", Hint: "In the same way: 15 40, on the next line 40 160. Then no rest is planned that would not be one."}),
		}
	}
	r.Chainrings = key(Field{Name: "trainer.gears.chainrings", Label: "Teeth of the chainrings at the front", Hint: "Such as 50, 34. With those at the back, a brief can name the gear."})
	r.Cogs = key(Field{Name: "trainer.gears.cogs", Label: "Teeth of the cogs at the back", Hint: "Such as 11, 13, 15, 17, 19, 21, 24, 28."})
	r.Wheel = key(Field{Name: "trainer.wheel_circumference_mm", Label: "Way of one turn of the back wheel", Hint: "As a bike computer asks for it. Left empty: 2105 mm."})
	r.CadenceLow = key(Field{Name: "cadence_rpm.low", Label: "Slowest you like to pedal", Hint: "Left empty: 70."})
	r.CadencePreferred = key(Field{Name: "cadence_rpm.preferred", Label: "How fast you usually pedal", Hint: "Left empty: 85."})
	r.CadenceHigh = key(Field{Name: "cadence_rpm.high", Label: "Fastest you like to pedal", Hint: "Left empty: 100."})
	for _, s := range []struct{ name, label string }{{"heart_rate", "A strap or watch for the heart rate"}, {"speed", "A speed sensor on the wheel"},
		{"cadence", "A cadence sensor, which counts the pedalling"}, {"none", "None of these"}} {
		r.Sensors = append(r.Sensors, r.Field(Field{Name: "sensors." + s.name, Label: s.label, Kind: "check"}))
	}
}

// open says which of the parts that can be left out are shown at once: those
// with something in them, or wrong.
func (r *RigForm) open() {
	has := func(prefixes ...string) bool {
		for _, p := range prefixes {
			for _, all := range []map[string]string{r.Values, r.Errors} {
				for name, v := range all {
					if v != "" && strings.HasPrefix(name, p) {
						return true
					}
				}
			}
		}
		return false
	}
	r.OpenRoom = has("room.airflow", "room.outside")
	r.OpenSource = has("power_source.name", "power_source.accuracy")
	r.OpenCurve = has("trainer.power_curve")
	r.OpenLimits = has("trainer.floor", "trainer.ceiling")
	r.OpenGears = has("trainer.gears", "trainer.wheel", "cadence_rpm")
	r.Sure = has("sensors.")
}

func wheelPicture(value string) pictureHTML { return wheelPictures[value] }

func pictured(options []Option, picture func(string) pictureHTML) []Option {
	out := make([]Option, len(options))
	for i, o := range options {
		o.Picture = picture(o.Value)
		out[i] = o
	}
	return out
}

var fanOptions = pictured([]Option{
	{Value: noFan, Label: "No fan"},
	{Value: "desk", Label: "A small one", Hint: "that stands on a table"},
	{Value: "pedestal", Label: "One on a stand", Hint: "as high as your chest"},
	{Value: "floor", Label: "A strong one", Hint: "that stands on the floor"},
	{Value: "industrial", Label: "A drum", Hint: "as in workshops"},
}, func(value string) pictureHTML { return fanPictures[value] })

// askFans asks for the fans there are and one more.
func askFans(f *Form, values map[string]string, units form.Units) []RigFan {
	n := 1
	for i := range mostFans {
		if kind := values[fmt.Sprintf("room.fans.%d.kind", i)]; kind != "" && kind != noFan || f.fanWrong(i) {
			n = i + 2
		}
	}
	var fans []RigFan
	for i := range min(n, mostFans) {
		at := fmt.Sprintf("room.fans.%d.", i)
		fan := RigFan{Title: "The fan", Extra: i > 0 && i == n-1 && !f.fanWrong(i)}
		kind := Field{Name: at + "kind", Label: "What blows at you?", Kind: "radio", Options: fanOptions, Unknown: i == 0}
		if i > 0 {
			fan.Title, kind.Label = fmt.Sprintf("Fan %d", i+1), "What else blows at you?"
			kind.Options = append([]Option{{Value: noFan, Label: "No other fan", Picture: fanPictures[noFan]}}, fanOptions[1:]...)
		}
		if fan.Extra {
			fan.Title = "Another fan"
		}
		fan.Kind = f.Field(kind)
		if i > 0 && fan.Kind.Value == "" {
			fan.Kind.Value = noFan
		}
		fan.Distance = keyField(f, form.Rig, units, Field{Name: at + "distance_m", Label: "How far away?", Hint: "From the fan to you. Left empty: " + units.Elevation(1) + "."})
		fan.Setting = f.Field(Field{Name: at + "setting", Label: "How hard does it blow?", Kind: "select", Unknown: true,
			Options: []Option{{Value: "low", Label: "Low"}, {Value: "medium", Label: "Medium"}, {Value: "high", Label: "High"}}})
		fan.Count = keyField(f, form.Rig, units, Field{Name: at + "count", Label: "How many like this?", Hint: "Left empty: one."})
		fans = append(fans, fan)
	}
	return fans
}

func (f *Form) fanWrong(i int) bool {
	for name, e := range f.Errors {
		if e != "" && strings.HasPrefix(name, fmt.Sprintf("room.fans.%d.", i)) {
			return true
		}
	}
	return false
}
