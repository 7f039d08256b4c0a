package live_test

import (
	"fmt"
	"strings"
	"testing"

	"chainline/internal/live"
	"chainline/internal/service"
)

// TestCourseTellsNoBody: what a recorded track holds of a body and of when is
// not given to guests, and the course is as long as from the file.
func TestCourseTellsNoBody(t *testing.T) {
	var b strings.Builder
	b.WriteString(`<gpx version="1.1"><metadata><time>2026-01-02</time></metadata><trk><trkseg>`)
	for i := range 200 {
		fmt.Fprintf(&b, `<trkpt lat="%.5f" lon="5"><ele>%d</ele><time>2026-01-02T10:00:%02dZ</time><extensions><power>%d</power><hr>171</hr></extensions></trkpt>`, 50+float64(i)/5000, 100+i/4, i%60, 200+i)
	}
	b.WriteString(`</trkseg></trk></gpx>`)
	given := service.GroupCourse{Name: "Ridden", CourseFile: "ridden.gpx", CourseText: b.String()}
	m := manager(t, t.TempDir())
	defer m.Close()
	x, err := m.HostGroup(t.Context(), live.GroupPlan{Course: given})
	if err != nil {
		t.Fatal(err)
	}
	sent, err := x.Inside().Course(t.Context())
	if err != nil {
		t.Fatal(err)
	}
	for _, word := range []string{"171", "2026-01", "power", "extensions"} {
		if strings.Contains(string(sent), word) {
			t.Errorf("guests are told %q", word)
		}
	}
	p, err := given.Profile()
	if err != nil || p.Length() != x.Profile().Length() || p.Ascent() != x.Profile().Ascent() || p.Length() < 3000 {
		t.Errorf("%v: %v m and %v m up, from the file %v m and %v m", err, x.Profile().Length(), x.Profile().Ascent(), p.Length(), p.Ascent())
	}
}
