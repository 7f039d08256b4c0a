package render

import (
	"fmt"
	"math"

	"chainline/brief"
	"chainline/course"
	"chainline/estimate"
)

// The briefs here are canned and invented: they test how a brief looks, not
// whether its numbers are right.

// hillProfile is 10 km with two hills.
func hillProfile() course.Profile {
	var p course.Profile
	for m := 0.0; m <= 10000; m += 20 {
		e := 80.0
		switch {
		case m > 2000 && m < 4000:
			e += 100 * (1 - math.Cos((m-2000)/2000*math.Pi)) / 2
		case m >= 4000 && m <= 5000:
			e += 100
		case m > 5000 && m < 7000:
			e += 100 * (1 + math.Cos((m-5000)/2000*math.Pi)) / 2
		case m > 8000:
			e += 60 * (1 - math.Cos((m-8000)/2000*2*math.Pi)) / 2
		}
		p.Distance, p.Elevation = append(p.Distance, m), append(p.Elevation, e)
	}
	return p
}

func normal(mean, sd float64) estimate.Estimate { return estimate.Normal(mean, sd, "invented") }

// racer is a mass start on the hill course with a power meter.
func racer() brief.Brief {
	type c struct {
		from, to, watts, start, last, left float64
		rpe                                int
		name, feel                         string
	}
	list := []c{
		{0, 120, 420, 0, 14, .93, 17, "Off the line", "very hard, no wish to speak"},
		{120, 1900, 240, 14, 180, .93, 14, "Settle", "firm, short sentences only"},
		{1900, 4000, 305, 194, 408, .24, 17, "Climb 1", "very hard, no wish to speak"},
		{4000, 4900, 245, 602, 126, .23, 14, "Over the top, keep rolling", "firm, short sentences only"},
		{4900, 6900, 60, 728, 133, .58, 8, "Down, drink", "very easy, you could sing"},
		{6900, 7900, 240, 861, 128, .58, 14, "Valley", "firm, short sentences only"},
		{7900, 8900, 345, 989, 231, .17, 18, "Climb 2", "very hard, no wish to speak"},
		{8900, 9400, 120, 1220, 45, .25, 9, "Crest", "very easy, you could sing"},
		{9400, 10000, 330, 1265, 47, .10, 19, "Home, empty it", "all you have"},
	}
	b := brief.Brief{
		Title: "Two Mills hill race", When: "Thursday 3 December 2026, 19:30 (Europe/Dublin)", On: "2026-12-03T19:30", Kind: "mass start", Made: "2026-12-02",
		Rider: brief.RiderSheet{Name: "Ines Calder", Mass: 68.5, HeartRateMax: 186, HeartMaxFrom: "measured",
			CriticalPower: normal(240, 7), WPrime: normal(18000, 2300), MaxPower: normal(910, 60), Threshold: normal(234, 9.4), Fade: normal(9, 3),
			Model: "Critical power and W′ from a least-squares fit to three maximal tests.",
			Evidence: []brief.EvidenceLine{
				{What: "180 s maximal test, 330 W", When: "2026-10-02", Used: "in the fit"},
				{What: "720 s maximal test, 266 W", When: "2026-10-05", Used: "in the fit"},
				{What: "threshold 231 W from a 20-minute test", When: "2026-10-10", Used: "as a check; it agrees"},
			},
			Next: "One more all-out test of about 12 minutes would narrow the finish most."},
		Rig: brief.RigSheet{Trainer: "controllable trainer", Source: "hub", Accuracy: 0.01, Speaks: "watts", CeilingW: 1500,
			Room: "Room 21 °C, 50 % humidity, air moving at 2.5 m/s"},
		Road: brief.RoadSheet{Name: "open road", BikeMass: 8.6, CdA: normal(0.32, 0.012), Crr: normal(0.004, 0.0004), Efficiency: 0.976,
			AirDensity: 1.19, AirFrom: "air as typed", WheelDragArea: 0.0044, WheelInertia: 0.14, WheelRadius: 0.334, Bearings: true},
		Course: brief.CourseSheet{Name: "Two Mills", Known: "track", Distance: 10000, Ascent: 160, RawAscent: 188,
			Smoothing: "Elevations were smoothed over 100 m", Laps: 1, Profile: hillProfile(), Sections: 7,
			Climbs: []course.Climb{{Start: 2000, Length: 2000, Ascent: 100, Mean: .05, Steepest: .078}, {Start: 8000, Length: 1000, Ascent: 60, Mean: .06, Steepest: .094}}},
		Plan: brief.PlanSheet{Style: "normal", ChanceLimit: .15, Recovery: "differential", Reserve: 1800, ForCP: 236, ForWPrime: 18000,
			Time: 1312, OptimumTime: 1306, EvenWatts: 252, EvenTime: 1361, BalanceMin: 1800, MeanWatts: 241, Kept: .89,
			EquivalentWatts: 268, ShareOfThreshold: 268. / 234, Load: 1312. / 3600 * (268. / 234) * (268. / 234)},
		Forecast: brief.ForecastSheet{Draws: 1000, Seed: 1, Median: 1312, Low80: 1280, High80: 1351, ChanceEmpty: .11, EmptyAt: 8700, EmptyCue: 7,
			Alone: true, Rest: "capacity, source, masses, drag, rolling, recovery, execution", FiveWatts: 9, DragArea: 6, OneKg: 7},
		Warnings: []string{
			"Riding in the bunch is not reckoned with: the time is for riding alone, and in the bunch you will be faster.",
			"W′ comes back at a pace that differs a lot between people; if the legs feel empty on the second climb, ride 240 W and trust them."},
		Cautions: []string{"A hard effort. Not for anyone with chest pain, faintness, fever or a doctor's advice against it; stop if any of these appear. " +
			"Sweat and mains do not mix: keep leads dry and off the floor. Chainline estimates; it does not examine you."},
	}
	for i, x := range list {
		cue := brief.Cue{Number: i + 1, FromM: x.from, ToM: x.to, StartS: x.start, LastS: x.last, Watts: x.watts, Name: x.name, WPerKg: x.watts / 68.5,
			Share: x.watts / 240, Exertion: x.rpe, Feel: x.feel, BalanceEnd: x.left * 18000}
		if x.last >= 180 {
			cue.HeartLow, cue.HeartHigh = 158, 170
		}
		b.Plan.Cues = append(b.Plan.Cues, cue)
	}
	return beforeTheGun(b)
}

// busy is the racer with n cues of equal length.
func busy(n int) brief.Brief {
	b := racer()
	feel := []string{"very easy, you could sing", "easy, you could chat for hours", "firm, short sentences only", "hard, a few words at a time", "very hard, no wish to speak"}
	b.Plan.Cues = nil
	for i := range n {
		w := []float64{240, 305, 180, 330, 260}[i%5]
		cue := brief.Cue{Number: i + 1, FromM: 10000 * float64(i) / float64(n), ToM: 10000 * float64(i+1) / float64(n), StartS: 1312 * float64(i) / float64(n),
			Watts: w, Name: []string{"Settle", "Climb " + fmt.Sprint(i), "Over the top, keep rolling", "Short rise, on the hoods", "False flat"}[i%5],
			WPerKg: w / 68.5, Share: w / 240, Exertion: 9 + 2*(i%5), Feel: feel[i%5], BalanceEnd: 18000 * (1 - float64(i)/float64(n)*.9)}
		if i%7 == 0 {
			cue.HeartLow, cue.HeartHigh = 150, 165
		}
		if i%9 == 4 {
			cue.Flag, cue.Gear = "The trainer cannot hold less than 90 W in this gear", "36×19"
		}
		b.Plan.Cues = append(b.Plan.Cues, cue)
	}
	return b
}

// newcomer knows only length and ascent and rides a plain trainer by feel of
// the wheel's speed.
func newcomer() brief.Brief {
	b := racer()
	b.Title, b.Kind, b.When = "Saturday club loop", "group ride", "Saturday 5 December 2026, 10:00 (Europe/Dublin)"
	b.Rider = brief.RiderSheet{Name: "Tom Lindqvist", Mass: 82, HeartRateMax: 184, HeartMaxFrom: "predicted from age",
		CriticalPower: normal(168, 32), WPrime: normal(14500, 4200), MaxPower: normal(640, 130), Threshold: normal(160, 31), Fade: normal(9, 3),
		Model: "Nothing is known but age, mass and level, so this is what riders like you can do.",
		Next:  "One all-out effort of 12 minutes, written down, would halve the doubt about the finish."}
	b.Rig = brief.RigSheet{Trainer: "plain trainer", Speaks: "wheel speed", CurveFrom: "a maker's table, typed in", CurveSD: .08,
		Room: "Room 19 °C, one window open"}
	b.Road.CdA, b.Road.Crr = normal(.36, .03), normal(.005, .0008)
	b.Course = brief.CourseSheet{Name: "Club loop", Known: "sketch", Distance: 21400, Ascent: 310, Laps: 2}
	for k := range 5 {
		var p course.Profile
		for m := 0.0; m <= 21400; m += 100 {
			x := m / 21400 * 2 * math.Pi
			e := 60 + 40*math.Sin(2*x+float64(k)*1.1) + 25*math.Sin(5*x+float64(k)*2) + 10*math.Sin(11*x+float64(3*k))
			p.Distance, p.Elevation = append(p.Distance, m), append(p.Elevation, e)
		}
		b.Course.Plausible = append(b.Course.Plausible, p)
	}
	b.Course.Profile = b.Course.Plausible[0]
	rule := func(from, to, watts float64, name, feel string, rpe int, kmh, half, share float64) brief.Rule {
		return brief.Rule{FromGradient: from, ToGradient: to, Name: name, Watts: watts, WPerKg: watts / 82, Exertion: rpe, Feel: feel,
			WheelKmh: kmh, WheelLowKmh: kmh - half, WheelHighKmh: kmh + half, ShareOfTime: share, HeartLow: 140, HeartHigh: 152}
	}
	b.Plan = brief.PlanSheet{Style: "careful", ChanceLimit: .05, Recovery: "differential", Reserve: 1450, ForCP: 131, ForWPrime: 12900,
		Rules: []brief.Rule{
			rule(.05, math.Inf(1), 185, "steep up", "hard, a few words at a time", 15, 32, 1.6, .12), rule(.02, .05, 165, "up", "firm, short sentences only", 14, 30, 1.5, .24),
			rule(-.02, .02, 140, "flat", "firm, short sentences only", 13, 27.6, 1.3, .41), rule(math.Inf(-1), -.02, 80, "down", "easy, you could chat for hours", 9, 21, 1, .23)},
		Time: 3460, OptimumTime: 3423, EvenWatts: 141, EvenTime: 3502, BalanceMin: 1450, MeanWatts: 138, Kept: .53}
	b.Plan.Rules[0].Flag, b.Plan.Rules[0].Gear = "Shift to this gear before the climb; in a smaller one you would have to spin faster than 110 rpm", "50×15"
	b.Forecast = brief.ForecastSheet{Draws: 1000, Seed: 1, Median: 3640, Low80: 3290, High80: 4180, ChanceEmpty: .048, EmptyAt: 17200, FiveWatts: 42, DragArea: 21, OneKg: 19}
	b.Warnings = []string{
		"Your capacity is a guess from age, mass and level. Ride the first ten minutes by feel; if it is harder than ‘firm’, ride slower.",
		"Only the length and the ascent of the course are known. The forecast rode many courses that fit; yours may be kinder or worse.",
		"The trainer's power curve comes from a table. A tyre a little softer than the maker's moves the speeds by a few km/h."}
	return newcomerBeforeTheGun(b)
}

// plain is a short time trial on a plain trainer: cues spoken in wheel speed.
func plain() brief.Brief {
	b := racer()
	b.Title, b.Kind = "Harbour ten", "time trial"
	b.Forecast.Alone = false
	b.Rig = brief.RigSheet{Trainer: "plain trainer", Speaks: "wheel speed", CurveFrom: "a coast-down of 4 October", CurveSD: .03, CeilingW: 380}
	for i := range b.Plan.Cues {
		c := &b.Plan.Cues[i]
		c.WheelKmh = 12 + c.Watts/11
		c.WheelLowKmh, c.WheelHighKmh = c.WheelKmh*.98, c.WheelKmh*1.02
	}
	b.Plan.Cues[0].Flag, b.Plan.Cues[0].Gear = "More than this trainer can hold at any speed you can spin: stand and give what it takes", "50×13"
	b.Plan.Rules = newcomer().Plan.Rules
	b.Plan.RulesTime = 1329
	return b
}

// heavy is as much as one sheet is promised to hold: 30 cues, five warnings,
// three cautions, more climbs and evidence than are listed.
func heavy() brief.Brief {
	b := busy(30)
	for i := range 4 {
		b.Warnings = append(b.Warnings, "The mass of your bike was not given; eight and a half kilograms are assumed, which may be two off either way.")
		b.Rider.Evidence = append(b.Rider.Evidence, b.Rider.Evidence[i%3])
		b.Course.Climbs = append(b.Course.Climbs, b.Course.Climbs[i%2])
	}
	b.Warnings = b.Warnings[1:]
	b.Cautions = append(b.Cautions, "Have water within reach and a fan on you before you start.", "Get off slowly afterwards; legs that worked hard can fail you on the first step.")
	return b
}

// samples are the briefs every face is looked at with.
func samples() map[string]brief.Brief {
	return map[string]brief.Brief{"racer": racer(), "busy": busy(30), "heavy": heavy(), "newcomer": newcomer(), "plain": plain()}
}

// everyBrief adds the extremes and the hostile to the samples.
func everyBrief() map[string]brief.Brief {
	all := samples()
	all["empty"] = brief.Brief{}
	all["one cue"], all["sixty cues"], all["200 cues"] = busy(1), busy(60), busy(200)
	tiny := racer()
	tiny.Course.Distance, tiny.Course.Profile = 2, course.Profile{Distance: []float64{0, 2}, Elevation: []float64{5, 5}}
	tiny.Plan.Cues = tiny.Plan.Cues[:1]
	tiny.Plan.Cues[0].ToM = 2
	all["two metres"] = tiny
	long := busy(60)
	long.Course.Distance = 300000
	long.Course.Profile = course.Profile{}
	for m := 0.0; m <= 300000; m += 100 {
		long.Course.Profile.Distance = append(long.Course.Profile.Distance, m)
		long.Course.Profile.Elevation = append(long.Course.Profile.Elevation, 900+800*math.Sin(m/9000))
	}
	for i := range long.Plan.Cues {
		long.Plan.Cues[i].FromM *= 30
		long.Plan.Cues[i].ToM *= 30
		long.Plan.Cues[i].StartS *= 30
	}
	long.Forecast.Median, long.Forecast.Low80, long.Forecast.High80 = 39000, 36500, 42100
	all["300 km"] = long
	bare := racer()
	bare.Rider.Evidence, bare.Forecast, bare.Course.Climbs, bare.Plan.Trace = nil, brief.ForecastSheet{}, nil, nil
	all["no evidence, no draws"] = bare
	all["hostile"] = hostile()
	broken := racer()
	broken.Forecast.Median, broken.Forecast.High80 = math.NaN(), math.Inf(1)
	broken.Plan.Cues[2].BalanceEnd, broken.Plan.Cues[3].Watts = math.NaN(), math.Inf(1)
	broken.Rider.CriticalPower.High80 = math.Inf(1)
	broken.Course.Climbs[0].Steepest = math.NaN()
	broken.Room.EndTemperature.Mean, broken.Room.MetabolicHeatW = math.NaN(), math.Inf(1)
	broken.WarmUp.Steps[1].StartS, broken.WarmUp.Steps[2].Watts, broken.WarmUp.Timeline[0].AtS = math.NaN(), math.Inf(1), math.NaN()
	broken.Worth[0].Seconds, broken.NextTest.SDNow = math.NaN(), math.NaN()
	all["not numbers"] = broken
	return all
}

const evil = "<script>alert(1)</script>\"'&\x1b[2J\r\n" + "Maria-Theodora-Alexandrina-Wilhelmina-Konstantina-of-the-Long-Name-without-a-single-space-anywhere-in-it"

// hostile has a name that must do no harm wherever text is allowed.
func hostile() brief.Brief {
	b := plain()
	b.Title, b.When, b.On, b.Kind, b.Made = evil, evil, evil, evil, evil
	b.Rider.Name, b.Rider.Model, b.Rider.Next = evil, evil, evil
	b.Rider.Evidence = []brief.EvidenceLine{{What: evil, When: evil, Used: evil}}
	b.Rig.Trainer, b.Rig.Source, b.Rig.Room, b.Rig.CurveFrom = evil, evil, evil, evil
	b.Road.Name, b.Road.AirFrom, b.Course.Name, b.Course.Smoothing = evil, evil, evil, evil
	b.Warnings, b.Cautions = []string{evil}, []string{evil}
	for i := range b.Plan.Cues {
		c := &b.Plan.Cues[i]
		c.Name, c.Feel, c.Gear, c.Flag = evil, evil, evil, evil
	}
	for i := range b.Plan.Rules {
		r := &b.Plan.Rules[i]
		r.Name, r.Feel, r.Gear, r.Flag = evil, evil, evil, evil
	}
	b.Room.AirflowFrom, b.Room.Assumed, b.Room.Standard, b.Room.Drink, b.Room.Food, b.Room.Lines = evil, evil, evil, evil, evil, []string{evil, evil}
	for i := range b.WarmUp.Steps {
		b.WarmUp.Steps[i].Name = evil
	}
	for i := range b.WarmUp.Timeline {
		b.WarmUp.Timeline[i].Clock, b.WarmUp.Timeline[i].What = evil, evil
	}
	for i := range b.Worth {
		b.Worth[i].What, b.Worth[i].Why = evil, evil
	}
	b.WarmUp.Why, b.NextTest.What, b.NextTest.Sentence = evil, evil, evil
	return b
}
