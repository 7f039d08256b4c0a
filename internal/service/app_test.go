package service

import (
	"context"
	"io"
	"strings"
	"testing"
	"time"
)

// What a store keeps is read as files are; a glance, which leaves out the heat,
// and a whole brief agree.
func TestFromAStore(t *testing.T) {
	kept := map[string]string{
		"rider/1":  "name: A\nmass_kg: 70\nlevel: regular\nevidence:\n  - {kind: threshold, watts: 230, from: 20-minute test, date: 2026-11-01, source: hub}\n",
		"rig/1":    "trainer: {kind: controllable}\npower_source: {name: hub, kind: trainer}\n",
		"course/1": "distance_m,elevation_m\n0,0\n4000,0\n7000,150\n10000,0\n",
	}
	q := BriefRequest{Rider: "rider/1", Rig: "rig/1", Course: "course/1", Today: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Draws: 100, Seed: 1, Workers: 2,
		Open: func(name string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(kept[name])), nil }}
	k, err := Learn(q)
	if err != nil || k.Capacity.CriticalPower < 210 || k.Capacity.CriticalPower > 260 || len(k.Account.Lines) != 1 {
		t.Fatalf("%v, %+v", err, k)
	}
	g, err := Glance(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Brief(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	if g.Distance != 10000 || g.Ascent != 150 || g.Median < 0.95*b.Forecast.Median || g.Median > 1.08*b.Forecast.Median || g.Load <= 0 {
		t.Errorf("at a glance %+v, the brief takes %.0f s", g, b.Forecast.Median)
	}
	w, err := Course(q)
	if err != nil || w.Profile.Length() != 10000 {
		t.Errorf("%v, %+v", err, w)
	}
}

// A sketch kept as a file is a course like any other, and the answers to the
// health screening reach the plan.
func TestSketchFilesAndScreening(t *testing.T) {
	kept := map[string]string{
		"rider/1": "mass_kg: 70\nlevel: regular\nscreening: {ill_now: yes, date: 2026-11-24}\n", "rider/2": "mass_kg: 70\nlevel: regular\n",
		"rig/1": "trainer: {kind: controllable}\n", "course/1": "# from a route list\nname: Mill loop\ndistance_km: 12\nascent_m: 140\n",
		"course/2": "distance_km: 12\nascent_m: many\n"}
	q := BriefRequest{Rider: "rider/1", Rig: "rig/1", Course: "course/1", Today: time.Date(2026, 11, 25, 12, 0, 0, 0, time.UTC), Draws: 50, Seed: 1, Workers: 2,
		Open: func(name string) (io.ReadCloser, error) { return io.NopCloser(strings.NewReader(kept[name])), nil }}
	ill, err := Brief(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	q.Rider = "rider/2"
	well, err := Brief(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	if ill.Course.Known != "sketch" || ill.Title != "Mill loop" || ill.Course.Distance != 12000 {
		t.Errorf("course %+v", ill.Course)
	}
	for _, r := range ill.Plan.Rules {
		if r.Watts > 0.61*ill.Rider.CriticalPower.Mean {
			t.Errorf("an ill rider is asked for %.0f W", r.Watts)
		}
	}
	if !strings.Contains(strings.Join(ill.Cautions, " "), "You are ill") || ill.Plan.MeanWatts >= well.Plan.MeanWatts || ill.NextTest.Maximal {
		t.Errorf("ill: %.0f W, well: %.0f W; %q", ill.Plan.MeanWatts, well.Plan.MeanWatts, ill.Cautions)
	}
	q.Course = "course/2"
	if _, err := Brief(context.Background(), q); err == nil || !strings.Contains(err.Error(), "course/2:2:11: ascent_m") {
		t.Errorf("a broken sketch: %v", err)
	}
}
