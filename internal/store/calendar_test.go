package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"testing"
)

func TestCalendarsAndResultsAreKeptAndReallyDeleted(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	event := mustPut(t, s, Object{Kind: Event, Name: "Race", Text: "name: Race\n"})
	rider := mustPut(t, s, Object{Kind: Rider, Name: "Ada", Text: "mass_kg: 60\n"})
	secret := bytes.Repeat([]byte("whereabouts of Ada "), 200)
	old, err := s.PutCalendar(ctx, Calendar{Name: "club.ics", Bytes: []byte("old")})
	if err != nil {
		t.Fatal(err)
	}
	c, err := s.PutCalendar(ctx, Calendar{Name: "club.ics", Bytes: secret})
	if err != nil || c.ID == old.ID {
		t.Fatal(c, err)
	}
	all, err := s.Calendars(ctx)
	if err != nil || len(all) != 1 || !bytes.Equal(all[0].Bytes, secret) || all[0].Added.IsZero() {
		t.Fatalf("%v %v", all, err)
	}
	for _, bad := range []Calendar{{Name: "", Bytes: secret}, {Name: "x"}, {Name: "x", Bytes: make([]byte, maxCalendar+1)}} {
		if _, err := s.PutCalendar(ctx, bad); err == nil {
			t.Errorf("%.20q of %d bytes is kept", bad.Name, len(bad.Bytes))
		}
	}
	if _, err := s.PutRaceResults(ctx, RaceResults{EventID: rider.ID, Sheet: []byte("{}")}); !errors.Is(err, ErrNotFound) {
		t.Errorf("results of a rider: %v", err)
	}
	if _, err := s.PutRaceResults(ctx, RaceResults{EventID: event.ID, Sheet: []byte("{")}); err == nil {
		t.Error("no JSON is kept")
	}
	r, err := s.PutRaceResults(ctx, RaceResults{EventID: event.ID, Sheet: []byte(`{"me":"placed seventh"}`)})
	if err != nil {
		t.Fatal(err)
	}
	if got, err := s.RaceResults(ctx, event.ID); err != nil || len(got) != 1 || got[0].ID != r.ID || string(got[0].Sheet) != `{"me":"placed seventh"}` {
		t.Fatalf("%v %v", got, err)
	}
	if err := s.Delete(ctx, event.ID); err != nil {
		t.Fatal(err)
	}
	if got, err := s.RaceResults(ctx, ""); err != nil || len(got) != 0 {
		t.Errorf("results outlive their event: %v %v", got, err)
	}
	if err := s.DeleteCalendar(ctx, c.ID); err != nil {
		t.Fatal(err)
	}
	if err := s.DeleteCalendar(ctx, c.ID); !errors.Is(err, ErrNotFound) {
		t.Error(err)
	}
	mustClose(t, s)
	data, err := os.ReadFile(filepath.Join(dir, databaseFile))
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"whereabouts of Ada", "placed seventh"} {
		if bytes.Contains(data, []byte(word)) {
			t.Errorf("%q is still legible on the disk", word)
		}
	}
}
