package service_test

import (
	"bytes"
	"path/filepath"
	"strings"
	"testing"

	"chainline/internal/fitfile"
	"chainline/internal/service"
	"chainline/recording"
)

// TestDebriefOfALiveGroup: the debrief says that a ride had shelter and help,
// and learns no road from it, even where somebody says it was ridden alone.
func TestDebriefOfALiveGroup(t *testing.T) {
	for _, kind := range []string{"stored", "fit"} {
		r := inventedRide(t, 2, 200, 260)
		add := func(q recording.Quantity, values func(s int) float64) {
			c := recording.Channel{Quantity: q, Source: "ride"}
			for s := 1; s <= 1800; s++ {
				c.Seconds, c.Values = append(c.Seconds, float64(s)), append(c.Values, values(s))
			}
			r.Channels = append(r.Channels, c)
		}
		add(recording.Speed, func(s int) float64 { return 8 + float64(s%300)/100 })
		add(recording.Gradient, func(int) float64 { return 0 })
		add(recording.Altitude, func(int) float64 { return 10 })
		add(recording.Position, func(s int) float64 { return 9.5 * float64(s) })
		alone := filepath.Join(t.TempDir(), "alone.recording")
		ask := service.DebriefRequest{Alone: true, Brief: service.BriefRequest{Rider: demoRider, Rig: demoRig}}
		ask.Files = []string{writeRide(t, alone, r, storedOr(kind, r))}
		before, _, err := debriefs(t, ask)
		if err != nil || before[0].Debrief.Road == nil {
			t.Fatalf("alone: %v, road %v", err, before)
		}
		add(recording.Shelter, func(int) float64 { return 0.7 })
		add(recording.Help, func(s int) float64 { return 1 - 0.5*float64(s/900) })
		ask.Files = []string{writeRide(t, filepath.Join(t.TempDir(), "group.recording"), r, storedOr(kind, r))}
		got, _, err := debriefs(t, ask)
		if err != nil {
			t.Fatal(err)
		}
		notes := strings.Join(got[0].Notes, "\n")
		if got[0].Debrief.Road != nil {
			t.Errorf("%s: a road was learnt from a ride in shelter: %+v", kind, got[0].Debrief.Road)
		}
		for _, want := range []string{"70 % of the air drag", "help"} {
			if !strings.Contains(notes, want) {
				t.Errorf("%s: nothing of %q in %q", kind, want, notes)
			}
		}
	}
}

func storedOr(kind string, r *recording.Recording) func(*bytes.Buffer) error {
	return func(b *bytes.Buffer) error {
		if kind == "fit" {
			return fitfile.Activity(b, r, fitfile.Options{})
		}
		return recording.Write(b, r)
	}
}
