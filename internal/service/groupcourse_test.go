package service_test

import (
	"strings"
	"testing"

	"chainline/internal/service"
)

// TestGroupCourse: what a guest gets is enough to plan by, and what a host may
// send is bounded.
func TestGroupCourse(t *testing.T) {
	good := service.GroupCourse{Name: "Level", CourseFile: "level.csv", CourseText: "distance_m,elevation_m\n0,0\n2500,40\n5000,0\n", Laps: 2, RoadText: "name: Fast\ncda_m2: 0.25\n"}
	p, err := good.Profile()
	if err != nil {
		t.Fatal(err)
	}
	if p.Length() != 10000 {
		t.Errorf("%v m", p.Length())
	}
	ask := good.For(service.RideRequest{Session: "tempo", Brief: service.BriefRequest{Rider: demoRider, Rig: demoRig, Today: debriefToday, Seed: 1, Draws: 50, Workers: 1}})
	r, err := service.Ride(t.Context(), ask)
	if err != nil {
		t.Fatal(err)
	}
	k := r.Setup.Course
	if k == nil || k.Profile.Length() != 10000 || !r.Setup.WaitForKey || len(k.Cues) == 0 {
		t.Errorf("%+v", k)
	}
	if drag := k.Motion.Drag; drag > 0.6*0.3 {
		t.Errorf("the host's road is not ridden: drag %.3f", drag)
	}
	for name, g := range map[string]service.GroupCourse{
		"nothing":      {},
		"a path":       {CourseFile: "../../etc/x.csv", CourseText: good.CourseText},
		"a control":    {CourseFile: "a\nb.csv", CourseText: good.CourseText},
		"too much":     {CourseFile: "x.csv", CourseText: strings.Repeat("x", 9<<20)},
		"no course":    {CourseFile: "x.csv", CourseText: "hello\n"},
		"a sketch":     {CourseFile: "x.yaml", CourseText: "distance_km: 20\nascent_m: 300\n"},
		"a bad event":  {CourseFile: "x.csv", CourseText: good.CourseText, EventText: "laps: many\n"},
		"no such laps": {CourseFile: "x.csv", CourseText: good.CourseText, Laps: -3},
	} {
		if _, err := g.Profile(); err == nil {
			t.Errorf("%s was taken", name)
		} else if strings.Count(err.Error(), "\n") > 0 {
			t.Errorf("%s: an error of several lines: %q", name, err)
		}
	}
}
