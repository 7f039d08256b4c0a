package web

import (
	"fmt"
	"html/template"
	"strings"

	"chainline/internal/form"
	"chainline/internal/input"
)

// RigSaid is what a rig is taken as, said back.
type RigSaid struct {
	Picture template.HTML
	Takes   string // what it is taken as
	Why     string // from which answer that follows; may be empty
	Cues    string // what cues will be led by
}

var (
	kindWords = map[string]string{"controllable": "a trainer that holds watts by itself", "plain": "a plain trainer", "rollers": "rollers", "bike": "an indoor bike"}

	showsWords = map[string]string{"trainer": ", which shows its own watts", "crank": ", with watts from a meter in the crank", "pedal": ", with watts from the pedals",
		"hub": ", with watts from the rear hub", "curve": ", with watts read off a table", "none": ", without anything that shows watts"}

	openingWords = map[string]string{"closed": "door and window shut", "door": "the door open", "window": "a window open",
		"door_and_window": "door and window open", "hall": "a garage or hall"}

	clothingWords = map[string]string{"shorts": "shorts alone", "shorts_and_jersey": "shorts and jersey", "long": "long sleeves and legs"}
)

// sayRig says what a rig with these values is.
func sayRig(values map[string]string) string {
	kind := values["trainer.kind"]
	says := "This is " + kindWords[kind]
	if kind == "rollers" {
		says = "These are rollers"
	}
	shows := showsWords[values["power_source.kind"]]
	switch {
	case shows == "" && (kind == "controllable" || kind == "bike"):
		shows = ", taken to show its own watts"
	case shows == "":
		shows = ", and nothing is known to show watts"
	}
	return says + shows + "."
}

// sayCues says what the cues of a brief are led by on this rig.
func sayCues(file input.RigFile) string {
	switch file.Rig.Speaks().String() {
	case "watts":
		return "Your briefs will tell you watts."
	case "wheel speed":
		if file.Rig.SensorsAssumed {
			return "Your briefs will tell you the speed of the trainer's wheel, taking it that a sensor shows it; no watts are needed."
		}
		return "Your briefs will tell you the speed of the trainer's wheel, as your speed sensor shows it; no watts are needed."
	}
	return "Your briefs will tell you how it should feel; no watts are needed."
}

// SayRig is what the answers lead to; answers that no page offers say nothing.
func SayRig(answers map[string]string, sensors string) RigSaid {
	said, _ := saidOf(answers, sensors)
	return said
}

// saidOf is what the answers lead to, with the sensors as a rig file lists
// them; why is left out if nobody answered.
func saidOf(answers map[string]string, sensors string) (RigSaid, error) {
	values, why := form.RigFromAnswers(answers)
	picture, ok := wheelPictures[answers[form.AskWheel]]
	if !ok {
		picture = kindPictures[values["trainer.kind"]]
	}
	values["sensors"] = sensors
	text, errs := form.YAML(form.Rig, values, asFiled)
	if len(errs) > 0 {
		return RigSaid{}, fmt.Errorf("web: answers make no rig: %v", errs)
	}
	file, err := input.ReadRig("rig", strings.NewReader(text))
	return RigSaid{Picture: picture, Takes: sayRig(values), Why: why, Cues: sayCues(file)}, err
}

// sayRoom says what is known of the room, and lists what is not.
func sayRoom(values map[string]string, units form.Units) (says string, unknown []string) {
	var known []string
	number := func(path, name, missing string) {
		if v := values[path]; v != "" {
			about, _ := form.About(form.Rig, path, units)
			known = append(known, strings.TrimSpace(joinUnit(v, about.Unit)+" "+name))
		} else {
			unknown = append(unknown, missing)
		}
	}
	number("room.temperature_c", "", "temperature")
	number("room.humidity_percent", "humidity", "humidity")
	number("room.volume_m3", "", "size")
	if o := openingWords[values["room.openings"]]; o != "" {
		known = append(known, o)
	} else {
		unknown = append(unknown, "what stands open")
	}
	switch fans := sayFans(values, units); {
	case values["room.airflow_m_s"] != "":
		about, _ := form.About(form.Rig, "room.airflow_m_s", units)
		known = append(known, "air moving at "+joinUnit(values["room.airflow_m_s"], about.Unit))
	case fans != "":
		known = append(known, fans)
	default:
		unknown = append(unknown, "fans")
	}
	if c := clothingWords[values["room.clothing"]]; c != "" {
		known = append(known, c)
	}
	if len(known) == 0 {
		return "", unknown
	}
	return "The room: " + strings.Join(known, ", ") + ".", unknown
}

// sayFans says which fans there are; empty if that is not known.
func sayFans(values map[string]string, units form.Units) string {
	if values["room.fans"] == noFan || values["room.fans.0.kind"] == noFan {
		return "no fan"
	}
	var all []string
	for _, at := range form.Entries(values, "room.fans") {
		says := "a " + strings.Replace(values[at+".kind"]+" fan", "industrial fan", "drum fan", 1)
		if n := values[at+".count"]; n != "" && n != "1" {
			says = n + strings.TrimPrefix(says, "a") + "s"
		}
		if d := values[at+".distance_m"]; d != "" {
			about, _ := form.About(form.Rig, at+".distance_m", units)
			says += " " + joinUnit(d, about.Unit) + " away"
		}
		if s := values[at+".setting"]; s != "" {
			says += " on " + s
		}
		all = append(all, says)
	}
	return strings.Join(all, " and ")
}

// joinUnit puts a unit behind a number so that they stay on one line.
func joinUnit(v, unit string) string {
	if strings.HasSuffix(v, unit) {
		return v
	}
	return fmt.Sprintf("%s\u00a0%s", v, unit)
}

// inWords lists things: a, b and c.
func inWords(all []string) string {
	if len(all) < 2 {
		return strings.Join(all, "")
	}
	return strings.Join(all[:len(all)-1], ", ") + " and " + all[len(all)-1]
}
