package service_test

import (
	"context"
	"strings"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/session"
)

func rideOf(rider, rig, sessionText string) (service.Riding, error) {
	files := map[string]string{"rider": rider, "rig": rig}
	return service.Ride(context.Background(), service.RideRequest{ID: "x", Begun: time.Date(2026, 12, 3, 19, 0, 0, 0, time.UTC), Session: sessionText,
		Brief: service.BriefRequest{Rider: "rider", Rig: "rig", Today: time.Date(2026, 12, 3, 0, 0, 0, 0, time.UTC), Seed: 1, Open: service.Texts(files)}})
}

const smart = "trainer: {kind: controllable}\npower_source: {name: crank, kind: crank}\n"

// What the health questions hold back is not ridden by way of a session.
func TestSessionsKeepToTheScreening(t *testing.T) {
	text := func(id string) string {
		x, ok := session.Find(id)
		if !ok {
			t.Fatal(id)
		}
		return x.Text
	}
	const ill = "mass_kg: 70\nscreening: {date: 2026-12-01, ill_now: yes}\n"
	if _, err := rideOf(ill, smart, text("threshold-twice")); err == nil || !strings.Contains(err.Error(), "not for now") {
		t.Errorf("an ill rider rides threshold: %v", err)
	}
	r, err := rideOf(ill, smart, text("easy-spin"))
	if err != nil {
		t.Fatal(err)
	}
	if cp := r.Setup.Rider.Balance.CriticalPower; r.Setup.Limits.MostWatts > 0.61*cp {
		t.Errorf("an ill rider's brake may be told %.0f W, critical power is %.0f W", r.Setup.Limits.MostWatts, cp)
	}
	if _, err := rideOf("mass_kg: 70\n", smart, text("test-20-min")); err == nil || !strings.Contains(err.Error(), "all-out") {
		t.Errorf("a maximal test without health questions: %v", err)
	}
	if _, err := rideOf("mass_kg: 70\nbirth_year: 1990\nlevel: racer\nscreened: 2026-11-01\n", smart, text("test-20-min")); err != nil {
		t.Error(err)
	}
}

func TestTheRigSaysHowToBeThere(t *testing.T) {
	for rig, want := range map[string]ride.Way{smart: ride.Controlling, "trainer: {kind: plain}\n": ride.Showing} {
		r, err := rideOf("mass_kg: 70\n", rig, "ride 10 min at 60 % of threshold\n")
		if err != nil {
			t.Fatal(err)
		}
		if r.Setup.Way != want {
			t.Errorf("%q: %s, want %s", rig, r.Setup.Way, want)
		}
	}
}

func TestASketchCannotBeRidden(t *testing.T) {
	length, ascent := 12000.0, 150.0
	files := map[string]string{"rider": "mass_kg: 70\n", "rig": smart}
	_, err := service.Ride(t.Context(), service.RideRequest{ID: "x", Brief: service.BriefRequest{Rider: "rider", Rig: "rig", Today: time.Now(), Draws: 20, Open: service.Texts(files),
		Sketch: service.SketchRequest{Distance: &length, Ascent: &ascent}}})
	if err == nil || !strings.Contains(err.Error(), "sketch") {
		t.Error(err)
	}
}
