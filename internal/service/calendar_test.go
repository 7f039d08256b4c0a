package service

import (
	"strings"
	"testing"
	"time"
)

const clubWeek = "name,date,time,minutes,zone,kind,repeats\n" +
	"Hill race,2026-12-01,19:30,45,Europe/Dublin,mass,weekly\n" +
	"Long race,2026-12-02,20:00,90,Europe/Dublin,mass,\n" +
	"Easy together,2026-12-01,20:00,40,Europe/Dublin,group,\n" +
	"Something,2026-12-03,18:00,,Europe/Dublin,,\n"

func calendarOf(t *testing.T, q CalendarRequest, more map[string]string) CalendarSheet {
	t.Helper()
	files := map[string]string{"week.csv": clubWeek, "day.yaml": "name: Ridge\nstart: 2026-12-05T10:00\ntime_zone: America/New_York\nkind: time-trial\n",
		"rig.yaml": "trainer: {kind: controllable}\n", "fresh.yaml": "name: Ada\nmass_kg: 60\nlevel: club\nevidence:\n  - {kind: test, watts: 300, duration_s: 180, date: 2026-11-20}\n  - {kind: test, watts: 240, duration_s: 1200, date: 2026-11-22}\n",
		"new.yaml": "name: Bo\nmass_kg: 80\nlevel: new\n"}
	for k, v := range more {
		files[k] = v
	}
	q.Open = Texts(files)
	q.Files = []string{"week.csv", "day.yaml"}
	q.Now = time.Date(2026, 12, 1, 8, 0, 0, 0, time.UTC)
	q.Zone = "Europe/Zurich"
	if q.To == "" {
		q.To = "2026-12-06"
	}
	s, err := Calendar(q)
	if err != nil {
		t.Fatal(err)
	}
	return s
}

func TestCalendarClashesAndZones(t *testing.T) {
	s := calendarOf(t, CalendarRequest{}, nil)
	var got []string
	for _, e := range s.Events {
		got = append(got, e.Name+" "+e.Start.Format("02T15:04")+" "+e.Home+" "+strings.Join(e.Clashes, ";"))
	}
	want := []string{"Hill race 01T20:30 2026-12-01T19:30 Easy together, 21:00 to 21:40", "Easy together 01T21:00 2026-12-01T20:00 Hill race, 20:30 to 21:15",
		"Long race 02T21:00 2026-12-02T20:00 ", "Something 03T19:00 2026-12-03T18:00 ", "Ridge 05T16:00 2026-12-05T10:00 "}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s", strings.Join(got, "\n"))
	}
	if s.Events[0].Fits != "" {
		t.Error("nothing was asked")
	}
}

func TestCalendarWhatFits(t *testing.T) {
	fits := func(s CalendarSheet) string {
		var out []string
		for _, e := range s.Events {
			out = append(out, e.Fits)
			if len(e.Why) == 0 && e.Fits != "yes" {
				t.Errorf("%s: %s without a reason", e.Name, e.Fits)
			}
		}
		return strings.Join(out, " ")
	}
	// 45 min race and 20 around it are 65 of 75; 90 and 20 are too long; the time trial says no length.
	if got := fits(calendarOf(t, CalendarRequest{Minutes: 75}, nil)); got != "perhaps perhaps no perhaps perhaps" {
		t.Error(got)
	}
	if got := fits(calendarOf(t, CalendarRequest{Minutes: 50}, nil)); got != "no perhaps no perhaps perhaps" {
		t.Error(got)
	}
	s := calendarOf(t, CalendarRequest{Rider: "fresh.yaml", Rig: "rig.yaml"}, nil)
	if got := fits(s); got != "perhaps perhaps perhaps yes yes" || s.Rider != "Ada" {
		t.Error(got, s.State) // the second race comes a day after the first
	}
	if got := fits(calendarOf(t, CalendarRequest{Rider: "new.yaml", Rig: "rig.yaml"}, nil)); got != "perhaps perhaps perhaps perhaps perhaps" {
		t.Error(got)
	}
	yesterday := calendarOf(t, CalendarRequest{Rider: "fresh.yaml", Rig: "rig.yaml"}, map[string]string{"fresh.yaml": "name: Ada\nmass_kg: 60\nlevel: club\nevidence:\n  - {kind: test, watts: 240, duration_s: 1200, date: 2026-11-30}\n"})
	if why := strings.Join(yesterday.Events[0].Why, " "); !strings.Contains(why, "after an all-out effort") {
		t.Error(why)
	}
	if n := len(calendarOf(t, CalendarRequest{Minutes: 50}, nil).Fitting(false)); n != 3 {
		t.Errorf("%d fit or may", n)
	}
}

func TestWhoIsReady(t *testing.T) {
	files := map[string]string{"race.yaml": "name: Hill race\nstart: 2026-12-08T19:30\nkind: mass\n",
		"ada.yaml": "name: Ada\nmass_kg: 60\nlevel: club\nevidence:\n  - {kind: test, watts: 300, duration_s: 180, date: 2026-11-20}\n  - {kind: test, watts: 240, duration_s: 1200, date: 2026-11-22}\n",
		"bo.yaml":  "name: Bo\nmass_kg: 80\n", "loft.yaml": "trainer: {kind: controllable}\nroom: {fans: [\"one desk fan, a metre away, medium\"]}\n", "attic.yaml": "trainer: {kind: controllable}\n",
		"check.json": `{"schema":"x","made":"2026-11-25T10:00:00Z"}`}
	day := time.Date(2026, 11, 24, 0, 0, 0, 0, time.UTC)
	s, err := Ready(ReadyRequest{Event: "race.yaml", Now: day, Open: Texts(files), Starters: []Starter{{Rider: "ada.yaml", Rig: "loft.yaml", Report: "check.json", Brief: day}, {Rider: "bo.yaml", Rig: "attic.yaml"}, {Rider: "ada.yaml", Rig: "loft.yaml", Checked: day.AddDate(0, -6, 0), Brief: day}}})
	if err != nil {
		t.Fatal(err)
	}
	a, b := s.Riders[0], s.Riders[1]
	if s.Ready != 1 || !a.Ready || a.Checked != "checked on 2026-11-25" || a.Fan != "there is one" || a.Brief != "made on 2026-11-24" || !strings.HasPrefix(a.Evidence, "fine") {
		t.Errorf("%d %+v", s.Ready, a)
	}
	if b.Ready || len(b.Missing) != 4 || b.Checked != "never checked" || !strings.HasPrefix(b.Evidence, "thin") || b.Fan != "not known" {
		t.Errorf("%+v", b)
	}
	if c := s.Riders[2]; c.Ready || len(c.Missing) != 1 {
		t.Errorf("%+v", c)
	}
}
