package store

import (
	"archive/zip"
	"bytes"
	"fmt"
	"io"
	"slices"
	"strings"
	"testing"
)

// racingStore is a store with a calendar, results of two riders and a start list.
func racingStore(t *testing.T) (s *Store, ada, bo, event, course string) {
	t.Helper()
	s = mustOpen(t, t.TempDir())
	put := func(kind Kind, name, text string) string {
		return mustPut(t, s, Object{Kind: kind, Name: name, Text: text}).ID
	}
	event, course = put(Event, "Race", "name: Race\ncategories:\n  - {name: brook, max_w_per_kg: 2.6}\n"), put(Course, "Loop", "distance_km: 8\nascent_m: 40\n")
	rig := put(Rig, "Cellar", "trainer: {kind: fluid}\n")
	ada, bo = put(Rider, "Ada", "mass_kg: 60\n"), put(Rider, "Bo", "mass_kg: 70\n")
	if _, err := s.PutCalendar(ctx, Calendar{Name: "club.csv", Bytes: []byte("name,date\nRace,2031-12-02\n")}); err != nil {
		t.Fatal(err)
	}
	for _, me := range []string{"Ada", "Bo"} {
		if _, err := s.PutRaceResults(ctx, RaceResults{EventID: event, Sheet: fmt.Appendf(nil, `{"course_id":%q,"me":{"name":%q}}`, course, me)}); err != nil {
			t.Fatal(err)
		}
	}
	if err := s.PutForecast(ctx, Forecast{EventID: event, RiderID: ada, RigID: rig, CourseID: course, Key: "k", Sheet: []byte("{}")}); err != nil {
		t.Fatal(err)
	}
	if _, err := s.PutStartList(ctx, StartList{Title: "Tuesday", Riders: []string{ada, bo}, Request: fmt.Appendf(nil, `{"riders":[%q,%q],"course":%q}`, ada, bo, course), Sheet: []byte(`{"x":1}`)}); err != nil {
		t.Fatal(err)
	}
	return s, ada, bo, event, course
}

func exported(t *testing.T, s *Store, rider string) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := s.Export(ctx, &b, rider); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func imported(t *testing.T, s *Store, data []byte) Report {
	t.Helper()
	r, err := s.Import(ctx, bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// What an archive of everything brings elsewhere is the same, to the letter,
// and is not added twice.
func TestCalendarsResultsAndStartListsTravel(t *testing.T) {
	s, ada, bo, event, course := racingStore(t)
	data := exported(t, s, "")
	to := mustOpen(t, t.TempDir())
	imported(t, to, data)
	again := imported(t, to, data)
	if len(again.Added) != 0 {
		t.Errorf("added twice: %+v", again.Added)
	}
	if got := exported(t, to, ""); !slices.Equal(filesIn(t, got), filesIn(t, data)) {
		t.Errorf("%v\nwant\n%v", filesIn(t, got), filesIn(t, data))
	}
	cs, err := to.Calendars(ctx)
	if err != nil || len(cs) != 1 || cs[0].Name != "club.csv" {
		t.Errorf("%+v %v", cs, err)
	}
	rs, err := to.RaceResults(ctx, event)
	if err != nil || len(rs) != 2 || !strings.Contains(string(rs[0].Sheet), course) {
		t.Errorf("%+v %v", rs, err)
	}
	ls, err := to.StartLists(ctx)
	if err != nil || len(ls) != 1 || !slices.Contains(ls[0].Riders, ada) || !slices.Contains(ls[0].Riders, bo) {
		t.Errorf("%+v %v", ls, err)
	}
}

// Where IDs are taken by something else, what refers to them follows.
func TestRacesFollowNewIDs(t *testing.T) {
	s, ada, _, _, course := racingStore(t)
	data := exported(t, s, "")
	to := mustOpen(t, t.TempDir())
	mustPut(t, to, Object{ID: ada, Kind: Rider, Name: "Somebody else", Text: "mass_kg: 90\n"})
	mustPut(t, to, Object{ID: course, Kind: Course, Name: "Elsewhere", Text: "distance_km: 30\nascent_m: 0\n"})
	if _, err := to.PutCalendar(ctx, Calendar{Name: "club.csv", Bytes: []byte("name,date\nOther,2031-12-03\n")}); err != nil {
		t.Fatal(err)
	}
	imported(t, to, data)
	ls, err := to.StartLists(ctx)
	if err != nil || len(ls) != 1 || slices.Contains(ls[0].Riders, ada) {
		t.Fatalf("%+v %v", ls, err)
	}
	l, err := to.StartList(ctx, ls[0].ID)
	if err != nil || strings.Contains(string(l.Request), ada) || strings.Contains(string(l.Request), course) || !strings.Contains(string(l.Request), l.Riders[0]) {
		t.Errorf("%s of %v, %v", l.Request, l.Riders, err)
	}
	rs, err := to.RaceResults(ctx, "")
	if err != nil || len(rs) != 2 || strings.Contains(string(rs[0].Sheet), course) {
		t.Errorf("%+v %v", rs, err)
	}
	cs, err := to.Calendars(ctx)
	if err != nil || len(cs) != 2 || cs[0].Name == cs[1].Name {
		t.Errorf("%+v %v", cs, err)
	}
}

// One rider's archive has the calendars, the events they race with their
// categories, and results, but none of those that are about somebody else.
func TestOneRidersArchiveHasTheirRacesOnly(t *testing.T) {
	s, ada, _, event, _ := racingStore(t)
	to := mustOpen(t, t.TempDir())
	imported(t, to, exported(t, s, ada))
	rs, err := to.RaceResults(ctx, event)
	if err != nil || len(rs) != 1 || !strings.Contains(string(rs[0].Sheet), "Ada") {
		t.Errorf("%+v %v", rs, err)
	}
	if ls, err := to.StartLists(ctx); err != nil || len(ls) != 0 {
		t.Errorf("%+v %v", ls, err)
	}
	if cs, err := to.Calendars(ctx); err != nil || len(cs) != 1 {
		t.Errorf("%+v %v", cs, err)
	}
	if o, err := to.Object(ctx, event); err != nil || !strings.Contains(o.Text, "brook") {
		t.Errorf("%+v %v", o, err)
	}
}

func TestArchivesOfRacesThatDoNotHoldTogether(t *testing.T) {
	s, ada, _, event, _ := racingStore(t)
	data := exported(t, s, "")
	for name, change := range map[string][2]string{"event": {`"event": "` + event + `",
      "file": "results`, `"event": "` + ada + `",
      "file": "results`}, "rider": {`"riders": [`, `"riders": ["nobody",`}, "year": {`"title": "Tuesday"`, `"title": ""`}} {
		to := mustOpen(t, t.TempDir())
		bad := repackedWith(t, data, change[0], change[1])
		if _, err := to.Import(ctx, bytes.NewReader(bad), int64(len(bad))); err == nil {
			t.Errorf("%s: it is taken in", name)
		}
		if cs, err := to.Calendars(ctx); err != nil || len(cs) != 0 {
			t.Errorf("%s: something was added: %v %v", name, cs, err)
		}
	}
}

// filesIn are the files of an archive but its manifest, with their bytes.
func filesIn(t *testing.T, data []byte) (all []string) {
	t.Helper()
	for name, text := range contentsOf(t, data) {
		if name != manifestFile {
			all = append(all, name+" "+text)
		}
	}
	slices.Sort(all)
	return all
}

func contentsOf(t *testing.T, data []byte) map[string]string {
	t.Helper()
	z, err := zip.NewReader(bytes.NewReader(data), int64(len(data)))
	if err != nil {
		t.Fatal(err)
	}
	all := map[string]string{}
	for _, f := range z.File {
		r, err := f.Open()
		if err != nil {
			t.Fatal(err)
		}
		text, err := io.ReadAll(r)
		if err != nil {
			t.Fatal(err)
		}
		all[f.Name] = string(text)
	}
	return all
}

// repackedWith is an archive with something else in its manifest.
func repackedWith(t *testing.T, data []byte, old, now string) []byte {
	t.Helper()
	all := contentsOf(t, data)
	if !strings.Contains(all[manifestFile], old) {
		t.Fatalf("the manifest has no %q:\n%s", old, all[manifestFile])
	}
	all[manifestFile] = strings.Replace(all[manifestFile], old, now, 1)
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, text := range all {
		w, err := z.Create(name)
		if err == nil {
			_, err = io.WriteString(w, text)
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}
