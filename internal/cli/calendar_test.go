package cli

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/calendar"
	"chainline/internal/service"
)

func written(t *testing.T, name, text string) string {
	t.Helper()
	path := filepath.Join(t.TempDir(), name)
	if err := os.WriteFile(path, []byte(text), 0o600); err != nil {
		t.Fatal(err)
	}
	return path
}

func TestCalendarCommand(t *testing.T) {
	club := written(t, "club.csv", "name,date,time,minutes,zone,kind\nHill race,2026-12-01,19:30,45,Europe/Dublin,mass\nLong race,2026-12-02,20:00,90,Europe/Dublin,mass\nEasy together,2026-12-01,20:00,40,Europe/Dublin,group\n")
	out := filepath.Join(t.TempDir(), "fits.ics")
	args := []string{"calendar", club, demo + "tuesday-hill-race.yaml", "--from", "2026-12-01", "--to", "2026-12-09", "--zone", "Asia/Kolkata", "--minutes", "75"}
	code, text, errs := ran(append(args, "--out", out)...)
	if code != 0 {
		t.Fatalf("exit %d: %s", code, errs)
	}
	for _, want := range []string{"Wednesday 2 December 2026", "01:00-01:45", "there it is 19:30 (Europe/Dublin)", "[fits: no]", "35 min more than there are", "clashes with", "Two Mills Tuesday"} {
		if !strings.Contains(text, want) {
			t.Errorf("the text lacks %q:\n%s", want, text)
		}
	}
	data, err := os.ReadFile(out)
	if err != nil {
		t.Fatal(err)
	}
	f, err := calendar.Read("fits.ics", strings.NewReader(string(data)), time.UTC)
	if err != nil || f.Len() != 3 || !strings.Contains(string(data), "\r\n") {
		t.Errorf("%d events, %v", f.Len(), err)
	}
	_, text, _ = ran(append(args, "--json")...)
	var sheet service.CalendarSheet
	if err := json.Unmarshal([]byte(text), &sheet); err != nil || sheet.Schema != "chainline.calendar/1" || len(sheet.Events) != 4 || sheet.Events[0].Minutes != 45 {
		t.Errorf("%v %+v", err, sheet)
	}
	for _, bad := range [][]string{{"calendar"}, {"calendar", club, "--zone", "Home"}, {"calendar", club, "--from", "soon"}, {"calendar", club, "--minutes", "-1"},
		{"calendar", club, "--from", "2026-12-02", "--to", "2026-12-01"}, {"calendar", club, "--rider", demo + "regular.yaml"}, {"calendar", "ready", demo + "tuesday-hill-race.yaml"}, {"calendar", "ready", club, "--starter", "x"}} {
		code, _, errs := ran(bad...)
		if first, _, _ := strings.Cut(errs, "\n"); code != 2 || !strings.Contains(first, "expected") {
			t.Errorf("%v: exit %d: %s", bad, code, errs)
		}
	}
	code, text, errs = ran("calendar", "ready", demo+"tuesday-hill-race.yaml", "--starter", demo+"racer.yaml,"+demo+"racer-rig.yaml", "--json")
	var ready service.ReadySheet
	if err := json.Unmarshal([]byte(text), &ready); code != 0 || err != nil || len(ready.Riders) != 1 || ready.Riders[0].Checked != "never checked" {
		t.Errorf("exit %d: %s %v %s", code, errs, err, text)
	}
}

func TestResultsCommand(t *testing.T) {
	list := written(t, "list.csv", "pos;rider;bib;category;time;W/kg\n1;Ada;1;steady;30:00;3,1\n2;Bo;2;steady;30:03;2,9\n3;Cy;3;brisk;29:00;3,4\nDNF;Di;4;steady;;\n")
	code, text, errs := ran("results", list, "--me", "bo", "--event", demo+"tuesday-hill-race.yaml")
	if code != 0 || !strings.Contains(text, "You came 2nd of 2.") || !strings.Contains(text, "category steady") || strings.Contains(text, "Ada") {
		t.Errorf("exit %d: %s\n%s", code, errs, text)
	}
	code, text, _ = ran("results", list, "--names", "--json")
	var sheet service.ResultsSheet
	if err := json.Unmarshal([]byte(text), &sheet); code != 0 || err != nil || len(sheet.Rows) != 4 || sheet.Rows[0].Name != "Cy" || sheet.Rows[0].WPerKg != 3.4 || sheet.Rows[3].Name != "Di" {
		t.Errorf("%v %s", err, text)
	}
	if _, text, _ = ran("results", list, "--json"); strings.Contains(text, "Cy") || strings.Contains(text, "3.4") {
		t.Errorf("what others showed is given out: %s", text)
	}
	for _, bad := range [][]string{{"results"}, {"results", list, "--me", "nobody"}, {"results", list, "--recording", "x.fit"}, {"results", list, "--category", "none"}} {
		if code, _, errs := ran(bad...); code != 2 || !strings.Contains(errs, "expected") {
			t.Errorf("%v: exit %d: %s", bad, code, errs)
		}
	}
}
