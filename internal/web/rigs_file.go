package web

import (
	"errors"
	"fmt"
	"maps"
	"strconv"
	"strings"

	"chainline/internal/form"
	"chainline/internal/input"
)

// fanKinds and fanSettings are the words of a rig file, in the order of
// package room.
var (
	fanKinds    = []string{"desk", "pedestal", "floor", "industrial"}
	fanSettings = []string{"low", "medium", "high"}
)

// noFan is the answer that nothing blows.
const noFan = "none"

const mostFans = 8

// asKeys is a rig's text with its fans and power source in keys, as the form
// asks for them, rather than in sentences and words.
func asKeys(text string) (string, error) {
	file, err := input.ReadRig("rig", strings.NewReader(text))
	if err != nil {
		return "", err
	}
	values, err := form.Values(form.Rig, text)
	if err != nil {
		return "", err
	}
	change := map[string]string{}
	if values["power_source"] == "none" {
		change["power_source"], change["power_source.kind"] = "", "none"
	}
	if _, sentence := values["room.fans.0"]; sentence || values["room.fans"] != "" && len(file.Room.Fans) > 0 {
		for path := range values {
			if path == "room.fans" || strings.HasPrefix(path, "room.fans.") {
				change[path] = ""
			}
		}
		for i, fan := range file.Room.Fans {
			at := fmt.Sprintf("room.fans.%d.", i)
			change[at+"kind"], change[at+"setting"] = fanKinds[fan.Kind], fanSettings[fan.Setting]
			change[at+"distance_m"] = strconv.FormatFloat(fan.Distance, 'g', -1, 64)
			change[at+"count"] = strconv.Itoa(fan.Count)
		}
	}
	changed, errs := form.Change(form.Rig, text, change, asFiled)
	if len(errs) > 0 {
		return "", errors.New("web: a rig cannot be shown in keys: " + fmt.Sprint(errs))
	}
	return changed, nil
}

// rigValues are what the form shows of a rig's text.
func rigValues(text string, units form.Units) (map[string]string, error) {
	values, err := form.ValuesIn(form.Rig, text, units)
	if err != nil {
		return nil, err
	}
	for _, table := range rigTables {
		values[table] = tableLines(values, table)
	}
	if values["room.fans"] == noFan {
		values["room.fans.0.kind"] = noFan
	}
	sensors, known := values["sensors"]
	switch {
	case !known:
	case sensors == "none":
		values["sensors.none"] = "yes"
	default:
		for _, s := range strings.Split(sensors, ", ") {
			values["sensors."+s] = "yes"
		}
	}
	return values, nil
}

// rigTables are the tables of watts by wheel speed that a trainer may have.
var rigTables = []string{"trainer.power_curve", "trainer.floor", "trainer.ceiling"}

// inTable is the table that a path is a row of; empty if of none.
func inTable(path string) string {
	for _, table := range rigTables {
		if strings.HasPrefix(path, table+".") {
			return table
		}
	}
	return ""
}

// tableLines is a table of watts by wheel speed, a row on each line.
func tableLines(values map[string]string, table string) string {
	var b strings.Builder
	for _, row := range form.Entries(values, table) {
		fmt.Fprintf(&b, "%s %s\n", values[row+".wheel_speed_km_h"], values[row+".watts"])
	}
	return strings.TrimSpace(b.String())
}

var sensorWords = []string{"heart_rate", "speed", "cadence"}

// rigTyped turns what the form sent into paths of a rig file. old are the
// values of the file that it changes, nil for a new one; kinds are what the
// answers lead to.
func rigTyped(sent, old, kinds map[string]string) (typed, errs map[string]string) {
	typed, errs = map[string]string{}, map[string]string{}
	for path, value := range Answers(sent) {
		if _, ok := form.About(form.Rig, path, asFiled); ok && !strings.HasPrefix(path, "room.fans") && inTable(path) == "" {
			typed[path] = value
		}
	}
	for path := range old {
		if strings.HasPrefix(path, "room.fans") {
			typed[path] = ""
		}
	}
	maps.Copy(typed, fansTyped(sent))
	typed["sensors"] = sensorsTyped(sent, errs)
	typed["trainer.kind"], typed["power_source.kind"] = kinds["trainer.kind"], kinds["power_source.kind"]
	for _, table := range rigTables {
		lines, sent := typed[table]
		if !sent || strings.TrimSpace(sameLines(lines)) == tableLines(old, table) {
			delete(typed, table) // as it was, to the last digit
		} else {
			forget(typed, old, table+".")
		}
	}
	dropUnfit(typed, old)
	return typed, errs
}

func sameLines(s string) string { return strings.ReplaceAll(s, "\r\n", "\n") }

// dropUnfit takes out what a rig of this kind cannot have.
func dropUnfit(typed, old map[string]string) {
	switch typed["trainer.kind"] {
	case "plain", "rollers":
		if strings.TrimSpace(typed["trainer.power_curve"]) == "" && (tableLines(old, "trainer.power_curve") == "" || typedCurve(typed)) {
			typed["trainer.power_curve_accuracy_percent"] = ""
		}
	default:
		typed["trainer.power_curve"], typed["trainer.power_curve_accuracy_percent"] = "", ""
		forget(typed, old, "trainer.power_curve.")
	}
	if typed["trainer.kind"] != "controllable" {
		typed["trainer.floor"], typed["trainer.ceiling"] = "", ""
		forget(typed, old, "trainer.floor.")
		forget(typed, old, "trainer.ceiling.")
	}
	switch typed["power_source.kind"] {
	case "", "none":
		typed["power_source.name"], typed["power_source.accuracy_percent"] = "", ""
	}
}

// typedCurve tells whether the table is among what was typed, even if empty.
func typedCurve(typed map[string]string) bool {
	_, ok := typed["trainer.power_curve"]
	return ok
}

func forget(typed, old map[string]string, under string) {
	for path := range old {
		if strings.HasPrefix(path, under) {
			typed[path] = ""
		}
	}
}

// fansTyped are the fans as sent. No fan at all is an answer, too.
func fansTyped(sent map[string]string) map[string]string {
	out := map[string]string{}
	said := false
	for _, at := range form.Entries(sent, "room.fans") {
		kind := sent[at+".kind"]
		if kind == noFan {
			continue
		}
		for _, key := range []string{".kind", ".distance_m", ".setting", ".count"} {
			if v := sent[at+key]; v != "" {
				out[at+key], said = v, true
			}
		}
	}
	if !said && sent["room.fans.0.kind"] == noFan {
		out["room.fans"] = "none"
	}
	return out
}

func sensorsTyped(sent, errs map[string]string) string {
	var worn []string
	for _, s := range sensorWords {
		if sent["sensors."+s] != "" {
			worn = append(worn, s)
		}
	}
	switch {
	case sent["sensors.none"] == "":
		return strings.Join(worn, ", ")
	case len(worn) > 0:
		errs["sensors.none"] = "Either none of these or those that are ticked."
	}
	return "none"
}

// rigText is the file that the form makes of what was sent. errs are by field
// of the form.
func rigText(sent map[string]string, old string, kinds map[string]string, units form.Units) (text string, errs map[string]string, err error) {
	var values map[string]string
	if old != "" {
		if values, err = form.ValuesIn(form.Rig, old, units); err != nil {
			return "", nil, err
		}
	}
	typed, wrong := rigTyped(sent, values, kinds)
	if old == "" {
		text, errs = form.YAML(form.Rig, typed, units)
	} else {
		text, errs = form.Change(form.Rig, old, typed, units)
	}
	for path, e := range errs {
		if table := inTable(path); table != "" {
			n, _, _ := strings.Cut(path[len(table)+1:], ".")
			i, _ := strconv.Atoi(n)
			path, e = table, fmt.Sprintf("Row %d: %s", i+1, e)
			if before := wrong[path]; before != "" && before < e {
				continue // one is enough
			}
		}
		if strings.HasPrefix(path, "room.fans.") && strings.HasSuffix(path, ".kind") && sent[path] == "" {
			e = "Choose which fan this is, or leave empty what follows."
		}
		if path == "cadence_rpm" {
			path = "cadence_rpm.preferred" // the three are not in order
		}
		wrong[path] = e
	}
	if len([]rune(sent["called"])) > 200 {
		wrong["called"] = "At most 200 characters fit here."
	}
	return text, wrong, nil
}
