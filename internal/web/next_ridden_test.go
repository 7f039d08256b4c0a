package web_test

import (
	"bytes"
	"fmt"
	"strings"
	"testing"

	"chainline/internal/store"
	"chainline/recording"
)

// newcomersRide is a ride of some minutes at some watts (0: nothing shows
// them), some of its minutes among others.
func newcomersRide(t *testing.T, title string, daysAgo, minutes int, watts float64, grouped int) string {
	t.Helper()
	b := recording.NewBuilder(title, float64(ridesNow.AddDate(0, 0, -daysAgo).Unix()), 0, "indoor cycling")
	add := func(q recording.Quantity, s int, v float64) {
		if err := b.Add(q, "hub", float64(s), v); err != nil {
			t.Fatal(err)
		}
	}
	for s := 1; s <= 60*minutes; s++ {
		add(recording.Cadence, s, 80+float64(s%5))
		if watts > 0 {
			add(recording.Power, s, watts+float64((s+daysAgo)%5))
		}
		if s <= 60*grouped {
			add(recording.Shelter, s, 0.8)
		}
	}
	r := b.Recording(true)
	var out bytes.Buffer
	if err := recording.Write(&out, &r); err != nil {
		t.Fatal(err)
	}
	return out.String()
}

// The newcomer's path goes on by rides that were ridden and kept, and only by
// such as are what was asked for.
func TestFirstRidesMoveWithKeptRides(t *testing.T) {
	v, db := rideSiteOf(t)
	for _, o := range []store.Object{{ID: "new", Kind: store.Rider, Name: "Maren", Text: "name: Maren\nmass_kg: 70\nlevel: new\n"}, briefObjects()[2]} {
		if _, err := db.Put(t.Context(), o); err != nil {
			t.Fatal(err)
		}
	}
	n := 0
	keep := func(title string, daysAgo, minutes int, watts float64, grouped int) string {
		t.Helper()
		n++
		files := map[string]string{fmt.Sprintf("%d.recording", n): newcomersRide(t, title, daysAgo, minutes, watts, grouped)}
		status, at, body := v.send(t, "/import", "files", files, map[string]string{"rider": "new", "rig": "racer-rig"})
		if status != 303 {
			t.Fatal(status, body)
		}
		if body := v.brought(t, at); !strings.Contains(body, "1 new") && !strings.Contains(body, "1 ride") {
			t.Fatal(body)
		}
		return title
	}
	// done is on which day each of the four is done; "" for not yet
	done := func(what string, want ...string) string {
		t.Helper()
		_, _, body := v.ask(t, "GET", "/?rider=new", "", nil)
		_, path, ok := strings.Cut(body, "Your first rides")
		if !ok {
			t.Fatalf("%s: a newcomer has no path", what)
		}
		items := strings.Split(path, "<li")[1:5]
		for i, day := range want {
			if got := strings.Contains(items[i], `class="done"`); got != (day != "") || !strings.Contains(items[i], day) {
				t.Errorf("%s: step %d is to be done %q:\n%s", what, i+1, day, items[i])
			}
		}
		return path
	}
	wantIn(t, done("nothing yet", "", "", "", ""), "today, or when you feel like it", "from Wednesday 23 December on", "from Sunday 27 December on")
	done(keep("Hard", 14, 40, 320, 0), "", "", "", "")
	done(keep("Easy baseline", 13, 12, 60, 0), "", "", "", "")
	done(keep("Half an hour without watts", 12, 40, 0, 0), "", "", "", "")
	wantIn(t, done(keep("Evening", 2, 40, 60, 0), "done on 18 December 2026", "", "", ""), "from Monday 21 December on", "from Friday 25 December on")
	done(keep("Easy baseline", 6, 40, 0, 0), "done on 14 December 2026", "", "", "")
	done(keep("Talk test", 3, 8, 60, 0), "done on 14 December 2026", "", "", "")
	wantIn(t, done(keep("Talk test", 1, 24, 90, 0), "done on 14 December 2026", "", "done on 19 December 2026", ""), "from Wednesday 23 December on")
	done(keep("Harbour Ridge", 1, 30, 91, 5), "done on 14 December 2026", "", "done on 19 December 2026", "")
	done(keep("Harbour Ridge", 0, 30, 92, 20), "done on 14 December 2026", "", "done on 19 December 2026", "done on 20 December 2026")
}
