package input

import (
	"reflect"
	"strings"
	"testing"

	"chainline/rig"
)

const goodClimb = "source: crank meter\nmeasures: crank\nmass_kg: 84.5\nascent_m: 412\nlength_km: 5.6\ntime_s: 1720\nwatts: 241\ntemperature_c: 14\nheight_m: 620\nwind: calm\n"

func TestReadClimb(t *testing.T) {
	got, err := ReadClimb("c", strings.NewReader(goodClimb))
	want := ClimbFile{Source: "crank meter", Place: rig.SourceCrank, Mass: 84.5, MassSD: massDoubt, Ascent: 412, Length: 5600, Duration: 1720, Watts: 241, Temperature: 14, Height: 620, Wind: "calm"}
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Errorf("%+v, %v\nwant %+v", got, err, want)
	}
	got, err = ReadClimb("c", strings.NewReader(strings.NewReplacer("wind: calm", "wind: unknown", "measures: crank", "mass_doubt_kg: 0.4\nascent_doubt_m: 3").Replace(goodClimb)))
	if err != nil || got.Wind != "unknown" || got.MassSD != 0.4 || got.AscentSD != Some(3.0) || got.Place != rig.SourceNone {
		t.Errorf("%+v, %v", got, err)
	}
}

func TestReadClimbRefuses(t *testing.T) {
	for _, c := range []struct{ from, to, says string }{
		{"mass_kg: 84.5", "mass_kg: 8450", "c:3:10: mass_kg: 8450 is out of range; expected a number in kg from 30 to 300"},
		{"watts: 241\n", "", "c:1:1: watts: missing; expected a number in W from 10 to 3000"},
		{"wind: calm", "wind: gale", "c:10:7: wind: "},
		{"ascent_m: 412", "ascend_m: 412", "c:4:1: ascend_m: unknown key; expected ascent_m"},
		{"time_s: 1720", "time_s: 28", "c:6:9: time_s: 720 km/h uphill; expected the seconds from foot to top"},
		{"length_km: 5.6", "length_km: 0.5", "c:4:11: ascent_m: a climb of 82 %; expected a mean gradient of at most"},
	} {
		_, err := ReadClimb("c", strings.NewReader(strings.Replace(goodClimb, c.from, c.to, 1)))
		if err == nil || !strings.Contains(err.Error(), " "+c.says) {
			t.Errorf("%s: %v", c.to, err)
		}
	}
}

func FuzzReadClimb(f *testing.F) { fuzz(f, "climb", goodClimb) }
