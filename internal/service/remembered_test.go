package service_test

import (
	"path/filepath"
	"strings"
	"testing"

	"chainline/internal/service"
	"chainline/internal/store"
)

// A debrief is remembered for as long as nothing has changed that it rests on,
// and made anew as soon as anything has.
func TestADebriefIsRememberedWhileItStands(t *testing.T) {
	a, db := library(t, t.TempDir(), nil)
	rides := t.TempDir()
	for name, days := range map[string]int{"before.fit": 20, "this.fit": 10, "after.fit": 2} {
		writeFIT(t, filepath.Join(rides, name), inventedRide(t, days, 170, 280))
	}
	imported(t, a, service.ImportRequest{Paths: []string{rides}, RiderID: "ada", RigID: "cellar"})
	rows := rideRows(t, a, "ada")
	after, id, before := rows[0].ID, rows[1].ID, rows[2].ID
	debrief := func() service.DebriefSheet {
		t.Helper()
		s, err := a.RideDebrief(t.Context(), id)
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	last := debrief()
	// what is handed out is one recording as long as it is one debrief
	stands := func(what string) {
		t.Helper()
		if s := debrief(); s.Recording != last.Recording {
			t.Errorf("%s: the debrief was made anew", what)
			last = s
		}
	}
	anew := func(what string, do func() error) service.DebriefSheet {
		t.Helper()
		if err := do(); err != nil {
			t.Fatal(what, err)
		}
		s := debrief()
		if s.Recording == last.Recording {
			t.Errorf("%s: the debrief is still that of before", what)
		}
		last = s
		stands("after " + what)
		stands("after " + what + ", once more")
		return s
	}
	put := func(id, was, is string) func() error {
		return func() error {
			o, err := db.Object(t.Context(), id)
			if err != nil {
				return err
			}
			if !strings.Contains(o.Text, was) {
				t.Fatalf("%s has no %q", id, was)
			}
			o.Text = strings.Replace(o.Text, was, is, 1)
			_, err = db.Put(t.Context(), o)
			return err
		}
	}
	stands("asked again")
	if err := a.AnswerRide(t.Context(), after, "no"); err != nil {
		t.Fatal(err)
	}
	stands("a later ride taught something")
	if s := anew("answer", func() error { return a.AnswerRide(t.Context(), id, "little") }); s.Harder != "little" {
		t.Errorf("the answer is %q", s.Harder)
	}
	if s := anew("cleaning undone", func() error { return a.SetChange(t.Context(), id, 0, true) }); s.Debrief.Measures.Whole.MaxW < 3999 || !s.RideChanges()[0].Undone {
		t.Errorf("%.0f W, %+v", s.Debrief.Measures.Whole.MaxW, s.RideChanges())
	}
	if s := anew("cleaning made again", func() error { return a.SetChange(t.Context(), id, 0, false) }); s.Debrief.Measures.Whole.MaxW > 300 || s.RideChanges()[0].Undone {
		t.Errorf("%.0f W, %+v", s.Debrief.Measures.Whole.MaxW, s.RideChanges())
	}
	anew("earlier ride's answer", func() error { return a.AnswerRide(t.Context(), before, "no") })
	was := last.Debrief.Learnt
	anew("rider's file", put("ada", "mass_kg: 61.5", "mass_kg: 62.5"))
	anew("rig's file", put("cellar", "accuracy_percent: 1.5", "accuracy_percent: 2.5"))
	if last.Debrief.Learnt == nil || was == nil {
		t.Error("nothing was learnt")
	}
	o, err := db.Object(t.Context(), "ada")
	if err != nil {
		t.Fatal(err)
	}
	if _, err := db.Put(t.Context(), store.Object{ID: "bea", Kind: store.Rider, Name: "Bea", Text: strings.Replace(o.Text, "name: ", "name: Bea ", 1)}); err != nil {
		t.Fatal(err)
	}
	bea := "bea"
	if s := anew("another rider's", func() error { return a.AssignRide(t.Context(), id, service.Assignment{RiderID: &bea}) }); !strings.Contains(s.Rider, "Bea") {
		t.Errorf("it is %q's", s.Rider)
	}
}
