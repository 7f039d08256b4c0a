package service_test

import (
	"bytes"
	"fmt"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/service"
	"chainline/recording"
)

// A ride's debrief stands on what was known before it, its answer teaches, and
// what it taught enters the next brief, unless it is left out.
func TestARideTeachesTheNextBrief(t *testing.T) {
	a, _ := library(t, t.TempDir(), nil)
	rides := t.TempDir()
	writeFIT(t, filepath.Join(rides, "old.fit"), inventedRide(t, 40, 150, 230))
	writeFIT(t, filepath.Join(rides, "new.fit"), inventedRide(t, 3, 190, 340))
	imported(t, a, service.ImportRequest{Paths: []string{rides}, RiderID: "ada", RigID: "cellar"})
	rows := rideRows(t, a, "ada")
	last := rows[0].ID
	ask := func() service.Known {
		t.Helper()
		taught, err := a.Taught(t.Context(), "ada")
		if err != nil {
			t.Fatal(err)
		}
		k, err := service.Learn(service.BriefRequest{Rider: demoRider, Rig: demoRig, Today: debriefToday, Seed: 1, Taught: taught})
		if err != nil {
			t.Fatal(err)
		}
		return k
	}
	before := ask()
	if err := a.AnswerRide(t.Context(), last, "no"); err != nil {
		t.Fatal(err)
	}
	s, err := a.RideDebrief(t.Context(), last)
	if err != nil {
		t.Fatal(err)
	}
	if s.ID != last || s.Harder != "no" || s.Debrief.Learnt == nil || len(s.Debrief.Learnt.Added) == 0 || len(s.Debrief.Learnt.Numbers) != 4 {
		t.Fatalf("%+v", s)
	}
	after := ask()
	if a, b := before.Capacity.Threshold(), after.Capacity.Threshold(); a == b {
		t.Errorf("the answer taught nothing: %.2f W", a)
	}
	items, err := a.Learnt(t.Context(), "ada")
	if err != nil {
		t.Fatal(err)
	}
	key := ""
	for _, i := range items {
		if i.RideID == last {
			key = i.Key
		}
	}
	if key == "" || !strings.Contains(items[0].What, "off the bike") {
		t.Fatalf("%+v", items)
	}
	if err := a.LeaveOut(t.Context(), "ada", key, true); err != nil {
		t.Fatal(err)
	}
	without := ask()
	if len(without.Rider.Evidence) >= len(after.Rider.Evidence) || len(after.Rider.Off) == 0 {
		t.Errorf("%d pieces of evidence with the ride, %d without; off %+v", len(after.Rider.Evidence), len(without.Rider.Evidence), after.Rider.Off)
	}
	if items, err = a.Learnt(t.Context(), "ada"); err != nil || !strings.Contains(fmt.Sprint(items), key) {
		t.Errorf("what is left out is not listed: %v %+v", err, items)
	}
	if err := a.LeaveOut(t.Context(), "ada", key, false); err != nil {
		t.Fatal(err)
	}
	if again := ask(); again.Capacity.Threshold() != after.Capacity.Threshold() {
		t.Errorf("%.3f W, %.3f W", again.Capacity.Threshold(), after.Capacity.Threshold())
	}
	if err := a.WeighRide(t.Context(), last, 61.5, 75, 0.5); err == nil {
		t.Error("a rider who gained 13 kg was believed")
	}
	if err := a.WeighRide(t.Context(), last, 61.5, 61.1, 0.5); err != nil {
		t.Fatal(err)
	}
	if s, err = a.RideDebrief(t.Context(), last); err != nil || s.Debrief.Weighed == nil || s.Debrief.Weighed.RateLPerH < 1.5 {
		t.Errorf("%v %+v", err, s.Debrief.Weighed)
	}
	if taught, err := a.Taught(t.Context(), "ada"); err != nil || len(taught.Weighed) != 1 || taught.Weighed[0].Seconds < 1700 {
		t.Errorf("%v %+v", err, taught)
	}
	if row, err := a.Ride(t.Context(), last); err != nil || !row.Cached || row.Answer != "no" {
		t.Errorf("%v %+v", err, row)
	}
	taught, err := a.Taught(t.Context(), "ada")
	if err != nil {
		t.Fatal(err)
	}
	threshold := func(weeks int) float64 {
		t.Helper()
		k, err := service.Learn(service.BriefRequest{Rider: demoRider, Rig: demoRig, Today: debriefToday.AddDate(0, 0, 7*weeks), Seed: 1, Taught: taught})
		if err != nil {
			t.Fatal(err)
		}
		return k.Capacity.Threshold()
	}
	if now, later := threshold(0), threshold(8); later > 0.98*now || later < 0.8*now { // some of it was lost in the weeks before the last ride
		t.Errorf("%.0f W now, %.0f W after eight weeks without a ride", now, later)
	}
	if err := a.DeleteRide(t.Context(), last); err != nil {
		t.Fatal(err)
	}
	if gone := ask(); len(gone.Rider.Evidence) != len(without.Rider.Evidence) {
		t.Error("a deleted ride still teaches")
	}
}

// A change of cleaning is taken back and made again, alone.
func TestAChangeOfCleaningIsTakenBack(t *testing.T) {
	a, _ := library(t, t.TempDir(), nil)
	file := writeFIT(t, filepath.Join(t.TempDir(), "a.fit"), inventedRide(t, 3, 150, 260))
	imported(t, a, service.ImportRequest{Paths: []string{file}, RiderID: "ada"})
	id := rideRows(t, a, "")[0].ID
	highest := func() float64 {
		t.Helper()
		s, err := a.RideDebrief(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return s.Debrief.Measures.Whole.MaxW
	}
	s, err := a.RideDebrief(t.Context(), id)
	changes := s.RideChanges()
	if err != nil || len(changes) != 1 || changes[0].Kind != recording.Spike || changes[0].Undone || highest() > 300 {
		t.Fatalf("%v %+v", err, changes)
	}
	if err := a.SetChange(t.Context(), id, 0, true); err != nil {
		t.Fatal(err)
	}
	if row, err := a.Ride(t.Context(), id); err != nil || row.CleanedChanges != 0 || row.Undone != 1 || highest() < 3999 {
		t.Errorf("%v %+v, %.0f W", err, row, highest())
	}
	if err := a.SetChange(t.Context(), id, 0, false); err != nil || highest() > 300 {
		t.Errorf("%v, %.0f W", err, highest())
	}
	if err := a.SetChange(t.Context(), id, 1, true); err == nil {
		t.Error("a change that is not there was taken back")
	}
}

// A season has its bests with their days, the response up to the day asked
// for, how the threshold developed, and what may come next.
func TestSeasonOfKeptRides(t *testing.T) {
	a, _ := library(t, t.TempDir(), nil)
	rides := t.TempDir()
	for i := range 12 {
		writeFIT(t, filepath.Join(rides, fmt.Sprintf("%02d.fit", i)), inventedRide(t, 2+4*i, 140+float64(i), 300-5*float64(i)))
	}
	imported(t, a, service.ImportRequest{Paths: []string{rides}, RiderID: "ada", RigID: "cellar"})
	s, err := a.Season(t.Context(), "ada", time.Time{})
	if err != nil {
		t.Fatal(err)
	}
	if s.Rides != 12 || s.From != "2026-11-04" || s.To != "2026-12-18" || len(s.Timeline) != 12 || len(s.Numbers) != 4 || s.Response == nil || len(s.Response.Days) != 47 || len(s.Response.Next) == 0 || s.Places == "" {
		t.Fatalf("%d rides %s to %s, %d points, %+v %+v", s.Rides, s.From, s.To, len(s.Timeline), s.Numbers, s.Unsaid)
	}
	for _, b := range s.Bests {
		if b.Seconds >= 20 && b.Seconds <= 250 && (b.Date != "2026-12-18" || b.RideID == "" || b.Watts < 300 || b.Watts > 305) {
			t.Errorf("%+v", b)
		}
	}
	if n := len(s.MeanMax.Watts); n != 1800 {
		t.Errorf("%d durations", n)
	}
	early, err := a.Season(t.Context(), "ada", debriefToday.AddDate(0, 0, -30))
	if err != nil || early.Rides >= 12 || early.To > "2026-11-20" {
		t.Errorf("%v %d rides to %s", err, early.Rides, early.To)
	}
	rows, err := a.Rides(t.Context(), "ada", service.RideFilter{From: debriefToday.AddDate(0, 0, -10), Limit: 2})
	if err != nil || len(rows) != 2 || rows[1].Load == nil {
		t.Errorf("%v %+v", err, rows)
	}
}

// A finished ride enters the library once and is copied; where it cannot be,
// this is said once, and it is copied when it can.
func TestALiveRideIsTakenInAndCopied(t *testing.T) {
	var log bytes.Buffer
	dir := t.TempDir()
	a, _ := library(t, dir, &log)
	folder := filepath.Join(t.TempDir(), "copies")
	if err := a.SetCopyFolder(t.Context(), folder); err == nil {
		t.Error("a folder that is not there was taken")
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := a.SetCopyFolder(t.Context(), folder); err != nil {
		t.Fatal(err)
	}
	take := func(n int) {
		t.Helper()
		rec := quickRide(t, n, 150)
		id := fmt.Sprintf("20261217-09000%d", n)
		file := writeRide(t, filepath.Join(t.TempDir(), id+".recording"), rec, func(b *bytes.Buffer) error { return recording.Write(b, rec) })
		for range 2 {
			if err := a.TakeLive(t.Context(), service.LiveRide{ID: id, Title: "Mill Lane", File: file, Rider: "ada", RigID: "cellar", Bench: n == 2}); err != nil {
				t.Fatal(err)
			}
		}
	}
	take(1)
	rows := rideRows(t, a, "")
	if len(rows) != 1 || rows[0].RiderID != "ada" || rows[0].RigID != "cellar" || rows[0].Title != "Mill Lane" || rows[0].Left {
		t.Fatalf("%+v", rows)
	}
	copies := func() (names []string) {
		all, err := os.ReadDir(folder)
		if err != nil {
			t.Fatal(err)
		}
		for _, e := range all {
			names = append(names, e.Name())
		}
		return names
	}
	if got := copies(); len(got) != 2 || got[0] != "20261217-090001.csv" || got[1] != "20261217-090001.fit" {
		t.Errorf("%v", got)
	}
	if err := os.RemoveAll(folder); err != nil {
		t.Fatal(err)
	}
	take(2)
	take(3)
	waiting, err := a.CopiesWaiting(t.Context())
	if err != nil || len(waiting) != 2 || strings.Count(log.String(), "could not be copied") != 1 {
		t.Errorf("%v %v\n%s", err, waiting, log.String())
	}
	if err := os.Mkdir(folder, 0o700); err != nil {
		t.Fatal(err)
	}
	take(4)
	if got := copies(); len(got) != 6 {
		t.Errorf("%v", got)
	}
	for _, r := range rideRows(t, a, "ada") {
		if r.Bench != r.Left {
			t.Errorf("%+v", r)
		}
	}
}
