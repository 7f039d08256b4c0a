package web_test

import (
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/store"
)

func TestRoadFromNameToDeleted(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/roads", "", nil)
	wantIn(t, body, "Open road", "unless you name another", `href="/roads/new"`)
	if status, _, body := v.sendRig(t, "/roads/new", map[string]string{"name": "  Rough lane "}); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	o := onlyOne(t, db, store.Road)
	if o.Name != "Rough lane" || strings.TrimSpace(o.Text) != "name: Rough lane" {
		t.Errorf("kept %q as %s", o.Name, o.Text)
	}
	_, _, body = v.ask(t, "GET", "/roads/"+o.ID, "", nil)
	sent := shownAs(t, body)
	for name, x := range map[string]string{"name": "Rough lane, wet", "bike_mass_kg": "24 lb", "cda_m2": "0,32", "cda_sd_m2": "0.02", "crr": "0.9 %", "temperature_c": "10",
		"altitude_m": "500 ft", "humidity_percent": "90", "descent_cap_m_s": "60 km/h", "bearings": "no", "wheel_radius_m": "33.4 cm", "drivetrain_efficiency": "96%"} {
		sent[name] = x
	}
	if status, _, body := v.sendRig(t, "/roads/"+o.ID, sent); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	o = onlyOne(t, db, store.Road)
	road, err := input.ReadRoad("road", strings.NewReader(o.Text))
	if err != nil {
		t.Fatal(err)
	}
	if o.Name != "Rough lane, wet" || road.Name != o.Name || road.Crr.Value != 0.009 || road.CdA.Value != 0.32 || road.Bearings.Value || !road.Bearings.Known ||
		road.DescentCap.Value < 16.6 || road.DescentCap.Value > 16.7 || road.Efficiency.Value != 0.96 {
		t.Errorf("kept %q: %+v", o.Name, road)
	}
	_, _, body = v.ask(t, "GET", "/roads/"+o.ID, "", nil)
	if status, _, _ := v.sendRig(t, "/roads/"+o.ID, shownAs(t, body)); status != 303 || onlyOne(t, db, store.Road).Text != o.Text {
		t.Errorf("status %d; kept as shown it became %s", status, onlyOne(t, db, store.Road).Text)
	}
	_, _, body = v.ask(t, "GET", "/roads", "", nil)
	wantIn(t, body, "Rough lane, wet", "rolling resistance of 0.009", "the rest as the open road")
	_, _, body = v.ask(t, "GET", "/roads/"+o.ID+"/delete", "", nil)
	wantIn(t, body, "no way back")
	if status, _, _ := v.sendRig(t, "/roads/"+o.ID+"/delete", nil); status != 303 {
		t.Errorf("status %d", status)
	}
	if all, _ := db.Objects(t.Context(), store.Road); len(all) != 0 {
		t.Error("the road is still there")
	}
}

func TestRoadBadAnswersAreKept(t *testing.T) {
	v, db := rigSite(t)
	for field, value := range map[string]string{
		"name": "", "bike_mass_kg": "light", "cda_m2": "32", "cda_sd_m2": "0.02", "crr": "4", "crr_sd": "0.001", "drivetrain_efficiency": "0.5",
		"wheel_radius_m": "2 m", "wheel_inertia_kg_m2": "lots", "wheel_drag_area_m2": "1", "air_density_kg_m3": "12", "altitude_m": "up",
		"temperature_c": "900", "pressure_hpa": "1", "humidity_percent": "-1", "start_speed_m_s": "fast", "descent_cap_m_s": "0",
	} {
		sent := map[string]string{"name": "Rough lane", "pressure_hpa": "990"}
		sent[field] = value
		status, _, body := v.sendRig(t, "/roads/new", sent)
		if status != 422 {
			t.Errorf("%s=%s: status %d", field, value, status)
			continue
		}
		wantIn(t, body, "another look", `id="f-`+field+`-error"`)
		back := shownAs(t, body)
		for k, x := range sent {
			if back[k] != x {
				t.Errorf("%s was %q and came back as %q", k, x, back[k])
			}
		}
	}
	status, _, body := v.sendRig(t, "/roads/new", map[string]string{"name": "A", "air_density_kg_m3": "1.2", "temperature_c": "20"})
	if status != 422 {
		t.Errorf("two ways to say how dense the air is: status %d", status)
	}
	wantIn(t, body, `id="f-temperature_c-error"`)
	if all, _ := db.Objects(t.Context(), store.Road); len(all) != 0 {
		t.Error("something was kept all the same")
	}
}
