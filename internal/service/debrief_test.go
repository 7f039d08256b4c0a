package service_test

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/recording"
)

var debriefToday = time.Date(2026, 12, 20, 9, 0, 0, 0, time.UTC)

// inventedRide is half an hour at steady watts, with five minutes at more and
// one spike nobody could have ridden, begun days before the test's today.
func inventedRide(t *testing.T, daysAgo int, watts, hard float64) *recording.Recording {
	t.Helper()
	b := recording.NewBuilder("An evening", float64(debriefToday.AddDate(0, 0, -daysAgo).Unix()), 0, "indoor cycling")
	for s := 1; s <= 1800; s++ {
		w := watts + float64(s%7)
		if s > 1200 && s <= 1500 {
			w = hard + float64(s%5)
		}
		if s == 600 {
			w = 4000
		}
		for q, v := range map[recording.Quantity]float64{recording.Power: w, recording.Cadence: 90 + float64(s%3), recording.HeartRate: 130 + float64(s%4) + float64(s)/100} {
			if err := b.Add(q, "meter", float64(s), v); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	return &r
}

func writeRide(t *testing.T, name string, r *recording.Recording, as func(*bytes.Buffer) error) string {
	t.Helper()
	var b bytes.Buffer
	if err := as(&b); err != nil {
		t.Fatal(err)
	}
	if err := os.WriteFile(name, b.Bytes(), 0o600); err != nil {
		t.Fatal(err)
	}
	return name
}

func writeFIT(t *testing.T, name string, r *recording.Recording) string {
	t.Helper()
	return writeRide(t, name, r, func(b *bytes.Buffer) error { return fitfile.Activity(b, r, fitfile.Options{}) })
}

// debriefs runs a request and gathers what it hands over.
func debriefs(t *testing.T, q service.DebriefRequest) ([]service.DebriefSheet, service.DebriefSeason, error) {
	t.Helper()
	var out []service.DebriefSheet
	q.Brief.Today, q.Brief.Seed, q.Brief.Draws, q.Brief.Workers = debriefToday, 1, 50, 2
	q.Each = func(s service.DebriefSheet) error {
		out = append(out, s)
		return nil
	}
	season, err := service.Debrief(t.Context(), q)
	return out, season, err
}

const demoRider, demoRig = "../../demo/racer.yaml", "../../demo/racer-rig.yaml"

// What no rider is needed for is said without one, and cleaned with every
// change listed; as recorded, the spike stays in.
func TestDebriefWithoutARider(t *testing.T) {
	file := writeFIT(t, filepath.Join(t.TempDir(), "evening.fit"), inventedRide(t, 3, 150, 260))
	got, season, err := debriefs(t, service.DebriefRequest{Files: []string{file}})
	if err != nil || len(got) != 1 || season.Rides != 1 {
		t.Fatalf("%v %d %+v", err, len(got), season)
	}
	s := got[0]
	if s.Schema != service.DebriefSchema || s.Date != "2026-12-17" || s.Kind != "FIT" || !s.Cleaned || len(s.Changes) != 1 || s.Changes[0].Kind != recording.Spike {
		t.Errorf("%+v", s)
	}
	m := s.Debrief.Measures
	if w := m.Whole; w.MaxW > 270 || w.MeanW < 165 || w.MeanW > 180 || m.Balance != nil || s.Debrief.Learnt != nil || len(m.Unsaid) == 0 {
		t.Errorf("%+v", m)
	}
	got, _, err = debriefs(t, service.DebriefRequest{Files: []string{file}, AsRecorded: true})
	if err != nil || got[0].Cleaned || len(got[0].Changes) != 0 || got[0].Debrief.Measures.Whole.MaxW != 4000 {
		t.Errorf("as recorded: %v %+v", err, got[0].Debrief.Measures.Whole)
	}
}

// A rider's ride is measured by what was known before it, and teaches: more so
// when the answer says that nothing was left. Evidence of the day itself or
// later is not known before.
func TestDebriefOfARider(t *testing.T) {
	// A little more than five minutes were thought to allow.
	file := writeFIT(t, filepath.Join(t.TempDir(), "evening.fit"), inventedRide(t, 3, 150, 330))
	ask := service.DebriefRequest{Files: []string{file}, Harder: "no"}
	ask.Brief.Rider, ask.Brief.Rig = demoRider, demoRig
	got, _, err := debriefs(t, ask)
	if err != nil {
		t.Fatal(err)
	}
	d := got[0].Debrief
	if got[0].Rider != "Ilse Verdonk" || d.Learnt == nil || len(d.Learnt.Added) == 0 || d.Measures.Balance == nil || d.Measures.LoadTh.Mean <= 0 || d.Road != nil {
		t.Fatalf("%+v", d)
	}
	if before, after := d.Learnt.Numbers[0].Before.Mean, d.Learnt.Numbers[0].After.Mean; after <= before+1 {
		t.Errorf("threshold before %.1f, after %.1f", before, after)
	}
	if !strings.Contains(strings.Join(d.Measures.Unsaid, " "), "The road: cannot say") {
		t.Errorf("%q", d.Measures.Unsaid)
	}
	// Ridden in the middle of the tests of the rider's file: what came later was
	// not known.
	file = writeFIT(t, filepath.Join(t.TempDir(), "earlier.fit"), inventedRide(t, 45, 150, 260)) // 5 November
	ask.Files = []string{file}
	if got, _, err = debriefs(t, ask); err != nil || !strings.Contains(strings.Join(got[0].Notes, " "), "2 of the evidence") {
		t.Errorf("%v %q", err, got[0].Notes)
	}
}

// The scales tell of this ride's sweat, and what to drink in the next.
func TestDebriefWeighed(t *testing.T) {
	file := writeFIT(t, filepath.Join(t.TempDir(), "evening.fit"), inventedRide(t, 3, 180, 200))
	ask := service.DebriefRequest{Files: []string{file}, Weighed: &[3]float64{61.6, 61.3, 0.2}}
	ask.Brief.Rider, ask.Brief.Rig = demoRider, demoRig
	got, _, err := debriefs(t, ask)
	if err != nil {
		t.Fatal(err)
	}
	w := got[0].Debrief.Weighed
	if w == nil || w.RateLPerH < 0.99 || w.RateLPerH > 1.01 || w.After.SweatLPerH.Mean <= w.Before.SweatLPerH.Mean {
		t.Errorf("%+v", w)
	}
	ask.Without = []string{"mass"}
	if got, _, err = debriefs(t, ask); err != nil || got[0].Debrief.Weighed != nil {
		t.Errorf("the mass is told: %v %+v", err, got[0].Debrief.Weighed)
	}
	ask.Weighed = &[3]float64{61.6, 75, 0.2}
	if _, _, err = debriefs(t, ask); problem.ExitCode(err) != 2 || !strings.Contains(err.Error(), "--weighed: ") {
		t.Error(err)
	}
}

// Several rides come in the order of time, each once, and what one taught is
// known before the next; a file that is none is named.
func TestDebriefOfAFolder(t *testing.T) {
	dir := t.TempDir()
	first, second := inventedRide(t, 32, 150, 330), inventedRide(t, 2, 160, 250)
	writeFIT(t, filepath.Join(dir, "b.fit"), second)
	writeFIT(t, filepath.Join(dir, "a.fit"), first)
	writeRide(t, filepath.Join(dir, "copy.recording"), first, func(b *bytes.Buffer) error { return recording.Write(b, first) })
	writeRide(t, filepath.Join(dir, "a.csv"), first, func(b *bytes.Buffer) error { return first.WriteCSV(b, 1) })
	if err := os.WriteFile(filepath.Join(dir, "diary.fit"), []byte("Dear diary"), 0o600); err != nil {
		t.Fatal(err)
	}
	ask := service.DebriefRequest{Files: []string{dir}}
	ask.Brief.Rider, ask.Brief.Rig = demoRider, demoRig
	got, season, err := debriefs(t, ask)
	if err != nil || len(got) != 2 || got[0].Date != "2026-11-18" || got[1].Date != "2026-12-18" {
		t.Fatalf("%v %d %+v", err, len(got), season.LeftOut)
	}
	if season.Rides != 2 || len(season.LeftOut) != 3 || season.Response == nil || len(season.Response.Days) != 31 || season.From != "2026-11-18" || len(season.Bests) == 0 {
		t.Errorf("%+v", season)
	}
	if a, b := got[0].Debrief.Learnt.Numbers[0].After.Mean, got[1].Debrief.Learnt.Numbers[0].Before.Mean; a == season.Numbers[0].Before.Mean || b == season.Numbers[0].Before.Mean {
		t.Errorf("nothing was carried on: after the first %.1f, before the second %.1f, before all %.1f", a, b, season.Numbers[0].Before.Mean)
	}
	for _, x := range season.Bests {
		if x.Seconds >= 20 && x.Seconds <= 250 && x.Date != "2026-11-18" {
			t.Errorf("%+v", x)
		}
	}
	if _, err := json.Marshal(season); err != nil {
		t.Error(err)
	}
	ask.Harder = "no"
	if _, _, err = debriefs(t, ask); problem.ExitCode(err) != 2 || !strings.Contains(err.Error(), "found 2 rides") {
		t.Error(err)
	}
}

// More rides than are held unpacked are read again when their turn comes.
func TestDebriefOfManyRides(t *testing.T) {
	dir := t.TempDir()
	const rides = 36
	for i := range rides {
		b := recording.NewBuilder("", float64(debriefToday.AddDate(0, 0, -i).Unix()), 0, "indoor cycling")
		for s := 1; s <= 60; s++ {
			if err := b.Add(recording.Power, "meter", float64(s), 100+float64(i+s%9)); err != nil {
				t.Fatal(err)
			}
		}
		r := b.Recording(true)
		writeFIT(t, filepath.Join(dir, r.Title+string(rune('a'+i%26))+string(rune('a'+i/26))+".fit"), &r)
	}
	got, season, err := debriefs(t, service.DebriefRequest{Files: []string{dir}})
	if err != nil || len(got) != rides || season.Rides != rides || got[0].Date >= got[rides-1].Date {
		t.Fatalf("%v %d %+v", err, len(got), season)
	}
	for i, s := range got {
		if want := 100 + float64(rides-1-i) + 4; s.Debrief.Measures.Whole.MeanW < want-1 || s.Debrief.Measures.Whole.MeanW > want+1 {
			t.Errorf("ride %d: %.1f W, wanted %.1f", i, s.Debrief.Measures.Whole.MeanW, want)
		}
	}
}

func TestDebriefIsStopped(t *testing.T) {
	dir := t.TempDir()
	writeFIT(t, filepath.Join(dir, "a.fit"), inventedRide(t, 9, 150, 250))
	writeFIT(t, filepath.Join(dir, "b.fit"), inventedRide(t, 2, 150, 250))
	ctx, stop := context.WithCancel(t.Context())
	seen := 0
	q := service.DebriefRequest{Files: []string{dir}, Each: func(service.DebriefSheet) error {
		seen++
		stop()
		return nil
	}}
	if _, err := service.Debrief(ctx, q); !errors.Is(err, context.Canceled) || seen != 1 || problem.ExitCode(err) != 1 {
		t.Errorf("%d %v", seen, err)
	}
	if _, err := service.Debrief(ctx, q); !errors.Is(err, context.Canceled) || seen != 1 {
		t.Errorf("stopped before it began: %d %v", seen, err)
	}
}
