package web_test

import (
	"encoding/json"
	"net/http"
	"strings"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
)

// What a check measured of a simulated brake goes with rides on a simulated
// rig, and is not believed beyond a few seconds.
func TestMeasuredBrakeGoesWithRides(t *testing.T) {
	t.Parallel()
	v, db, rides := checkSite(t)
	rider, rig := onlyOne(t, db, store.Rider).ID, onlyOne(t, db, store.Rig).ID
	put := func(bench bool, dead, lag float64) {
		t.Helper()
		b, err := json.Marshal(service.CheckSheet{Schema: service.CheckSchema, Made: time.Now(), Begun: time.Now(), ThresholdW: 240, Bench: bench, BrakeDeadS: dead, BrakeLagS: lag})
		if err != nil {
			t.Fatal(err)
		}
		if _, err := db.PutRigCheck(t.Context(), store.RigCheck{Title: "Check", RiderID: rider, RigID: rig, Report: b}); err != nil {
			t.Fatal(err)
		}
	}
	begin := func() ride.Rig {
		t.Helper()
		status, head, body := v.sendRig(t, "/ride", map[string]string{"rider": rider, "rig": rig, "what": "free", "devices": "bench"})
		x, ok := rides.Ride(strings.TrimPrefix(head.Get("Location"), "/ride/"))
		if status != http.StatusSeeOther || !ok {
			t.Fatalf("%d %.400s", status, body)
		}
		x.Engine.Key(ride.Key{Kind: ride.KeyEnd})
		return x.Riding.Setup.Rig
	}
	if r := begin(); r.DeadTime != 0 || r.Lag != 0 {
		t.Errorf("before any check: %+v", r)
	}
	put(true, 0.4, 1.2)
	if r := begin(); r.DeadTime != 0.4 || r.Lag != 1.2 {
		t.Errorf("dead time %.1f s, lag %.1f s", r.DeadTime, r.Lag)
	}
	put(true, 9, 30)
	if r := begin(); r.DeadTime > 3 || r.Lag > 3 {
		t.Errorf("believed: dead time %.1f s, lag %.1f s", r.DeadTime, r.Lag)
	}
	put(false, 0.4, 1.2)
	if r := begin(); r.DeadTime != 0 || r.Lag != 0 {
		t.Errorf("a real brake's times on a simulated rig: %+v", r)
	}
}
