package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestForecastsAndStartListsGoWithTheirRiders(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	put := func(kind Kind, name, text string) string {
		return mustPut(t, s, Object{Kind: kind, Name: name, Text: text}).ID
	}
	event, course, rig := put(Event, "Race", "name: Race\n"), put(Course, "Loop", "distance_km: 8\nascent_m: 40\n"), put(Rig, "Cellar", "trainer: {kind: fluid}\n")
	ada, bo := put(Rider, "Ada", "mass_kg: 60\n"), put(Rider, "Bo", "mass_kg: 70\n")
	f := Forecast{EventID: event, RiderID: ada, RigID: rig, CourseID: course, Key: "one", Sheet: []byte(`{"enter":"whispered ebb"}`)}
	for _, bad := range []Forecast{{EventID: ada, RiderID: ada, RigID: rig, CourseID: course, Sheet: []byte("{}")}, {EventID: event, RiderID: ada, RigID: rig, CourseID: course, Sheet: []byte("{")}} {
		if err := s.PutForecast(ctx, bad); err == nil {
			t.Errorf("%+v is kept", bad)
		}
	}
	for _, key := range []string{"one", "two"} {
		f.Key = key
		if err := s.PutForecast(ctx, f); err != nil {
			t.Fatal(err)
		}
	}
	f.RiderID = bo
	if err := s.PutForecast(ctx, f); err != nil {
		t.Fatal(err)
	}
	all, err := s.Forecasts(ctx, event)
	if err != nil || len(all) != 2 || all[0].Key != "two" || all[0].Made.IsZero() || all[0].RoadID != "" {
		t.Fatalf("%+v %v", all, err)
	}
	l := StartList{Title: "Tuesday", Riders: []string{ada, bo}, Request: []byte(`{"x":1}`), Sheet: []byte(`{"note":"limit bunch of Ada"}`)}
	for _, bad := range []StartList{{Title: "x", Request: []byte("{}"), Sheet: []byte("{}")}, {Title: "", Riders: []string{ada}, Request: []byte("{}"), Sheet: []byte("{}")},
		{Title: "x", Riders: []string{event}, Request: []byte("{}"), Sheet: []byte("{}")}, {Title: "x", Riders: []string{ada}, Request: []byte("{"), Sheet: []byte("{}")}} {
		if _, err := s.PutStartList(ctx, bad); err == nil {
			t.Errorf("%+v is kept", bad)
		}
	}
	kept, err := s.PutStartList(ctx, l)
	if err != nil {
		t.Fatal(err)
	}
	got, err := s.StartList(ctx, kept.ID)
	if err != nil || got.Title != "Tuesday" || len(got.Riders) != 2 || string(got.Request) != `{"x":1}` {
		t.Fatalf("%+v %v", got, err)
	}
	if err := s.Delete(ctx, ada); err != nil {
		t.Fatal(err)
	}
	if all, err := s.Forecasts(ctx, event); err != nil || len(all) != 1 || all[0].RiderID != bo {
		t.Errorf("%+v %v", all, err)
	}
	if all, err := s.StartLists(ctx); err != nil || len(all) != 0 {
		t.Errorf("a start list outlives its rider: %+v %v", all, err)
	}
	if _, err := s.StartList(ctx, kept.ID); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	l.Riders = []string{bo}
	if kept, err = s.PutStartList(ctx, l); err != nil {
		t.Fatal(err)
	}
	if err := s.DeleteStartList(ctx, kept.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.Delete(ctx, event); err != nil {
		t.Fatal(err)
	}
	mustClose(t, s)
	data, err := os.ReadFile(filepath.Join(dir, databaseFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"whispered ebb", "limit bunch of Ada"} {
		if bytes.Contains(data, []byte(word)) {
			t.Errorf("%q is still legible on the disk", word)
		}
	}
}
