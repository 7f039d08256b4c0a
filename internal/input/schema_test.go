package input

import (
	"maps"
	"os"
	"path/filepath"
	"reflect"
	"strings"
	"testing"
)

// Every demo file, taken apart and put together again, reads as before.
func TestComposeKeepsWhatFlattenFound(t *testing.T) {
	paths, _ := filepath.Glob("../../demo/*.yaml")
	for _, path := range paths {
		data, err := os.ReadFile(path)
		if err != nil {
			t.Fatal(err)
		}
		kind := "rider"
		for _, k := range []struct{ in, kind string }{{"rig", "rig"}, {"road", "road"}, {"race", "event"}, {"trial", "event"}} {
			if strings.HasSuffix(path, k.in+".yaml") {
				kind = k.kind
			}
		}
		values, err := Flatten(kind, string(data))
		if err != nil {
			t.Fatal(err)
		}
		text := Compose(kind, values)
		if err := Check(kind, text); err != nil {
			t.Errorf("%s: %v\n%s", path, err, text)
		}
		again, err := Flatten(kind, text)
		if err != nil || !maps.Equal(values, again) {
			t.Errorf("%s: %v\n%v\n%v", path, err, values, again)
		}
	}
	if len(paths) < 9 {
		t.Errorf("only %d files", len(paths))
	}
}

func TestComposeIsCanonical(t *testing.T) {
	got := Compose("rig", map[string]string{"room.fans.1": "one desk fan, high", "room.fans.0.kind": "floor", "room.fans.0.count": "2", "sensors": "none",
		"trainer.gears.cogs": "11, 13", "trainer.gears.chainrings": "50", "trainer.kind": "plain", "trainer.power_curve.10.watts": "300",
		"trainer.power_curve.2.watts": "100", "trainer.power_curve.2.wheel_speed_km_h": "20", "power_source.name": "no: \"1\"\\", "zoo": "x"})
	const want = `trainer:
  kind: plain
  power_curve:
    - {wheel_speed_km_h: 20, watts: 100}
    - {watts: 300}
  gears:
    chainrings: [50]
    cogs: [11, 13]
power_source:
  name: "no: \"1\"\\"
sensors: []
room:
  fans:
    - {kind: floor, count: 2}
    - "one desk fan, high"
zoo: x
`
	if got != want {
		t.Errorf("got\n%s\nwant\n%s", got, want)
	}
}

// What is put in as text comes out as the same text, whatever it looks like.
func TestComposeQuotes(t *testing.T) {
	for _, s := range []string{"unknown", "yes", "~", "null", "12", "a: b", "- a", "#a", "a #b", "{a}", "[a]", "it's", "\"", "\\", "Zoë Ünal", "*a", "&a", "!a", "%a", "@a", "`a", "a\nb", "tab\there", "?", " a ", "", "2026-12-03", "🚲", "a\u2028b", "trailing:"} {
		for _, kind := range []string{"rider", "event"} {
			text := Compose(kind, map[string]string{"name": s, "list.0.name": s, "categories.0.name": s})
			f := &file{name: "f"}
			top := f.document(strings.NewReader(text))
			if f.err != nil || top.Content[1].Value != s && kind == "rider" {
				t.Errorf("%q: %v\n%s", s, f.err, text)
				continue
			}
			if kind == "event" {
				got, err := Flatten(kind, text)
				if want := s; err != nil || s != "unknown" && !reflect.DeepEqual(got["categories.0.name"], want) {
					t.Errorf("%q: %v %v", s, got, err)
				}
			}
		}
	}
}

func TestKeysKnowWhatStandsInside(t *testing.T) {
	for kind, inside := range map[string]string{"rider": "evidence", "rig": "trainer", "event": "categories", "course": "main_climb"} {
		found := false
		for _, k := range Keys(kind) {
			if k.Name == inside {
				found = len(k.Keys) > 0
			}
			if (k.Form == "group" || k.Form == "list") && len(k.Keys) == 0 && k.Entry == nil {
				t.Errorf("%s: nothing is known of %s", kind, k.Name)
			}
			if k.Form == "list" && k.Most == 0 {
				t.Errorf("%s: %s has no end", kind, k.Name)
			}
		}
		if !found {
			t.Errorf("%s: no keys under %s", kind, inside)
		}
	}
	if Keys("zoo") != nil || Check("zoo", "") == nil {
		t.Error("a kind there is not")
	}
}
