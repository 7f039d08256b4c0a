package cli

import (
	"encoding/json"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chainline/internal/service"
)

func harbourRace(who string, more ...string) []string {
	args := []string{"race", "--rider", demo + who + ".yaml", "--rig", demo + who + "-rig.yaml", "--road", demo + "road.yaml",
		"--course", demo + "harbour-ridge.gpx", "--event", demo + "harbour-race.yaml", "--races", "8", "--starters", "15"}
	return append(args, more...)
}

// The demo club's mass start: a newcomer is sent to the friendlier field, a
// racer to a hard one, nobody below their limits, and all of it is said to be
// unproved.
func TestRaceOfTheDemoClub(t *testing.T) {
	for _, who := range []string{"newcomer", "racer"} {
		code, out, errs := ran(harbourRace(who, "--json")...)
		if code != 0 {
			t.Fatalf("%s: exit %d: %s", who, code, errs)
		}
		var sheet service.RaceSheet
		if err := json.Unmarshal([]byte(out), &sheet); err != nil {
			t.Fatal(err)
		}
		if len(sheet.Categories) != 5 || sheet.Schema != "chainline/race/1" || !strings.Contains(sheet.Unproved, "Never checked against a real race") {
			t.Errorf("%s: %d categories, %q", who, len(sheet.Categories), sheet.Unproved)
		}
		if sheet.Enter == "" || len(sheet.Why) == 0 || len(sheet.Card) > 7 || len(sheet.WarmUp) == 0 || sheet.WarmUp[0].StartS >= 0 {
			t.Errorf("%s: %+v", who, sheet)
		}
		for _, c := range sheet.Categories {
			if c.Name == sheet.Enter && (c.Above > 0.5 || !c.Open) {
				t.Errorf("%s is sent to %s: %s", who, c.Name, c.Standing)
			}
			if c.Forecast && len(c.Along) != 21 {
				t.Errorf("%s: %d places", c.Name, len(c.Along))
			}
		}
	}
	_, text, _ := ran(harbourRace("newcomer")...)
	for _, want := range []string{"ENTER ", "Never checked against a real race.", "BEFORE THE GUN", "FOR THE HANDLEBAR"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
}

// Nobody under 18 is shown W/kg, in text or JSON.
func TestRaceOfAMinor(t *testing.T) {
	rider := filepath.Join(t.TempDir(), "young.yaml")
	text := "name: Young\nmass_kg: 55\nbirth_year: 2011\nsex: female\nlevel: club\nevidence:\n  - {kind: test, duration_s: 1200, watts: 170, date: 2026-11-01}\n"
	if err := os.WriteFile(rider, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	args := harbourRace("regular")
	args[2] = rider
	for _, form := range []string{"--json", "--quiet"} {
		code, out, errs := ran(append(args, form)...)
		if code != 0 {
			t.Fatalf("exit %d: %s", code, errs)
		}
		if strings.Contains(out, "W/kg") || strings.Contains(out, "w_per_kg") {
			t.Errorf("%s shows a minor W/kg:\n%s", form, out)
		}
	}
}

func TestRaceAgainstTheClock(t *testing.T) {
	code, out, errs := ran("race", "--rider", demo+"regular.yaml", "--rig", demo+"regular-rig.yaml", "--course", demo+"harbour-ridge.gpx", "--event", demo+"harbour-time-trial.yaml")
	if code != 0 || !strings.Contains(out, "against the clock") || !strings.Contains(out, "the plan of the brief is all there is") {
		t.Errorf("exit %d: %s%s", code, errs, out)
	}
}

func TestHandicapAndTogether(t *testing.T) {
	group := []string{"--rider", demo + "newcomer.yaml", "--rider", demo + "regular.yaml", "--rider", demo + "racer.yaml", "--course", demo + "two-mills.csv"}
	code, out, errs := ran(append([]string{"handicap", "--races", "40", "--json"}, group...)...)
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	if strings.Count(out, "\n") != 1 {
		t.Errorf("%d lines of JSON; expected one, like the other commands", strings.Count(out, "\n"))
	}
	var list service.HandicapSheet
	if err := json.Unmarshal([]byte(out), &list); err != nil {
		t.Fatal(err)
	}
	total, riders := 0.0, 0
	for _, b := range list.Bunches {
		if math.Mod(b.GapS, 5) != 0 {
			t.Errorf("a gap of %g s", b.GapS)
		}
		for _, r := range b.Riders {
			total, riders = total+r.Chance, riders+1
		}
	}
	if riders != 3 || math.Abs(total-1) > 1e-9 || list.Bunches[0].GapS != 0 || list.Bunches[0].Riders[0].Name != "Aoife Tallon" {
		t.Errorf("%s", out)
	}
	arrivals := filepath.Join(t.TempDir(), "tuesday.csv")
	if err := os.WriteFile(arrivals, []byte("name,time\nAoife Tallon,20:00\nBram Castelein,40:00\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs = ran(append([]string{"handicap", "--races", "40", "--arrivals", arrivals}, group...)...)
	if code != 0 || !strings.Contains(out, "Aoife Tallon: +") || !strings.Contains(out, "did not finish: unchanged") {
		t.Errorf("exit %d: %s%s", code, errs, out)
	}
	code, out, errs = ran(append([]string{"together", "--course", demo + "harbour-ridge.gpx"}, group...)...)
	if code != 0 || !strings.Contains(out, "Regroup at km") || !strings.Contains(out, "takes turns") {
		t.Errorf("exit %d: %s%s", code, errs, out)
	}
}

// A result list teaches the field, and the sheet says so.
func TestRaceLearnsFromResults(t *testing.T) {
	list := filepath.Join(t.TempDir(), "results.csv")
	text := "place,category,time\n"
	for i := range 20 {
		text += fmt.Sprintf("%d,surge,%d\n", i+1, 2300+10*i)
	}
	if err := os.WriteFile(list, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, errs := ran(harbourRace("racer", "--category", "surge", "--results", list)...)
	if code != 0 || !strings.Contains(out, "The field of 'surge' was learnt from 20 results") {
		t.Errorf("exit %d: %s%s", code, errs, out)
	}
}

// Misuse is one line and exit code 2.
func TestRaceMisuse(t *testing.T) {
	bad := filepath.Join(t.TempDir(), "bad.csv")
	if err := os.WriteFile(bad, []byte("Nobody,20:00\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	group := []string{"--rider", demo + "regular.yaml", "--rider", demo + "racer.yaml", "--course", demo + "two-mills.csv"}
	for _, c := range []struct {
		args []string
		want string
	}{
		{harbourRace("racer", "--category", "nosuch"), `--category: found "nosuch"; expected one of ebb, tide, swell, surge, spindrift`},
		{harbourRace("racer", "--races", "0"), "--races: found 0; expected 1 to 2000"},
		{[]string{"race"}, "a brief needs a rider and a rig"},
		{[]string{"handicap", "--rider", demo + "racer.yaml", "--course", demo + "two-mills.csv"}, "found 1 riders; expected 2 to 60"},
		{append([]string{"handicap", "--races", "20", "--arrivals", bad}, group...), `bad.csv:1: "Nobody" is not on the start list`},
		{append([]string{"together", "--ease", "7"}, group...), "--ease: found 7; expected 0.3 to 1"},
		{append([]string{"together", "--accuracy", "x"}, group...), `--accuracy: found "x"; expected above 0 to 30`},
	} {
		code, _, errs := ran(c.args...)
		if code != 2 || !strings.Contains(errs, c.want) {
			t.Errorf("%v: exit %d, %q; expected %q", c.args, code, errs, c.want)
		}
	}
}

func ran(args ...string) (code int, out, errs string) {
	r := run(args...)
	return r.code, r.out, r.err
}
