package input

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"chainline/rig"
	"chainline/room"
)

// Every YAML file of the demo is read by its reader, and none is forgotten.
func TestDemoFilesRead(t *testing.T) {
	paths, err := filepath.Glob("../../demo/*.yaml")
	if err != nil || len(paths) < 9 {
		t.Fatalf("found %d demo files: %v", len(paths), err)
	}
	riders, rigs, roads, events := map[string]RiderFile{}, map[string]RigFile{}, map[string]RoadFile{}, map[string]EventFile{}
	for _, path := range paths {
		r, err := os.Open(path)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(path), ".yaml")
		switch {
		case strings.HasSuffix(name, "rig"):
			rigs[name], err = ReadRig(path, r)
		case strings.HasSuffix(name, "road"):
			roads[name], err = ReadRoad(path, r)
		case strings.HasSuffix(name, "race"), strings.HasSuffix(name, "trial"):
			events[name], err = ReadEvent(path, r)
		default:
			riders[name], err = ReadRider(path, r)
		}
		if err != nil {
			t.Error(err)
		}
		r.Close()
	}
	if len(riders) != 3 || len(rigs) != 3 || len(roads) != 1 || len(events) != 3 {
		t.Errorf("%d riders, %d rigs, %d roads, %d events", len(riders), len(rigs), len(roads), len(events))
	}
	for name, want := range map[string]rig.Language{"newcomer-rig": rig.WheelSpeed, "regular-rig": rig.Watts, "racer-rig": rig.Watts} {
		if got := rigs[name].Rig.Speaks(); got != want {
			t.Errorf("%s speaks %v, want %v", name, got, want)
		}
	}
	if n := len(riders["racer"].Evidence); n != 4 {
		t.Errorf("the racer has %d tests", n)
	}
	if n := len(riders["racer"].Weighed); n != 2 {
		t.Errorf("the racer was weighed %d times", n)
	}
	if e := riders["newcomer"].Evidence; len(e) != 2 || e[0].Kind != "hill" || e[1].Kind != "heart_rate" {
		t.Errorf("the newcomer has %+v", e)
	}
	for name, want := range map[string]int{"newcomer-rig": 0, "regular-rig": 1, "racer-rig": 1} {
		if r := rigs[name].Room; r.Fans == nil || len(r.Fans) != want || r.Openings == room.OpeningsUnknown || r.Volume == 0 || !r.TemperatureKnown {
			t.Errorf("%s stands in %+v", name, r)
		}
	}
	if floor, ceiling := rigs["racer-rig"].Rig.Limits(); floor < 20 || floor > 80 || ceiling != 1500 {
		t.Errorf("the racer's trainer holds %v-%v W", floor, ceiling)
	}
	for name, e := range events {
		if !e.Start.Known || !e.HasClock || e.Start.Value.Location().String() != "Europe/Dublin" {
			t.Errorf("%s starts %v", name, e.Start)
		}
	}
}
