package debrief

import (
	"encoding/json"
	"math"
	"testing"

	"chainline/capacity"
	"chainline/course"
	"chainline/recording"
)

// record makes a recording of one value a second; gaps are NaN.
func record(t *testing.T, channels map[recording.Quantity][]float64, marks ...recording.Mark) recording.Recording {
	t.Helper()
	b := recording.NewBuilder("a ride", 1.7e9, 0, "indoor cycling")
	for q, values := range channels {
		for i, v := range values {
			at := float64(i)
			if q == recording.Position || q == recording.Altitude || q == recording.Brought {
				at++ // a state is that of the second's end
			}
			if math.IsNaN(v) {
				continue
			}
			if err := b.Add(q, "source", at, v); err != nil {
				t.Fatal(err)
			}
		}
		if q == recording.Power { // the last second ends with a reading
			if err := b.Mark(recording.Mark{Seconds: float64(len(values)), Kind: recording.Note}); err != nil {
				t.Fatal(err)
			}
		}
	}
	for _, m := range marks {
		if err := b.Mark(m); err != nil {
			t.Fatal(err)
		}
	}
	return b.Recording(true)
}

// blocks is one value a second: pairs of seconds and value.
func blocks(pairs ...float64) []float64 {
	var out []float64
	for i := 0; i < len(pairs); i += 2 {
		for range int(pairs[i]) {
			out = append(out, pairs[i+1])
		}
	}
	return out
}

func repeated(times int, v []float64) []float64 {
	var out []float64
	for range times {
		out = append(out, v...)
	}
	return out
}

func near(t *testing.T, what string, got, want, tolerance float64) {
	t.Helper()
	if !(math.Abs(got-want) <= tolerance) {
		t.Errorf("%s: %.6g, want %.6g ± %g", what, got, want, tolerance)
	}
}

func measured(t *testing.T, q MeasureRequest) Measures {
	t.Helper()
	m, err := Measure(q)
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Banister's training impulse. Formula: Banister 1991 / Morton et al. 1990,
// read in two texts that print it (secondary); the values follow from it by
// arithmetic done outside this program. One of the texts prints about 118 for
// the third.
func TestPublishedTrimp(t *testing.T) {
	hour := func(bpm, rest, maximum float64, sex capacity.Sex) float64 {
		m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.Power: blocks(3600, 200), recording.HeartRate: blocks(3600, bpm)}),
			Rider: capacity.Rider{Sex: sex, MaxHeartRate: maximum}, RestHeart: rest})
		return m.Trimp.Banister
	}
	near(t, "man, 150 of 60 to 190", hour(150, 60, 190, capacity.Male), 100.440, 0.001)
	near(t, "woman, 150 of 60 to 190", hour(150, 60, 190, capacity.Female), 113.517, 0.001)
	near(t, "man, 155 of 55 to 190", hour(155, 55, 190, capacity.Male), 117.940, 0.001)
	near(t, "85 % of the reserve", Banister(60, 85, 0, 100, false), 166.924, 0.001)
}

// zoned is a ride of ten minutes each at heart rates of 45 to 99.5 % of 200.
func zoned(t *testing.T) *Trimp {
	heart := blocks(600, 90, 600, 100, 600, 120, 600, 145, 600, 165, 600, 199)
	return measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.Power: blocks(3600, 200), recording.HeartRate: heart}),
		Rider: capacity.Rider{MaxHeartRate: 200}, VT1: 130, VT2: 160}).Trimp
}

// Minutes in tenths of the maximal heart rate times 1 to 5: Edwards 1993, read
// in two texts (secondary).
func TestPublishedFiveZones(t *testing.T) {
	near(t, "sum", zoned(t).FiveZone, 10*(0+1+2+3+4+5), 1e-9)
}

// Minutes below, between and above the ventilatory thresholds times 1, 2 and 3:
// Lucía's form, named by Cejuela and Esteve-Lanao 2011; the weights are from
// memory.
func TestPublishedThreeZones(t *testing.T) {
	near(t, "sum", zoned(t).ByVT, 10*(1+1+1+2+3+3), 1e-9)
}

// Mathematics only: the fourth-power mean of a 30 s mean, computed outside
// this program from its definition (derivation).
func TestAnalyticEquivalentPowerOfRides(t *testing.T) {
	c := capacity.Fixed(250, 20000, 900)
	for _, x := range []struct {
		name       string
		watts      []float64
		equivalent float64
		tolerance  float64
	}{
		{"constant", blocks(3600, 250), 250, 1e-9},
		{"two halves", blocks(1800, 200, 1800, 300), 263.8257, 1e-3},
		{"half minutes", repeated(60, blocks(30, 400, 30, 100)), 287.4645, 1e-3},
		{"minutes", repeated(30, blocks(60, 300, 60, 150)), 247.0754, 1e-3},
	} {
		m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.Power: x.watts}), Capacity: &c})
		near(t, x.name, m.Whole.EquivalentW, x.equivalent, x.tolerance)
		near(t, x.name+", load", m.LoadTh.Mean, math.Pow(x.equivalent/c.Threshold(), 2), 1e-4)
	}
}

// Sequence of three minutes at 400 W with minutes at 150 W between, CP 250 W,
// W′ 20 kJ: the closed form of the differential book, by hand (derivation).
func TestAnalyticBalanceOfARide(t *testing.T) {
	c := capacity.Fixed(250, 20000, 900)
	watts := append(repeated(3, blocks(60, 400, 60, 150)), blocks(60, 400)...)
	want := []float64{11000, 13332.64, 4332.64, 8393.33, -606.67, 4734.20, -4265.80}
	var marks []recording.Mark
	for i := range want {
		marks = append(marks, recording.Mark{Seconds: float64(60 * i), Kind: recording.Lap, Words: "minute"})
	}
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.Power: watts}, marks...), Capacity: &c})
	if len(m.Laps) != len(want) {
		t.Fatalf("%d laps", len(m.Laps))
	}
	for i, w := range want {
		near(t, "end of a lap", m.Laps[i].BalanceEndJ, w, 0.01)
	}
	near(t, "lowest", m.Balance.Lowest.Mean, -4265.80, 0.01)
	near(t, "where", m.Balance.LowestAtS, 420, 0)
	near(t, "chance", m.Balance.BelowZero, 1, 1e-9)
	if len(m.Balance.Low) != 2 {
		t.Errorf("low %v, want two stretches", m.Balance.Low)
	}
}

// Decoupling by its definition: 200 W at 140, then at 147 beats (derivation).
func TestAnalyticHeartDrift(t *testing.T) {
	near(t, "definition", 100*Decoupling(200, 140, 200, 147), 4.762, 0.001)
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{
		recording.Power: blocks(4200, 200), recording.HeartRate: blocks(2400, 140, 1800, 147)})})
	near(t, "ride", 100*m.Drift.Decoupling, 4.762, 0.001)
	near(t, "at equal power", m.Drift.AtEqualW, 7, 1e-9)
	if !m.Drift.Alike || m.Drift.Minutes != 30 {
		t.Errorf("%+v", m.Drift)
	}
}

func TestDriftCannotBeSaid(t *testing.T) {
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{
		recording.Power: blocks(2700, 150, 2100, 260), recording.HeartRate: blocks(4800, 140)})})
	if m.Drift != nil || len(m.Unsaid) == 0 {
		t.Errorf("a drift %+v of halves that share no power", m.Drift)
	}
}

func TestHeartRecovery(t *testing.T) {
	c := capacity.Fixed(250, 20000, 900)
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{
		recording.Power: blocks(300, 260, 300, 100, 300, 260, 300, 100), recording.HeartRate: blocks(300, 170, 300, 130, 300, 172, 300, 128)}), Capacity: &c})
	if len(m.Recoveries) != 2 {
		t.Fatalf("%+v", m.Recoveries)
	}
	r := m.Recoveries[1]
	near(t, "end", r.AtS, 900, 5)
	near(t, "fall", r.FromBpm-r.AfterBpm, 44, 1e-9)
}

func TestDomains(t *testing.T) {
	c := capacity.Fixed(250, 20000, 900)
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{
		recording.Power: blocks(1000, 80, 1000, 230, 500, 300, 200, 500)}), Capacity: &c})
	d := m.Domains
	near(t, "all", d.Moderate.Mean+d.Heavy.Mean+d.Severe.Mean+d.Extreme.Mean, 2700, 1e-9)
	near(t, "extreme", d.Extreme.Mean, 200-30*(417.-300)/200, 2)
	near(t, "moderate", d.Moderate.Mean, 1016, 6)
	near(t, "severe", d.Severe.Mean, 510, 12)
	doubt := capacity.Capacity{CriticalPower: 250, WPrime: 20000, MaxPower: 900}
	doubt.Sigma[0][0], doubt.Sigma[1][1], doubt.Sigma[2][2] = 15, 3000, 50
	m = measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{
		recording.Power: blocks(1000, 80, 1000, 245, 500, 300)}), Capacity: &doubt})
	if d := m.Domains; !(d.Severe.High80 > d.Severe.Low80+500) {
		t.Errorf("245 W of 250 ± 15 W are as likely heavy as severe: %+v", d.Severe)
	}
}

func TestClimbsCadenceAndGaps(t *testing.T) {
	var place, altitude []float64
	for i := range 1200 {
		m := 5 * float64(i+1)
		place = append(place, m)
		altitude = append(altitude, math.Max(0, math.Min(100, (m-2000)*0.05)))
	}
	watts := blocks(400, 150, 400, 300, 400, 150)
	for i := 100; i < 200; i++ {
		watts[i] = math.NaN()
	}
	q := MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.Power: watts, recording.Position: place,
		recording.Altitude: altitude, recording.Cadence: blocks(600, 90, 600, 0)}), Rider: capacity.Rider{Mass: 75}}
	p := course.Profile{Distance: []float64{0, 2000, 4000, 6000}, Elevation: []float64{0, 0, 100, 100}}
	q.Profile = &p
	m := measured(t, q)
	if len(m.Climbs) != 1 {
		t.Fatalf("climbs %+v", m.Climbs)
	}
	c := m.Climbs[0]
	near(t, "watts", c.MeanW, 300, 1)
	near(t, "W/kg", c.WPerKg, 4, 0.02)
	near(t, "rate", c.AscentRate, 900, 3)
	near(t, "known", m.Whole.KnownS, 1200-97, 1.5) // a reading stands for 3 s
	near(t, "still", m.Cadence.StillS, 600, 3)
	near(t, "turning", m.Cadence.Mean, 90, 1e-9)
	if len(m.Unsaid) == 0 {
		t.Error("a tenth of the power is missing and nothing is said")
	}
	q.Profile = nil
	if again := measured(t, q); len(again.Climbs) != 1 {
		t.Errorf("by the recorded altitude: %+v", again.Climbs)
	}
	if _, err := json.Marshal(m); err != nil {
		t.Error(err)
	}
}

func TestMeasureOfNothing(t *testing.T) {
	if _, err := Measure(MeasureRequest{}); err == nil {
		t.Error("an empty recording has measures")
	}
	m := measured(t, MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.HeartRate: blocks(60, 120)})})
	if m.Whole.WorkJ != 0 || len(m.Unsaid) == 0 {
		t.Errorf("%+v", m)
	}
	if _, err := json.Marshal(m); err != nil {
		t.Error(err)
	}
	if _, err := Measure(MeasureRequest{Recording: record(t, map[recording.Quantity][]float64{recording.HeartRate: blocks(60, 120)}), Source: "none"}); err == nil {
		t.Error("a source that is not there")
	}
}
