package input

import (
	"os"
	"regexp"
	"strings"
	"testing"
)

var documented = map[string][]field{
	"## rider": riderFields, "### rider: evidence": evidenceFields, "### rider: weighed": weighedFields, "### rider: screening": screeningFields, "### rider: first_rides": firstRideFields,
	"## climb": climbedFields, "## sketch": sketchFields, "### sketch: main_climb": climbFields,
	"## rig": rigFields, "### rig: trainer": trainerFields, "### rig: rows of power_curve, floor and ceiling": rowFields,
	"### rig: gears": gearFields, "### rig: power_source": sourceFields, "### rig: cadence_rpm": cadenceFields, "### rig: room": roomFields, "### rig: fans": fanFields,
	"## road": roadFields, "## event": eventFields, "### event: categories": categoryFields, "## plan": planFields,
}

var docRow = regexp.MustCompile("^\\| `([a-z0-9_]+)` \\|([^|]*)\\|([^|]*)\\|([^|]*)\\|([^|]*)\\|$")

// docs/formats.md has exactly the keys that the readers know, each in its
// section with its unit, its range or words, and whether it is needed.
func TestFormatsPageStatesEveryKey(t *testing.T) {
	page, err := os.ReadFile("../../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	rows, section := map[string]map[string][]string{}, ""
	for _, line := range strings.Split(string(page), "\n") {
		if strings.HasPrefix(line, "#") {
			section = line
			rows[section] = map[string][]string{}
		} else if m := docRow.FindStringSubmatch(line); m != nil {
			rows[section][m[1]] = m
		}
	}
	for section, fields := range documented {
		if len(rows[section]) != len(fields) {
			t.Errorf("%q has %d keys, the reader knows %d", section, len(rows[section]), len(fields))
		}
		for _, f := range fields {
			row, ok := rows[section][f.key]
			if !ok {
				t.Errorf("%q lacks %s", section, f.key)
				continue
			}
			unit, span, meaning := strings.TrimSpace(row[2]), strings.TrimSpace(row[3]), row[4]
			if f.form == number || f.form == whole {
				if span != f.span() || unit != f.unit && !(f.unit == "" && (unit == "-" || unit == "year")) {
					t.Errorf("%s %s: %q %q, the reader has %q %q", section, f.key, unit, span, f.unit, f.span())
				}
			}
			if f.form == word && span != strings.Join(f.words, ", ") {
				t.Errorf("%s %s: %q, the reader has %q", section, f.key, span, f.words)
			}
			if strings.Contains(meaning, "*needed*") != f.needed {
				t.Errorf("%s %s: needed is %v", section, f.key, f.needed)
			}
		}
	}
}

var kindRow = regexp.MustCompile("^\\| ([a-z_]+) \\|[^|]*\\|([^|]*)\\|([^|]*)\\|$")

// docs/formats.md has each kind of evidence with the keys it needs and may have.
func TestFormatsPageStatesEveryKindOfEvidence(t *testing.T) {
	page, err := os.ReadFile("../../docs/formats.md")
	if err != nil {
		t.Fatal(err)
	}
	quoted := func(keys []string) string { return "`" + strings.Join(keys, "`, `") + "`" }
	seen := 0
	for _, line := range strings.Split(string(page), "\n") {
		m := kindRow.FindStringSubmatch(line)
		if m == nil {
			continue
		}
		kind, ok := evidenceKinds[m[1]]
		if !ok {
			continue // the head of a table
		}
		seen++
		var needs []string
		for _, n := range kind.needs {
			needs = append(needs, n.key)
		}
		if strings.TrimSpace(m[2]) != quoted(needs) || strings.TrimSpace(m[3]) != quoted(kind.may) {
			t.Errorf("%s: the page has %s and %s, the reader %s and %s", m[1], m[2], m[3], quoted(needs), quoted(kind.may))
		}
	}
	if seen != len(evidenceKinds) || seen != len(evidenceFields[0].words) {
		t.Errorf("%d kinds on the page, %d in the reader, %d words", seen, len(evidenceKinds), len(evidenceFields[0].words))
	}
}
