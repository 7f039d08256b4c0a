package service_test

import (
	"archive/zip"
	"bytes"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chainline/internal/service"
	"chainline/recording"
)

func shareAsk(t *testing.T) service.DebriefRequest {
	q := service.DebriefRequest{Files: []string{writeFIT(t, filepath.Join(t.TempDir(), "evening.fit"), inventedRide(t, 3, 150, 330))}, Harder: "no"}
	q.Brief.Rider, q.Brief.Rig = demoRider, demoRig
	q.Brief.Today, q.Brief.Seed, q.Brief.Draws, q.Brief.Workers = debriefToday, 1, 50, 2
	return q
}

func shared(t *testing.T, q service.DebriefRequest) ([]byte, service.Shared) {
	t.Helper()
	var b bytes.Buffer
	if err := service.WriteShare(t.Context(), &b, q, "1.2"); err != nil {
		t.Fatal(err)
	}
	s, err := service.OpenShare(t.Context(), "x.zip", bytes.NewReader(b.Bytes()), int64(b.Len()), 2)
	if err != nil {
		t.Fatal(err)
	}
	return b.Bytes(), s
}

// A share file gives the numbers of the debrief and gives them again when they
// are reckoned anew.
func TestShareOpensWithAllNumbers(t *testing.T) {
	q := shareAsk(t)
	_, s := shared(t, q)
	got, _, err := debriefs(t, q)
	if err != nil {
		t.Fatal(err)
	}
	a, b := s.Sheet.Debrief, got[0].Debrief
	if !s.Whole || s.Again == nil || len(s.Differs) > 0 || s.Sheet.Rider != "Ilse Verdonk" || len(s.LeftOut) != 0 {
		t.Errorf("%+v %v", s.Share, s.Differs)
	}
	if a.Learnt == nil || a.Learnt.Numbers[0] != b.Learnt.Numbers[0] || a.Measures.Whole != b.Measures.Whole || len(a.Measures.Bests) != len(b.Measures.Bests) {
		t.Errorf("%+v\n%+v", a.Learnt, b.Learnt)
	}
	if !strings.Contains(s.Words(), "the same numbers") {
		t.Error(s.Words())
	}
}

// What is left out is in no file of the archive.
func TestShareLeavesOutOnPurpose(t *testing.T) {
	for _, c := range []struct {
		without []string
		never   []string
		whole   bool
	}{
		{[]string{"heart_rate"}, []string{"heart_rate_bpm", "mean_heart", "heart_rate\t"}, true},
		{[]string{"mass"}, []string{"mass_kg", "61.5", "w_per_kg", "rider.yaml"}, false},
		{[]string{"name"}, []string{"Ilse", "Verdonk", "ilse"}, true},
		{[]string{"heart_rate", "mass", "name"}, []string{"Ilse", "mass_kg", "mean_heart"}, false},
	} {
		q := shareAsk(t)
		q.Without = c.without
		b, s := shared(t, q)
		z, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		for _, f := range z.File {
			in, _ := f.Open()
			text, _ := io.ReadAll(in)
			if strings.HasSuffix(f.Name, ".fit") {
				t.Errorf("%v: the file as it came is in it", c.without)
			}
			for _, n := range c.never {
				if strings.Contains(string(text), n) || strings.Contains(f.Name, n) {
					t.Errorf("%v: %s has %q", c.without, f.Name, n)
				}
			}
		}
		if s.Whole != c.whole || (s.Again != nil) != c.whole || len(s.Differs) > 0 {
			t.Errorf("%v: whole %v, %v", c.without, s.Whole, s.Differs)
		}
		if _, has := s.Recording.Signal(recording.HeartRate, ""); has && c.without[0] == "heart_rate" {
			t.Errorf("%v: the ride has a heart rate", c.without)
		}
		if s.Sheet.Debrief.Measures.Whole.MeanW < 150 {
			t.Errorf("%v: %+v", c.without, s.Sheet.Debrief.Measures.Whole)
		}
	}
}

// A share file whose numbers were changed is found out; what is none is
// refused with one line.
func TestShareRefused(t *testing.T) {
	b, _ := shared(t, shareAsk(t))
	again := func(change func(name, text string) string) []byte {
		in, err := zip.NewReader(bytes.NewReader(b), int64(len(b)))
		if err != nil {
			t.Fatal(err)
		}
		var out bytes.Buffer
		z := zip.NewWriter(&out)
		for _, f := range in.File {
			r, _ := f.Open()
			text, _ := io.ReadAll(r)
			if s := change(f.Name, string(text)); s != "" {
				w, _ := z.Create(f.Name)
				io.WriteString(w, s)
			}
		}
		z.Close()
		return out.Bytes()
	}
	open := func(b []byte) (service.Shared, error) {
		return service.OpenShare(t.Context(), "x.zip", bytes.NewReader(b), int64(len(b)), 2)
	}
	s, err := open(again(func(name, text string) string { return strings.Replace(text, `"mean_w":`, `"mean_w":9`, 1) }))
	if err != nil || len(s.Differs) != 1 || !strings.Contains(s.Words(), "come out otherwise") {
		t.Errorf("%v %v", err, s.Differs)
	}
	for want, bytes := range map[string][]byte{
		"is no archive":     []byte("no zip"),
		"has no share.json": again(func(name, text string) string { return map[bool]string{true: text}[name != "share.json"] }),
		"which is not in":   again(func(name, text string) string { return map[bool]string{true: text}[!strings.HasPrefix(name, "ride/")] }),
		"schema is": again(func(name, text string) string {
			return strings.Replace(text, "chainline.share/1", "chainline.share/9", 1)
		}),
		"unknown field": again(func(name, text string) string { return strings.Replace(text, `"ride":`, `"rode_by": 1, "ride":`, 1) }),
		"debrief.json":  again(func(name, text string) string { return map[bool]string{true: "{", false: text}[name == "debrief.json"] }),
	} {
		if _, err := open(bytes); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", want, err)
		}
	}
	for i := 0; i < len(b); i += 97 { // cut anywhere: refused, never a crash
		if _, err := open(b[:i]); err == nil {
			t.Errorf("cut at %d: opened", i)
		}
	}
}

func TestGPXOut(t *testing.T) {
	rec := inventedRide(t, 3, 150, 260)
	if err := service.WriteGPX(io.Discard, rec, nil); err == nil || !strings.Contains(err.Error(), "no places") {
		t.Error(err)
	}
	b := recording.NewBuilder("Hill & dale", float64(debriefToday.Unix()), 0, "road cycling")
	for s := 1; s <= 120; s++ {
		for q, v := range map[recording.Quantity]float64{recording.Power: 200, recording.HeartRate: 140, recording.Latitude: 50 + float64(s)*1e-4, recording.Longitude: 4, recording.Altitude: 100 + float64(s)} {
			if err := b.Add(q, "unit", float64(s), v); err != nil {
				t.Fatal(err)
			}
		}
	}
	r := b.Recording(true)
	var out bytes.Buffer
	if err := service.WriteGPX(&out, &r, nil); err != nil {
		t.Fatal(err)
	}
	name := filepath.Join(t.TempDir(), "x.gpx")
	os.WriteFile(name, out.Bytes(), 0o600)
	back, _, err := service.ReadRecording(name, out.Bytes())
	if err != nil {
		t.Fatal(err)
	}
	w, ok := back.Signal(recording.Power, "")
	lat, okLat := back.Signal(recording.Latitude, "")
	if !ok || !okLat || w.Values[50] != 200 || lat.Values[100]-lat.Values[0] < 0.0099 || back.Title != "Hill & dale" {
		t.Errorf("%v %v %q", w.Values[:3], lat.Values[:3], back.Title)
	}
}
