// Package house_test holds the house to its rules.
package house_test

import (
	"os/exec"
	"slices"
	"strings"
	"testing"
)

const module = "chainline/"

// may lists what each package may import of ours, below itself. A package
// that is not listed fails, and so does a listed one that does not exist.
var may = map[string][]string{
	"estimate":                   {},
	"physics":                    {},
	"course":                     {"physics"},
	"capacity":                   {"estimate", "physics"},
	"rig":                        {"recording", "physics", "estimate"},
	"room":                       {"physics", "estimate"},
	"session":                    {"capacity", "estimate"},
	"pacing":                     {"capacity", "course", "physics", "estimate"},
	"race":                       {"pacing", "capacity", "course", "physics", "estimate"},
	"brief":                      {"pacing", "room", "session", "rig", "capacity", "course", "physics", "estimate"},
	"debrief":                    {"brief", "pacing", "room", "session", "rig", "recording", "capacity", "course", "physics", "estimate"},
	"recording":                  {},
	"internal/problem":           {},
	"internal/calendar":          {"internal/problem"},
	"internal/journal":           {},
	"internal/sensor/gatt":       {},
	"internal/sensor":            {"internal/sensor/gatt"},
	"internal/sensor/virtual":    {"internal/sensor", "internal/sensor/gatt"},
	"internal/sensor/bench":      {"internal/sensor", "internal/sensor/gatt", "internal/sensor/virtual", "capacity", "physics", "estimate"},
	"internal/sensor/replay":     {"internal/sensor", "internal/sensor/gatt", "internal/sensor/virtual", "recording"},
	"internal/sensor/porttest":   {"internal/sensor", "internal/sensor/gatt"},
	"internal/sensor/bluetooth":  {"internal/sensor", "internal/sensor/gatt", "internal/problem"},
	"internal/fitfile":           {"recording", "session", "internal/problem"},
	"internal/intake":            {"internal/fitfile", "recording", "internal/problem"},
	"internal/live":              {"course", "race", "internal/bunch", "internal/bunch/wire", "internal/fitfile", "internal/journal", "internal/problem", "internal/ride", "internal/sensor", "internal/sensor/bench", "internal/sensor/replay", "internal/service", "recording"},
	"internal/bunch":             {},
	"internal/bunch/wire":        {"internal/bunch"},
	"internal/ride":              {"internal/bunch", "race", "capacity", "course", "estimate", "internal/journal", "internal/sensor", "internal/sensor/bench", "pacing", "physics", "recording", "rig", "room", "session"},
	"internal/input":             {"capacity", "course", "internal/problem", "rig", "room"},
	"internal/form":              {"internal/input", "internal/problem"},
	"internal/checksim":          {"session", "rig", "recording", "capacity", "physics", "estimate", "internal/sensor/bench"},
	"internal/render":            {"debrief", "internal/ride", "brief", "rig", "course", "estimate"},
	"internal/render/font":       {},
	"internal/render/font/build": {"internal/render/font"},
	"internal/service":           {"race", "internal/calendar", "internal/store", "session", "internal/fitfile", "internal/intake", "internal/ride", "internal/sensor", "internal/sensor/bench", "debrief", "recording", "estimate", "brief", "capacity", "course", "internal/input", "internal/problem", "pacing", "physics", "rig", "room"},
	"internal/store":             {"internal/problem"},
	"internal/api":               {"debrief", "recording", "capacity", "internal/input", "internal/problem", "internal/render", "internal/service", "internal/store"},
	"internal/app":               {"internal/live", "internal/sensor", "internal/sensor/bluetooth", "internal/api", "internal/problem", "internal/service", "internal/store", "internal/web"},
	"internal/web/gallery":       {"debrief", "estimate", "internal/form", "internal/service", "rig", "session", "capacity", "course", "internal/live", "internal/ride", "internal/store", "internal/web", "recording"},
	"internal/browser":           {},
	"internal/web":               {"internal/calendar", "estimate", "debrief", "recording", "rig", "capacity", "internal/live", "internal/ride", "internal/sensor", "session", "brief", "course", "demo", "internal/form", "internal/input", "internal/problem", "internal/render", "internal/service", "internal/store", "internal/web/assets"},
	"internal/web/assets":        {"internal/render"},
	"internal/web/assets/build":  {},
	"internal/cli":               {"internal/calendar", "recording", "debrief", "rig", "internal/intake", "internal/fitfile", "session", "internal/live", "internal/ride", "internal/sensor", "internal/service", "brief", "internal/app", "internal/input", "internal/problem", "internal/render"},
	"internal/evidence":          {"internal/checksim", "internal/ride", "internal/sensor", "internal/sensor/bench", "brief", "capacity", "course", "estimate", "pacing", "physics", "rig"},
	"cmd/chainline":              {"internal/app", "internal/cli"},
	"internal/house":             {},
	"internal/docs":              {},
	"demo":                       {},
	"demo/generate":              {"course"},
	"internal/evidence/write":    {"internal/evidence"},
}

// pure packages compute: they open nothing, read no clock and keep no state.
var pure = []string{"race", "debrief", "recording", "estimate", "physics", "course", "capacity", "rig", "room", "session", "pacing", "brief"}

var banned = map[string]string{
	"time":          "a formula has no clock: pass seconds in",
	"os":            "readers take an io.Reader",
	"io/fs":         "readers take an io.Reader",
	"net":           "nothing leaves the machine",
	"net/http":      "nothing leaves the machine",
	"log":           "return what happened",
	"log/slog":      "return what happened",
	"database/sql":  "physiology must be usable without a file",
	"math/rand":     "randomness is passed in, from math/rand/v2",
	"embed":         "data belongs to the edge",
	"runtime":       "the number of workers is passed in",
	"os/exec":       "a formula starts nothing",
	"encoding/json": "faces are internal/render's",
	"html/template": "faces are internal/render's",
	"text/template": "faces are internal/render's",
}

// outside is where each module may be used, so that a library stays behind
// one package. What is missing here may not be imported at all.
var outside = map[string][]string{
	"gonum.org/v1/gonum":               {"capacity", "debrief", "pacing", "physics", "rig", "room", "session"},
	"go.yaml.in/yaml/v3":               {"internal/input"},
	"github.com/muktihari/fit":         {"internal/fitfile"},
	"github.com/arran4/golang-ical":    {"internal/calendar"},
	"github.com/teambition/rrule-go":   {"internal/calendar"},
	"github.com/godbus/dbus/v5":        {"internal/sensor/bluetooth"},
	"tinygo.org/x/bluetooth":           {"internal/sensor/bluetooth"}, // Windows and macOS
	"github.com/spf13/cobra":           {"internal/cli"},
	"github.com/spf13/pflag":           {"internal/cli"},
	"golang.org/x/term":                {"cmd/chainline"},
	"golang.org/x/sys":                 {"internal/store"}, // the lock on Windows
	"modernc.org/sqlite":               {"internal/store"},
	"golang.org/x/crypto":              {"internal/web"}, // argon2id
	"github.com/danielgtaylor/huma/v2": {"internal/api"},
	"github.com/evanw/esbuild":         {"internal/web/assets/build"}, // go generate and its test, never the program
}

func TestImportLaw(t *testing.T) {
	out, err := exec.Command("go", "list", "-f", `{{.ImportPath}} {{join .Imports " "}}`, module+"...").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	found := map[string]bool{}
	for line := range strings.Lines(string(out)) {
		f := strings.Fields(line)
		name := strings.TrimPrefix(f[0], module)
		found[name] = true
		allowed, known := may[name]
		if !known {
			t.Errorf("%s is not in the law: add it with what it may import", name)
			continue
		}
		for _, imp := range f[1:] {
			check(t, name, imp, allowed)
		}
	}
	for name := range may {
		if !found[name] && !testOnly(name) {
			t.Errorf("the law names %s, which does not exist", name)
		}
	}
}

// testOnly packages have no code of their own to list.
func testOnly(name string) bool {
	return name == "internal/house" || name == "internal/docs" || name == "internal/browser"
}

func check(t *testing.T, name, imp string, allowed []string) {
	t.Helper()
	if ours, ok := strings.CutPrefix(imp, module); ok {
		if !slices.Contains(allowed, ours) {
			t.Errorf("%s imports %s, which stands above it or beside it", name, ours)
		}
		return
	}
	if why, ok := banned[imp]; ok && slices.Contains(pure, name) {
		t.Errorf("%s imports %s: %s", name, imp, why)
	}
	if imp == "testing" && name != "internal/sensor/porttest" { // a suite for tests alone; nothing may import it
		t.Errorf("%s imports testing outside its tests", name)
	}
	if first, _, _ := strings.Cut(imp, "/"); !strings.Contains(first, ".") {
		return // standard library
	}
	for lib, users := range outside {
		if imp == lib || strings.HasPrefix(imp, lib+"/") {
			if !slices.Contains(users, name) {
				t.Errorf("%s imports %s: only %v may", name, imp, users)
			}
			return
		}
	}
	t.Errorf("%s imports %s, which docs/dependencies.md and this law do not know", name, imp)
}
