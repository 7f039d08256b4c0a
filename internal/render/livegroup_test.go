package render

import (
	"strings"
	"testing"

	"chainline/internal/ride"
)

func TestGroupInATerminal(t *testing.T) {
	if GroupText(nil) != nil {
		t.Error("a ride alone has a group")
	}
	g := &ride.GroupSheet{Title: "Home", Link: ride.LinkSilent, SilentS: 12, ClockS: 130, GunSet: true, Shelter: 0.72, Extra: 0.6, Keep: true,
		Riders: []ride.GroupDot{{Name: "Ada", AtM: 1900, BehindS: -75, Known: true, State: ride.DotSilent, SilentS: 16}, {Name: "Bo", You: true, AtM: 1200, State: ride.DotRiding},
			{Name: "Cy", AtM: 1190, BehindS: 4, Known: true, State: ride.DotRiding, LateS: 61, Extra: true}, {Name: "Dee\x1b[2J", State: ride.DotWaiting}},
		Phrases: []ride.GroupPhrase{{From: "Cy", Words: "All well", AgoS: 3}}}
	text := strings.Join(GroupText(g), "\n")
	for _, want := range []string{"2:10 since the gun, the host is not heard for 12 s", "air drag 72 %, host's help leaves 60 %", "1.90 km  Ada, 1:15 ahead, not heard for 16 s",
		"Bo (you)", "Cy, 4 s behind, left the line 1:01 after the gun, with the host's help", "Dee", "waiting", "» Cy: All well"} {
		if !strings.Contains(text, want) {
			t.Errorf("nothing of %q in\n%s", want, text)
		}
	}
	lines := LiveText(ride.Snapshot{Title: "x", Stage: ride.Waiting, Group: g}, 80)
	if strings.Contains(strings.Join(lines, ""), "\x1b") {
		t.Error("a name speaks to the terminal")
	}
	g.GunSet = false
	if s := LiveText(ride.Snapshot{Title: "x", Stage: ride.Waiting, Group: g}, 80); !strings.Contains(s[0], "waits for the gun") {
		t.Errorf("before the gun: %q", s[0])
	}
}
