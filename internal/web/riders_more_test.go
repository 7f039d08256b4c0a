package web_test

import (
	"regexp"
	"strings"
	"testing"

	"chainline/internal/input"
	"chainline/internal/store"
)

// ridden is a rider with two things known of them.
const ridden = `name: Alva
mass_kg: 61
level: racer
evidence:
  - {kind: test, duration_s: 300, watts: 290, date: 2026-09-01}
  - {kind: hill, duration_s: 670, length_m: 3100, ascent_m: 180, harder: little}
`

func aRider(t *testing.T, text string) (*site, *store.Store, store.Object) {
	t.Helper()
	v, db := rigSite(t, store.Object{Kind: store.Rider, Name: "Alva", Text: text})
	return v, db, onlyOne(t, db, store.Rider)
}

func readRider(t *testing.T, o store.Object) input.RiderFile {
	t.Helper()
	r, err := input.ReadRider("rider", strings.NewReader(o.Text))
	if err != nil {
		t.Fatalf("%v in\n%s", err, o.Text)
	}
	return r
}

func TestRiderFromThreeFields(t *testing.T) {
	v, db := rigSite(t)
	_, _, body := v.ask(t, "GET", "/riders", "", nil)
	wantIn(t, body, "There is no rider yet", `href="/riders/new"`)
	_, _, body = v.ask(t, "GET", "/riders/new", "", nil)
	if n := strings.Count(body, `class="field`); n != 3 {
		t.Errorf("%d questions to start; expected 3", n)
	}
	status, h, body := v.sendRig(t, "/riders/new", map[string]string{"name": "", "mass_kg": "154 lb", "level": "regular"})
	o := onlyOne(t, db, store.Rider)
	if status != 303 || h.Get("Location") != "/riders/"+o.ID {
		t.Fatalf("status %d to %q: %s", status, h.Get("Location"), body)
	}
	if r := readRider(t, o); o.Name != "You" || r.Mass < 69.8 || r.Mass > 69.9 {
		t.Errorf("kept %q as\n%s", o.Name, o.Text)
	}
	// Nobody has a rig yet, and nothing is measured: something is said all the same.
	_, _, body = v.ask(t, "GET", "/riders/"+o.ID, "", nil)
	wantIn(t, body, "Kept: You.", `<svg class="curve"`, `aria-hidden="true"`, "Nothing yet.", "The health questions are not answered", ">1 h</th>")
	if strings.Contains(body, "NaN") || strings.Contains(body, "Inf") {
		t.Error("the page shows what is no number")
	}
}

func TestRiderBasicsBadAnswersAreKept(t *testing.T) {
	v, db, o := aRider(t, ridden)
	for field, value := range map[string]string{
		"mass_kg": "heavy", "level": "wizard", "birth_year": "long ago", "height_cm": "9 m", "max_heart_rate_bpm": "900", "resting_heart_rate_bpm": "low",
	} {
		sent := map[string]string{"name": "Alva B", "mass_kg": "60 kg"}
		sent[field] = value
		status, _, body := v.sendRig(t, "/riders/"+o.ID+"/change", sent)
		if status != 422 {
			t.Errorf("%s=%s: status %d", field, value, status)
			continue
		}
		wantIn(t, body, "another look", `id="f-`+field+`-error"`)
		if back := shownAs(t, body); back["name"] != "Alva B" || field != "level" && back[field] != value {
			t.Errorf("%s=%s came back as %v", field, value, back)
		}
	}
	if status, _, body := v.sendRig(t, "/riders/new", map[string]string{"name": "B"}); status != 422 || !strings.Contains(body, `id="f-mass_kg-error"`) {
		t.Errorf("without a mass: status %d", status)
	}
	if now := onlyOne(t, db, store.Rider); now.Text != o.Text {
		t.Errorf("something was kept all the same:\n%s", now.Text)
	}
}

func TestRiderHealthIsKeptWithItsDate(t *testing.T) {
	v, db, o := aRider(t, ridden)
	well := map[string]string{"screening.active": "yes", "screening.cleared_by_doctor": "yes"}
	for _, q := range []string{"chest_pain", "faintness", "palpitations", "unusual_breathlessness", "heart_kidney_or_metabolic_disease", "ill_now", "medicine_lowers_heart_rate", "pregnant", "told_not_to"} {
		well["screening."+q] = "no"
	}
	if status, _, body := v.sendRig(t, "/riders/"+o.ID+"/health", well); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	r := readRider(t, onlyOne(t, db, store.Rider))
	if r.Screening.Value.Date == "" || !r.Screening.Value.Outcome().Passed || len(r.Evidence) != 2 {
		t.Errorf("kept %+v", r)
	}
	_, _, body := v.ask(t, "GET", "/riders/"+o.ID+"/health", "", nil)
	if back := shownAs(t, body); back["screening.chest_pain"] != "no" || back["screening.active"] != "yes" {
		t.Errorf("the answers come back as %v", back)
	}
	well["screening.medicine_lowers_heart_rate"], well["screening.cleared_by_doctor"], well["screening.chest_pain"] = "yes", "no", "yes"
	if status, _, body := v.sendRig(t, "/riders/"+o.ID+"/health", well); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	_, _, body = v.ask(t, "GET", "/riders/"+o.ID, "", nil)
	wantIn(t, body, "see a doctor before you ride hard", "heart rates are not used")
	if strings.Contains(body, "all out") && regexp.MustCompile(`<strong>[^<]*all out`).MatchString(body) {
		t.Error("a maximal test is suggested to somebody with chest pain")
	}
}

func TestRiderEvidenceOfEveryKind(t *testing.T) {
	for kind, answers := range map[string]map[string]string{
		"hill":       {"duration_s": "11:10", "length_m": "3.1 km", "ascent_m": "180 m", "harder": "little", "bike_mass_kg": "9 kg"},
		"talk":       {"watts": "150"},
		"heart_rate": {"watts": "120", "heart_rate_bpm": "128", "duration_s": "5 min"},
		"threshold":  {"watts": "230", "from": "20-minute test"},
		"best":       {"duration_s": "20 min", "watts": "240", "harder": "much"},
		"test":       {"duration_s": "3:00 min", "watts": "310", "harder": "no"},
	} {
		v, db, o := aRider(t, "name: Alva\nmass_kg: 61\n")
		_, _, body := v.ask(t, "GET", "/riders/"+o.ID+"/evidence/new", "", nil)
		wantIn(t, body, "?kind="+kind)
		_, _, body = v.ask(t, "GET", "/riders/"+o.ID+"/evidence/new?kind="+kind, "", nil)
		sent := shownAs(t, body)
		for k, x := range answers {
			if _, asked := sent["evidence.0."+k]; !asked && k != "harder" {
				t.Errorf("%s: %s is not asked", kind, k)
			}
			sent["evidence.0."+k] = x
		}
		if status, _, body := v.sendRig(t, "/riders/"+o.ID+"/evidence/new", sent); status != 303 {
			t.Errorf("%s: status %d: %s", kind, status, body)
			continue
		}
		if r := readRider(t, onlyOne(t, db, store.Rider)); len(r.Evidence) != 1 || r.Evidence[0].Kind != kind {
			t.Errorf("%s: kept %+v", kind, r.Evidence)
		}
		status, _, body := v.ask(t, "GET", "/riders/"+o.ID, "", nil)
		if status != 200 || strings.Contains(body, `class="error"`) {
			t.Errorf("%s: the rider's page says %d\n%s", kind, status, body)
		}
		wantIn(t, body, "/evidence/0")
	}
}

func TestRiderEvidenceCorrectedLeftOutRemoved(t *testing.T) {
	v, db, o := aRider(t, ridden)
	at := "/riders/" + o.ID + "/evidence/"
	_, _, body := v.ask(t, "GET", at+"0", "", nil)
	sent := shownAs(t, body)
	sent["evidence.0.watts"] = "very many"
	status, _, body := v.sendRig(t, at+"0", sent)
	if status != 422 || shownAs(t, body)["evidence.0.watts"] != "very many" {
		t.Errorf("status %d", status)
	}
	wantIn(t, body, `id="f-evidence-0-watts-error"`)
	sent["evidence.0.watts"], sent["evidence.0.use"] = "285", "no"
	if status, _, body := v.sendRig(t, at+"0", sent); status != 303 {
		t.Fatalf("status %d: %s", status, body)
	}
	if r := readRider(t, onlyOne(t, db, store.Rider)); r.Evidence[0].Watts != 285 || !r.Evidence[0].LeftOut || r.Evidence[1].Ascent != 180 {
		t.Errorf("kept %+v", r.Evidence)
	}
	_, _, body = v.ask(t, "GET", "/riders/"+o.ID, "", nil)
	wantIn(t, body, "left out by you")
	if strings.Count(body, `class="seen"`) != 1 || strings.Count(body, `class="seen out"`) != 1 {
		t.Error("what is left out has to be hollow, and the hill's dot alone full")
	}
	if status, _, _ := v.sendRig(t, at+"0/remove", nil); status != 303 {
		t.Errorf("status %d", status)
	}
	if r := readRider(t, onlyOne(t, db, store.Rider)); len(r.Evidence) != 1 || r.Evidence[0].Kind != "hill" {
		t.Errorf("kept %+v", r.Evidence)
	}
	for _, gone := range []string{"1", "7", "-1", "x", "new/remove"} {
		if status, _, _ := v.sendRig(t, at+gone, map[string]string{"evidence.0.kind": "talk", "evidence.0.watts": "150"}); status != 404 {
			t.Errorf("%s: status %d; expected 404", gone, status)
		}
	}
}

func TestRiderDeleted(t *testing.T) {
	v, db, o := aRider(t, ridden)
	if _, err := db.PutBrief(t.Context(), store.Brief{Title: "One", RiderID: o.ID, Request: []byte("{}"), Result: []byte("{}"), Page: []byte("p")}); err != nil {
		t.Fatal(err)
	}
	_, _, body := v.ask(t, "GET", "/riders/"+o.ID+"/delete", "", nil)
	wantIn(t, body, "no way back", "one brief")
	if len(mustRiders(t, db)) != 1 {
		t.Fatal("asking deleted")
	}
	if status, _, _ := v.sendRig(t, "/riders/"+o.ID+"/delete", nil); status != 303 {
		t.Errorf("status %d", status)
	}
	if briefs, _ := db.Briefs(t.Context(), o.ID); len(briefs) != 0 || len(mustRiders(t, db)) != 0 {
		t.Error("something is still there")
	}
}

func mustRiders(t *testing.T, db *store.Store) []store.Object {
	t.Helper()
	all, err := db.Objects(t.Context(), store.Rider)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func TestRiderForeignIDs(t *testing.T) {
	v, db := rigSite(t, store.Object{Kind: store.Road, Name: "Lane", Text: "name: Lane\n"})
	road := onlyOne(t, db, store.Road)
	for _, id := range []string{"nobody", road.ID} {
		for _, part := range []string{"", "/change", "/health", "/delete", "/evidence/new", "/evidence/0", "/elsewhere"} {
			if status, _, _ := v.ask(t, "GET", "/riders/"+id+part, "", nil); status != 404 {
				t.Errorf("GET %s: status %d", part, status)
			}
			if part == "" {
				continue
			}
			if status, _, _ := v.sendRig(t, "/riders/"+id+part, map[string]string{"mass_kg": "60"}); status != 404 {
				t.Errorf("POST %s: status %d", part, status)
			}
		}
	}
	if len(onlyOne(t, db, store.Road).Text) == 0 {
		t.Error("the road is gone")
	}
}
