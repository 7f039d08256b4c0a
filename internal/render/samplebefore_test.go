package render

import (
	"math"

	"chainline/brief"
)

// beforeTheGun fills what is to be known and done before the start; invented,
// like every number here.
func beforeTheGun(b brief.Brief) brief.Brief {
	b.Room = brief.RoomSheet{Known: true, Temperature: 21, Humidity: .55, Airflow: 3, AirflowFrom: "one pedestal fan, 1 m away, high",
		MetabolicHeatW: 790, EndTemperature: normal(24.2, .7), EndHumidity: normal(.66, .05), AirflowNeeded: 2.4,
		Standard:   "The heat-strain standard covers this effort for 19 minutes.",
		SweatLPerH: normal(1.1, .25), FluidLow: .15, FluidHigh: .4, LossPercent: .6,
		Drink: "Drink to thirst; one small bottle is plenty.",
		Lines: []string{"The fan is enough: with less than 2.4 m/s on chest and face this effort would not be steady past 14 minutes.",
			"The room warms by about three degrees; open a door if you can."}}
	b.WarmUp = brief.WarmUpSheet{Steps: warmUpSteps(), BalanceAtGun: .97, LastHardS: 420, Timeline: []brief.Moment{
		{AtS: -1560, Clock: "19:04", What: "fill the bottle, put the fan where it will stand"},
		{AtS: -840, Clock: "19:16", What: "zero offset, now that the rig is warm"},
		{AtS: -360, Clock: "19:24", What: "fan on, wipe face and bars"},
		{AtS: -180, Clock: "19:27", What: "in the pen"}},
		CoolDown: []brief.WarmUpStep{{StartS: 0, DurationS: 600, Watts: 95, Name: "easy", Exertion: 8}},
		Why:      "A mass start opens hard, so the warm-up ends with two short hard efforts."}
	b.Worth = []brief.Worth{
		{What: "ride these cues instead of an even effort", Seconds: 49, Low80: 38, High80: 61, Why: "From the same draws, ridden both ways.", AlreadyDone: true},
		{What: "warm up as above", Seconds: 12, Low80: 3, High80: 22, Why: "Oxygen uptake rises faster on warm legs."},
		{What: "open the door to the hall", Seconds: 4, Low80: 1, High80: 9, Why: "Three degrees less at the end."},
		{What: "one maximal test of 12 minutes", NarrowsFromS: 71, NarrowsToS: 48, Why: "It would pin down your threshold."}}
	b.NextTest = brief.NextTest{What: "a maximal test of 12 minutes", Maximal: true, SDNow: 9.4, SDThen: 5.8, Seconds: 23,
		Sentence: "A maximal test of 12 minutes would narrow your threshold from ± 12 to ± 7 W and the finish by 23 s."}
	return b
}

// warmUpSteps has two short hard efforts that crowd each other.
func warmUpSteps() []brief.WarmUpStep {
	var out []brief.WarmUpStep
	at := -1440.0
	for _, s := range []struct {
		last, watts float64
		name        string
		rpe         int
	}{{360, 110, "easy", 8}, {360, 165, "steady", 11}, {120, 235, "firm", 14}, {120, 110, "easy", 8}, {20, 330, "hard", 16},
		{40, 100, "easy", 8}, {20, 330, "hard", 16}, {220, 120, "easy", 8}, {180, 0, "in the pen", 6}} {
		out = append(out, brief.WarmUpStep{StartS: at, DurationS: s.last, Watts: s.watts, Name: s.name, Exertion: s.rpe})
		at += s.last
	}
	return out
}

// newcomerBeforeTheGun has no time of day, no fan, and a room that no airflow
// will save.
func newcomerBeforeTheGun(b brief.Brief) brief.Brief {
	b.Room = brief.RoomSheet{Known: true, Temperature: 19, Humidity: .5, Assumed: "humidity and the size of the room",
		Airflow: .4, AirflowFrom: "no fan: only your own movement", MetabolicHeatW: 610, EndTemperature: normal(25, 1.4),
		EndHumidity: normal(.74, .08), AirflowNeeded: math.Inf(1), WattsThatWould: 95, HeatSteadyS: 1260,
		Standard: "The heat-strain standard does not cover this: outside its range.", SweatLPerH: normal(.9, .4), FluidLow: .3, FluidHigh: .9,
		LossPercent: 1.1, Drink: "Drink to thirst, not more than you sweat; weigh yourself before and after to know.",
		Food: "Something to eat after an hour and a quarter.", Lines: []string{"Without a fan this effort is not steady past 21 minutes: put one in front of you."}}
	b.WarmUp = brief.WarmUpSheet{Steps: []brief.WarmUpStep{{StartS: -600, DurationS: 420, Watts: 70, Name: "easy", Exertion: 8},
		{StartS: -180, DurationS: 180, Watts: 100, Name: "steady", Exertion: 11}}, BalanceAtGun: 1,
		Timeline: []brief.Moment{{AtS: -900, What: "fill two bottles"}, {AtS: -600, What: "start to pedal"}},
		Why:      "A group ride starts gently; ten easy minutes are enough."}
	b.Worth = []brief.Worth{{What: "put a fan a metre in front, high", Seconds: 95, Low80: 40, High80: 170, Why: "Heat balance of this room."},
		{What: "ride a known hill once, as hard as is comfortable", NarrowsFromS: 890, NarrowsToS: 560, Why: "It would tell what you can do."}}
	b.NextTest = brief.NextTest{What: "a steady climb of a known hill", Recommended: true, SDNow: 31, SDThen: 17, Seconds: 330,
		Sentence: "Ride a known hill as hard as is comfortable: it would halve the doubt about your threshold."}
	return b
}
