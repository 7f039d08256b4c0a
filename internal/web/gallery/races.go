package gallery

import (
	"math"
	"time"

	"chainline/course"
	"chainline/internal/service"
	"chainline/internal/web"
)

// raceGround is a made-up course of ten kilometres.
func raceGround() (all []service.RacePoint) {
	for m := 0.0; m <= 10000; m += 100 {
		e := 50 + 70*math.Exp(-math.Pow((m-3400)/900, 2)) + 55*math.Exp(-math.Pow((m-7700)/600, 2))
		all = append(all, service.RacePoint{M: m, Elevation: math.Round(10*e) / 10})
	}
	return all
}

func raceField(name, standing string, chance float64) service.RaceCategory {
	c := service.RaceCategory{Name: name, Standing: standing, Inside: 0.84, Open: true, Forecast: true, Races: 180, Chance: chance, ChanceSE: 0.06,
		LowShelter: chance - 0.12, MidShelter: chance, TopShelter: math.Min(0.99, chance+0.1), OverLimit: 0.07,
		Lost: &service.RaceRange{Mean: 52, Low80: 18, High80: 96}, Finish: &service.RaceRange{Mean: 1325, Low80: 1290, High80: 1371},
		Opening: &service.RaceRange{Mean: 271, Low80: 252, High80: 289}, Mean: &service.RaceRange{Mean: 241, Low80: 229, High80: 252},
		Moments: []service.RaceMoment{{FromM: 2800, ToM: 3200, Gradient: 0.061, Share: 0.38, Watts: 338, Seconds: 64}, {FromM: 7200, ToM: 7600, Gradient: 0.072, Share: 0.27, Watts: 352, Seconds: 71}}}
	for i := range 21 {
		at := float64(i) / 20
		left := func(end float64) float64 {
			return 1 - (1-end)*(0.55/(1+math.Exp(-40*(at-0.31)))+0.45/(1+math.Exp(-40*(at-0.74))))
		}
		c.Along = append(c.Along, service.RacePlace{M: 10000 * at, Low: left(chance - 0.12), Middle: left(chance), High: left(math.Min(0.99, chance+0.1))})
	}
	return c
}

func raceSheet(enter, sure, reason string, chance float64) service.RaceSheet {
	afford, gap, harder := 183.0, 5200.0, "swell"
	if enter == harder {
		harder = "surge"
	}
	return service.RaceSheet{Title: "Two Mills Tuesday", Rider: "Bram Castelein", Course: "Two Mills", LengthM: 10000, AscentM: 128, Enter: enter, Sure: sure, Reason: reason,
		Source: "crank", Unproved: "Never checked against a real race.", Profile: raceGround(),
		Why:        []string{"In 'tide' you finish with the front group in 62 % of the simulated races (50 % with low shelter, 72 % with high).", "In 'swell' you would hang on in 14 %.", "'ebb' is below you: above its limit by 0.31 W/kg, 97 % sure by the watts of crank."},
		Categories: []service.RaceCategory{{Name: "ebb", Standing: "above its limit by 0.31 W/kg, 97 % sure by the watts of crank", Open: true}, raceField(enter, "inside by 0.12 W/kg, 84 % sure by the watts of crank", chance), raceField(harder, "below it by 0.41 W/kg, 95 % sure by the watts of crank; 31 W more would reach it", 0.14)},
		Start:      &service.RaceStart{Category: enter, OpeningW: 274, AffordS: &afford, TwoMinW: 301, GapJ: &gap, LaunchM: 225, LaunchW: 612, LaunchS: 16, DroppedW: 225},
		Shelter:    []service.RaceShelter{{FromM: 4500, ToM: 6600, SavedW: 74}, {FromM: 0, ToM: 1600, SavedW: 58}},
		WarmUp: []service.RaceWarmUp{{StartS: -1560, DurationS: 360, Watts: 110, Name: "easy"}, {StartS: -1200, DurationS: 360, Watts: 165, Name: "steady"}, {StartS: -840, DurationS: 120, Watts: 235, Name: "at critical power"},
			{StartS: -720, DurationS: 120, Watts: 110, Name: "easy"}, {StartS: -600, DurationS: 20, Watts: 330, Name: "short and hard"}, {StartS: -580, DurationS: 40, Watts: 110, Name: "easy"}, {StartS: -540, DurationS: 300, Watts: 120, Name: "easy"}, {StartS: -240, DurationS: 240, Watts: 0, Name: "in the start pen"}},
		WarmUpWhy: "W′ is back to 97 % at the gun."}
}

var clubFields = []string{"ebb", "tide", "swell", "surge"}

var clubLimits = map[string]string{"ebb": "up to 2.3 W/kg over 20 min", "tide": "2.3 to 2.9 W/kg over 20 min", "swell": "2.9 to 3.6 W/kg over 20 min"}

var raceChoices = map[web.Kind][]web.Option{"rider": {{Value: "r1", Label: "Ada Moss"}, {Value: "r2", Label: "Bo Reed"}, {Value: "r3", Label: "Cas Hill"}, {Value: "r4", Label: "Dee Lake"}},
	"rig": {{Value: "g1", Label: "The cellar"}, {Value: "g2", Label: "The attic"}}, "course": {{Value: "k1", Label: "Two Mills"}, {Value: "k2", Label: "Harbour Ridge"}}, "road": {{Value: "o1", Label: "Club road bike"}}}

func races() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/races"} }
	now := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	gun := time.Date(2026, 12, 1, 19, 30, 0, 0, time.UTC)
	return []web.State{
		{Name: "races", Page: &web.RacesPage{Base: base("Races and groups"), Races: []web.RacesRow{
			web.NewRacesRow("e1", "Two Mills Tuesday", "mass", gun, now, "11 riders put into fields"), web.NewRacesRow("e2", "Harbour time trial", "time-trial", gun.AddDate(0, 0, 5), now, ""),
			web.NewRacesRow("e3", "Boxing day handicap", "handicap", gun.AddDate(0, 0, 25), now, ""), web.NewRacesRow("e4", "Sunday together", "group", gun.AddDate(0, 0, 12), now, ""), web.NewRacesRow("e5", "Autumn race", "mass", gun.AddDate(0, 0, -20), now, "")}}},
		{Name: "races-empty", Page: &web.RacesPage{Base: base("Races and groups"), Empty: web.Empty{Says: "There is no event yet.", Path: "/events/new", Link: "Add an event"}}},
		{Name: "racing", Page: racing(base, "")}, {Name: "racing-going", Page: racing(base, "simulating races for Cas Hill, 3 of 4")}, {Name: "racing-new", Page: racingNew(base)},
		{Name: "racing-apart", Page: &web.RacingPage{Base: base("Who rides in which field? Harbour time trial"), Back: "/events/e2", When: "Sun 6 December 2026, 19:30", Empty: web.Empty{Says: "A time trial is ridden alone: there is no field to choose.", Path: "/events/e2/ready", Link: "Briefs for all"}}},
		{Name: "racing-rider", Page: racingRider(base)}, {Name: "racing-rider-new", Page: racingRiderNew(base)},
		{Name: "race-sheet", Page: raceSheetPage(base, gun)}, {Name: "race-sheet-untimed", Page: raceSheetPage(base, time.Time{})},
		{Name: "working", Page: &web.WorkingPage{Base: base("The races are being simulated"), ID: "x", Doing: "racing swell for Cas Hill, 3 of 11", Since: "14 s", Back: "/events/e1/fields"}},
		{Name: "starts", Page: &web.StartsPage{Base: base("Handicap starts"), Lists: []web.StartRow{{ID: "s1", Title: "Boxing day handicap", Made: "1 December 2026", Says: "11 riders in 4 bunches, Two Mills"}}}},
		{Name: "starts-empty", Page: &web.StartsPage{Base: base("Handicap starts"), Empty: web.Empty{Says: "There is no start list yet.", Path: "/starts/new", Link: "Make a start list"}}},
		{Name: "start-new", Page: web.NewStartNewPage(raceChoices, nil, map[string]string{"title": "Handicap", "rides.r1": "yes", "rides.r2": "yes"}, nil)},
		{Name: "start-new-wrong", Page: web.NewStartNewPage(raceChoices, []web.Option{{Value: "s1", Label: "Boxing day handicap, 1 December 2026"}}, map[string]string{"rides.r1": "yes"}, map[string]string{"": "Tick two riders at least and 60 at most.", "title": "A name is needed to find it again."})},
		{Name: "start", Page: startPage(base, false)}, {Name: "start-next", Page: startPage(base, true)},
		{Name: "company", Page: companyPage(base)}, {Name: "company-new", Page: companyNew(base, map[string]string{"rides.r1": "yes"}, nil)},
		{Name: "company-wrong", Page: companyNew(base, map[string]string{"hours": "long"}, map[string]string{"": "Tick at least one rider and one course.", "hours": "Write hours from 0.1 to 24, like 1.5."})},
	}
}

func racing(base func(string) web.Base, going string) *web.RacingPage {
	p := &web.RacingPage{Base: base("Who rides in which field? Two Mills Tuesday"), Back: "/events/e1", When: "Tue 1 December 2026, 19:30 in Europe/Dublin", Unproved: "Never checked against a real race."}
	add := func(id, name, enter, sure, why string, chance float64, change func(*service.RaceSheet)) {
		sheet := raceSheet(enter, sure, why, chance)
		if change != nil {
			change(&sheet)
		}
		row := web.NewRacingRow(name, sheet)
		row.Path = "/events/e1/fields/" + id
		p.Rows = append(p.Rows, row)
	}
	add("r1", "Ada Moss", "swell", "26 W inside its limits, 93 % sure", "Above the limit of 'tide'; here with the front group in 58 % of the races, in 'surge' in 7 %.", 0.58, nil)
	add("r2", "Bo Reed", "ebb", "15 W inside its limits, 68 % sure", "New to races, so the friendlier field: with the front group in 81 % of the races; in 'tide' in 55 %.", 0.81, func(s *service.RaceSheet) { s.Newcomer, s.Steered, s.NotSure = true, true, true })
	add("r3", "Cas Hill", "tide", "9 W inside its limits, 84 % sure", "Here with the front group in 62 % of the races, in 'swell' in 14 %.", 0.62, nil)
	add("r4", "Dee Lake", "surge", "it has no limits", "Here with the front group in 97 % of the races; nothing harder is open.", 0.97, nil)
	p.Rows[2].Stale = "Something it rests on has changed since; simulate again."
	p.Sort(clubFields)
	if going != "" {
		p.Going = &web.WorkingPage{ID: "x", Doing: going}
		p.Absent = []string{"Evan Stone: racing is hard exercise, and the health questions of Evan Stone say to ask a doctor first; expected a rider who may ride hard"}
	}
	p.Ask("/events/e1/fields", raceChoices, map[string]string{"rides.r1": "yes", "rides.r2": "yes", "rig.r2": "g2"}, nil)
	return p
}

func racingNew(base func(string) web.Base) *web.RacingPage {
	p := &web.RacingPage{Base: base("Who rides in which field? Two Mills Tuesday"), Back: "/events/e1"}
	p.Ask("/events/e1/fields", raceChoices, map[string]string{}, map[string]string{"": "Tick at least one rider."})
	return p
}

func racingRider(base func(string) web.Base) *web.RacingRiderPage {
	p := &web.RacingRiderPage{Base: base("Which field? Bram Castelein"), Back: "/events/e1/fields", When: "Tue 1 December 2026, 19:30", Path: "/events/e1/fields/r1"}
	sheet := raceSheet("tide", "9 W inside its limits, 84 % sure", "Here with the front group in 62 % of the races.", 0.62)
	sheet.Categories[1].Learnt = 34
	p.Fill(sheet, clubLimits, 0)
	p.Stale = "Something this rests on has changed since. Simulate again to see what it is now."
	p.Asks(raceChoices, nil, nil)
	return p
}

func racingRiderNew(base func(string) web.Base) *web.RacingRiderPage {
	p := &web.RacingRiderPage{Base: base("Which field? Bram Castelein"), Back: "/events/e1/fields", Path: "/events/e1/fields/r1"}
	p.Asks(raceChoices, nil, map[string]string{"course": "Choose a course."})
	return p
}

func raceSheetPage(base func(string) web.Base, gun time.Time) *web.RaceSheetPage {
	p := &web.RaceSheetPage{Base: base("Two Mills Tuesday: Bram Castelein"), Back: "/events/e1/fields/r1", Card: "/events/e1/fields/r1/card"}
	sheet := raceSheet("tide", "9 W inside its limits, 84 % sure", "", 0.62)
	p.Fill(sheet, 0)
	p.TimeUsual(gun, sheet.WarmUp)
	p.AskZone("/events/e1/fields/r1/sheet", "Europe/Dublin", nil)
	return p
}

func startPage(base func(string) web.Base, next bool) *web.StartPage {
	p := &web.StartPage{Base: base("Boxing day handicap"), Path: "/starts/s1", Made: "1 December 2026"}
	one := func(n int, name string, chance, mean float64) service.HandicapStart {
		return service.HandicapStart{Name: name, Number: n, Chance: chance, SE: 0.02, Arrives: service.RaceRange{Mean: mean, Low80: mean - 24, High80: mean + 31}}
	}
	sheet := service.HandicapSheet{Course: "Two Mills", LengthM: 10000, SpreadS: 21, Fair: 0.125, FairSE: 0.017, Unproved: "Never checked against a real race.", Bunches: []service.HandicapBunch{
		{GapS: 0, Riders: []service.HandicapStart{one(1, "Ada Moss", 0.13, 1801), one(2, "Bo Reed", 0.11, 1809)}}, {GapS: 210, Riders: []service.HandicapStart{one(3, "Cas Hill", 0.14, 1799), one(4, "Dee Lake", 0.12, 1803), one(5, "Evan Stone", 0.11, 1806)}},
		{GapS: 385, Riders: []service.HandicapStart{one(6, "Fia Marsh", 0.13, 1800), one(7, "Gus Heath", 0.12, 1804)}}, {GapS: 555, Riders: []service.HandicapStart{one(8, "Ilse Verdonk", 0.14, 1798)}}}}
	if next {
		sheet.Changes = []service.HandicapWord{{Name: "Ada Moss", Share: 0.02, Why: "further off than one result may change: capped"}, {Name: "Bo Reed", Share: -0.0065, Why: "14 s later than expected"}, {Name: "Cas Hill", Why: "did not finish: unchanged"}}
		sheet.Notes = []string{"Gus Heath may not ride hard for now, by the health questions: ask a doctor first."}
		p.After, p.Event = "/starts/s0", "/events/e3"
	}
	p.Fill(sheet, 0)
	names := []string{"Ada Moss", "Bo Reed", "Cas Hill", "Dee Lake", "Evan Stone", "Fia Marsh", "Gus Heath", "Ilse Verdonk"}
	if next {
		p.ClocksUsual(time.Date(2026, 12, 26, 10, 0, 0, 0, time.UTC), "Europe/Dublin")
		p.AskArrivals(names, map[string]string{"arrive.0": "soon"}, map[string]string{"arrive.0": "Write minutes and seconds after the first start, like 31:20."})
	} else {
		p.AskArrivals(names, map[string]string{"arrive.0": "30:02"}, nil)
		p.Taken = 1
	}
	return p
}

func companyPage(base func(string) web.Base) *web.CompanyPage {
	p := &web.CompanyPage{Base: base("Ride together")}
	var shape course.Profile
	for _, x := range raceGround() {
		shape.Distance, shape.Elevation = append(shape.Distance, x.M), append(shape.Elevation, x.Elevation)
	}
	one := func(name string, leads bool, level float64, over ...service.TogetherStretch) service.TogetherRider {
		return service.TogetherRider{Name: name, Leads: leads, HoldsMS: level / 18, LevelW: level, FrontW: 1.4 * level, ClimbW: 1.6 * level, NeverW: 1.7 * level, Over: over}
	}
	p.Fill(service.TogetherSheet{Best: "Two Mills", Notes: []string{"Cas Hill may not ride hard for now, by the health questions: ask a doctor first."}, Courses: []service.TogetherCourse{
		{Course: "Harbour Ridge", LengthM: 24000, Seconds: 5250, SpeedMS: 4.6, Why: "It is longer than newcomers are sent for.", Pace: "Bo Reed", Riders: []service.TogetherRider{one("Ada Moss", true, 150), one("Bo Reed", false, 105, service.TogetherStretch{FromM: 7000, ToM: 7800, OverW: 12})}},
		{Course: "Two Mills", LengthM: 10000, Suits: true, Seconds: 1520, SpeedMS: 6.6, Why: "Bo Reed sets the pace; everybody stays at or below 75 % of critical power on average.", Pace: "Bo Reed", Riders: []service.TogetherRider{one("Ada Moss", true, 150), one("Bo Reed", false, 112, service.TogetherStretch{FromM: 2600, ToM: 3400, OverW: 18}), one("Cas Hill", false, 120)},
			Regroup: []service.TogetherRegroup{{AtM: 3500, WaitS: 74, Last: "Bo Reed"}}}}}, []course.Profile{shape, shape}, 0)
	p.Ask(raceChoices, map[string]string{"rides.r1": "yes", "rides.r2": "yes", "course.k1": "yes", "course.k2": "yes", "hours": "1.5"}, nil)
	return p
}

func companyNew(base func(string) web.Base, values, errs map[string]string) *web.CompanyPage {
	p := &web.CompanyPage{Base: base("Ride together")}
	p.Ask(raceChoices, values, errs)
	return p
}
