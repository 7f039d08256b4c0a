package input

import (
	"fmt"
	"strings"

	"go.yaml.in/yaml/v3"

	"chainline/room"
)

var roomFields = []field{
	{key: "temperature_c", unit: "degrees C", low: -10, high: 50, hint: "Is it in degrees Fahrenheit? 70 F is 21 C."},
	{key: "humidity_percent", unit: "%", low: 0, high: 100},
	{key: "volume_m3", unit: "m3", low: 5, high: 20000, hint: "Length by width by height of the room, in metres: 4 by 3 by 2.5 is 30."},
	{key: "openings", form: word, words: []string{"closed", "door", "window", "door_and_window", "hall"}},
	{key: "outside_temperature_c", unit: "degrees C", low: -40, high: 50, hint: "Is it in degrees Fahrenheit? 70 F is 21 C."},
	{key: "outside_humidity_percent", unit: "%", low: 0, high: 100},
	{key: "fans", form: list, keys: fanFields, entry: &fanField, most: maxFans},
	{key: "airflow_m_s", unit: "m/s", low: 0, high: 20},
	{key: "clothing", form: word, words: []string{"shorts", "shorts_and_jersey", "long"}},
}

var fanFields = []field{
	{key: "kind", form: word, words: []string{"desk", "pedestal", "floor", "industrial"}, needed: true},
	{key: "distance_m", unit: "m", low: 0.2, high: 10, hint: "Is it in centimetres? 80 cm is 0.8 m."},
	{key: "setting", form: word, words: []string{"low", "medium", "high"}},
	{key: "count", form: whole, low: 1, high: 8},
}

// fanField is a fan described in a sentence.
var fanField = field{key: "fan", form: text}

const maxFans = 8

var openings = map[string]room.Openings{"": room.OpeningsUnknown, "closed": room.Closed, "door": room.DoorOpen, "window": room.WindowOpen,
	"door_and_window": room.DoorAndWindowOpen, "hall": room.Hall}

// readRoom reads where the rig stands. What is not known stays so: flags for
// what is measured, 0 for volume and clothing, nil for fans, where a list that
// is empty says that there is none.
func readRoom(o object) room.Room {
	c, ok := o.child("room", roomFields)
	if !ok {
		return room.Room{}
	}
	temperature, humidity, airflow := c.number("temperature_c"), c.scaled("humidity_percent", 0.01), c.number("airflow_m_s")
	outside, outsideHumidity := c.number("outside_temperature_c"), c.scaled("outside_humidity_percent", 0.01)
	out := room.Room{
		Temperature: temperature.Value, TemperatureKnown: temperature.Known,
		Humidity: humidity.Value, HumidityKnown: humidity.Known,
		Volume: c.number("volume_m3").Value, Openings: openings[c.word("openings")],
		OutsideTemperature: outside.Value, OutsideHumidity: outsideHumidity.Value, OutsideKnown: outside.Known && outsideHumidity.Known,
		Airflow: airflow.Value, AirflowKnown: airflow.Known,
		Fans: readFans(c), Clo: room.Clothing(c.word("clothing")),
	}
	if outside.Known != outsideHumidity.Known {
		const both = "outside_temperature_c and outside_humidity_percent together"
		c.refuse("outside_temperature_c", "outside_humidity_percent is not known", both, "")
		c.refuse("outside_humidity_percent", "outside_temperature_c is not known", both, "")
	}
	return out
}

// readFans reads a list of sentences and groups of keys, or one sentence.
func readFans(o object) []room.Fan {
	n, _ := o.get("fans")
	if n == nil {
		return nil
	}
	nodes, name := []*yaml.Node{n}, func(int) string { return o.name("fans") }
	if n.Kind != yaml.ScalarNode {
		nodes, name = o.items("fans", "fans", 0, maxFans), func(i int) string { return o.entry("fans", i) }
	}
	fans := []room.Fan{}
	for i, n := range nodes {
		if n.Kind == yaml.MappingNode {
			fans = append(fans, readFan(o.f.open(n, name(i), fanFields, "", nil))...)
		} else {
			fans = append(fans, o.f.fanSentence(n, name(i))...)
		}
	}
	if o.f.err == nil && len(fans) > maxFans {
		o.refuse("fans", fmt.Sprintf("%d kinds of fan", len(fans)), fmt.Sprintf("at most %d", maxFans), "")
	}
	return fans
}

func (f *file) fanSentence(n *yaml.Node, name string) []room.Fan {
	const keys = "a sentence like \"one pedestal fan, a metre away, high\", or keys: "
	if n.Kind != yaml.ScalarNode || n.Tag != "!!str" {
		f.fail(n, name, found(n), keys+keysOf(fanFields), "")
		return nil
	}
	fans, err := room.ParseFan(n.Value)
	if err == nil {
		return fans
	}
	says := strings.TrimPrefix(strings.TrimPrefix(err.Error(), fmt.Sprintf("fan %q: ", n.Value)), "fan: ")
	wrong, expected := splitExpected(says, keys+keysOf(fanFields))
	hint := ""
	if n.Style == 0 {
		hint = "A sentence with commas in it stands in quotes."
	}
	f.fail(n, name, found(n)+": "+wrong, expected, hint)
	return nil
}

// splitExpected takes apart what another package's error says; without an
// expectation it is otherwise.
func splitExpected(says, otherwise string) (wrong, expected string) {
	if i := strings.LastIndex(says, "; expected "); i >= 0 {
		return says[:i], says[i+len("; expected "):]
	}
	return says, otherwise
}

// readFan is a fan in keys; what is left out is as in a sentence that leaves
// it out.
func readFan(o object) []room.Fan {
	kind, distance, setting, count := o.word("kind"), o.number("distance_m"), o.word("setting"), o.whole("count")
	if o.f.err != nil {
		return nil
	}
	fans, err := room.ParseFan("one " + kind + " fan " + setting)
	if err != nil || len(fans) != 1 {
		panic("input: no fan " + kind + " " + setting) // our words are room's
	}
	fans[0].Distance, fans[0].Count = distance.Or(fans[0].Distance), count.Or(fans[0].Count)
	return fans
}
