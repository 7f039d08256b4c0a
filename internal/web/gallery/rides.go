package gallery

import (
	"fmt"
	"math"
	"sync"
	"time"

	"chainline/debrief"
	"chainline/internal/form"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

var ridesToday = time.Date(2026, 12, 20, 9, 0, 0, 0, time.UTC)

// kept are the states of the rides' list, of imports, season and riders side by
// side.
func kept() []web.State {
	riders := []web.Option{{Value: "r1", Label: "Ilse"}, {Value: "r2", Label: "Aoife"}}
	rigs := []web.Option{{Value: "g1", Label: "Cool room"}}
	list := web.NewRidesPage(riders, "")
	rows, shapes := keptRows()
	list.List(rows, shapes, map[string]string{"r1": "Ilse", "r2": "Aoife"}, form.Units(0), web.UsualDates)
	list.Older = "/rides?until=2026-11-01"
	list.Imports = []web.ImportLine{{Path: "/import/i1", Says: "81 new rides from 96 files, 12 here already, 3 refused, going on"}}
	list.AskCopies("/home/ilse/copies", nil)
	none := web.NewRidesPage(riders[:1], "")
	none.AskCopies("/nowhere", map[string]string{"folder": "/nowhere: there is no such folder. Make it first."})
	ask := web.NewImportPage(riders, rigs, map[string]string{"rider": "r1"}, nil)
	ask.Before = []web.ImportLine{{Path: "/import/i1", Says: "19 December 2026: 214 new rides from 230 files, 12 here already, 4 refused"}}
	wrong := web.NewImportPage(riders, rigs, map[string]string{"rider": "r1", "path": "rides"}, map[string]string{"files": "No file came with it. Choose files, or write a folder's path.", "path": "There is no such folder or file on this machine; write its whole path."})
	return []web.State{
		{Name: "rides", Page: list}, {Name: "rides-empty", Page: none}, {Name: "rides-import", Page: ask}, {Name: "rides-import-wrong", Page: wrong},
		{Name: "rides-importing", Page: importing(service.ImportRunning)}, {Name: "rides-importing-learning", Page: importing(service.ImportLearning)},
		{Name: "rides-importing-stopped", Page: importing(service.ImportCancelled)}, {Name: "rides-importing-failed", Page: importing(service.ImportFailed)}, {Name: "rides-imported", Page: importing(service.ImportDone)},
		{Name: "rides-open", Page: web.NewOpenSharePage(nil)}, {Name: "rides-open-wrong", Page: web.NewOpenSharePage(map[string]string{"file": "Holiday.zip: has no share.json; expected a share file of this program."})},
		{Name: "season", Page: web.NewSeasonPage("r1", "Ilse", seasonOf(0))}, {Name: "rider-learnt", Page: web.NewLearntPage("r1", "Ilse", taught())}, {Name: "rider-learnt-empty", Page: web.NewLearntPage("r2", "Aoife", nil)}, {Name: "season-empty", Page: web.NewSeasonPage("r2", "Aoife", service.DebriefSeason{})}, {Name: "season-short", Page: web.NewSeasonPage("r2", "Aoife", shortSeason())},
		{Name: "coach", Page: coached(true)}, {Name: "coach-empty", Page: coached(false)},
	}
}

func keptRows() (rows []service.RideRow, shapes map[string][]float64) {
	shapes = map[string][]float64{}
	titles := []string{"Two Mills Tuesday", "Threshold, long", "", "Rig check", "Harbour Ridge", "An evening"}
	for i := range 14 {
		id := fmt.Sprintf("k%d", i)
		load := debrief.Interval{Mean: 0.5 + 0.1*float64(i%5)}
		row := service.RideRow{ID: id, RiderID: "r1", RigID: "g1", Title: titles[i%len(titles)], Start: ridesToday.AddDate(0, 0, -4*i).Add(10 * time.Hour), Dated: true, File: fmt.Sprintf("2026-%02d.fit", i), Kind: "FIT", Indoors: i%3 > 0,
			Seconds: 2400 + 300*float64(i), Metres: 21000 + 1500*float64(i), EquivalentWatts: 190 + 5*float64(i%6), Load: &load, Share: 0.8, Answer: []string{"no", "little", ""}[i%3]}
		switch i {
		case 2:
			row.RiderID, row.Load, row.Answer = "", nil, ""
		case 5:
			row.Repeats = "k4"
		case 13:
			row.Dated, row.Load, row.Metres = false, nil, 0
		}
		var shape []float64
		for j := range 80 {
			w := 150 + 30*math.Sin(float64(j*(i+2))/9)
			if (j/9+i)%3 == 0 && j > 12 {
				w = 250
			}
			shape = append(shape, w)
		}
		if i != 7 {
			shapes[id] = shape
		}
		rows = append(rows, row)
	}
	return rows, shapes
}

func importing(state service.ImportState) *web.ImportingPage {
	m := service.ImportProgress{ID: "i1", Made: ridesToday, State: state, Found: 230, Done: 96, New: 81, Same: 12, Learnt: 0,
		Refused: []service.ImportRefused{{File: "rides.zip/notes.fit", Line: "rides.zip/notes.fit: is no FIT file, though it is called one"}, {File: "rides.zip/b.gpx", Line: "rides.zip/b.gpx: line 12: lat=\"91.5\": expected a latitude from -90 to 90 degrees"}, {File: "rides.zip/run.fit", Line: "rides.zip/run.fit: a run; expected rides"}}}
	switch state {
	case service.ImportLearning, service.ImportDone:
		m.Done, m.New, m.Learnt = 230, 214, 214
	case service.ImportFailed:
		m.Failed = "The folder /media/stick cannot be read any more."
	}
	p := web.NewImportingPage(m)
	if state == service.ImportDone {
		p.Season = "/season/r1"
	}
	return p
}

// seasonOf is five invented months of rides; by is W between riders.
func seasonOf(by float64) service.DebriefSeason {
	moved := func(name, unit string, was, now, wide float64) debrief.Moved {
		return debrief.Moved{Name: name, Unit: unit, Before: debrief.Interval{Mean: was, Low80: was - 1.6*wide, High80: was + 1.6*wide}, After: debrief.Interval{Mean: now, Low80: now - wide, High80: now + wide}}
	}
	s := service.DebriefSeason{Schema: service.DebriefSeasonSchema, Rides: 66, From: "2026-07-20", To: "2026-12-18", Places: "Outdoors you hold about 3 % more than indoors (0 to 6).",
		Numbers: []debrief.Moved{moved("threshold", "W", 221+by, 238+by, 9), moved("critical power", "W", 232+by, 251+by, 8), moved("W′", "J", 14800, 13600, 2100), moved("maximal power", "W", 830, 848, 60)},
		LeftOut: []service.DebriefLeftOut{{File: "old.csv", Why: "old.csv: the recording does not say when it was ridden, so that its load is not counted"}}}
	first := seasonFirst
	calendar := seasonCalendar()
	s.Response = &calendar
	days := []string{"2026-12-18", "2026-11-06", "2026-12-01", "2026-09-20"}
	for i, n := range service.SeasonGrid(3 * 3600) {
		d := days[min(3, i/9)]
		s.Bests = append(s.Bests, service.SeasonBest{Seconds: n, Watts: 215 + by + 13600/(float64(n)+19), Date: d, File: d + ".fit", RideID: "k" + d[8:]})
	}
	for i := range 33 {
		w := 222 + by + 0.55*float64(i) + 2*math.Sin(float64(i))
		wide := 16 - 0.25*float64(i)
		s.Timeline = append(s.Timeline, service.SeasonPoint{Date: time.Unix(int64(first+4+i*4)*86400, 0).UTC().Format(time.DateOnly), RideID: "k", Threshold: debrief.Interval{Mean: w, Low80: w - wide, High80: w + wide}})
	}
	for i := range 6 {
		m := 2700 + 40*float64(i)
		s.Foretold = append(s.Foretold, debrief.Foretold{Date: fmt.Sprintf("2026-1%d-0%d", i%3, i+1), Name: "Two Mills Tuesday", Predicted: debrief.Interval{Mean: m, Low80: m - 100, High80: m + 100}, Actual: m + 60*float64(i-3)})
	}
	record := debrief.KeepRecord(s.Foretold)
	s.Record = &record
	s.Strays = &debrief.Strays{Rides: 6, Places: []debrief.Stray{{Place: "climbs", Rides: 6, Words: "On climbs you rode about 3 % more than planned."}, {Place: "descents", Rides: 6, Words: "Downhill you rode about as planned."}}}
	return s
}

func shortSeason() service.DebriefSeason {
	s := seasonOf(0)
	return service.DebriefSeason{Rides: 2, From: "2026-12-10", To: "2026-12-18", Numbers: s.Numbers[:2], Bests: s.Bests[:20], Unsaid: []string{"The response to the rides: cannot say, because they span less than four weeks."}}
}

func coached(any bool) *web.CoachPage {
	p := &web.CoachPage{Base: web.Base{Title: "Riders side by side", Section: "/rides"}}
	if !any {
		p.Fill(nil, web.UsualDates)
		return p
	}
	rows, _ := keptRows()
	calm := seasonOf(-40)
	calm.Response.Caution = ""
	young := shortSeason()
	young.Numbers[0].After = debrief.Interval{Mean: 180, Low80: 150, High80: 215}
	check := store.RigCheck{ID: "c1", Made: ridesToday.AddDate(0, 0, -17)}
	brief := store.Brief{ID: "b1", Title: "Harbour time trial", Made: ridesToday.AddDate(0, 0, -2)}
	p.Fill([]web.CoachLook{
		{Rider: store.Object{ID: "r3", Name: "Maren"}, Season: calm, Rig: "Garage", RigID: "g3", Fans: 2, Check: &check, Brief: &brief, Last: &rows[0], Today: ridesToday},
		{Rider: store.Object{ID: "r1", Name: "Ilse"}, Season: seasonOf(0), Rig: "Cool room", RigID: "g1", Fans: 1, Last: &rows[0], Asks: 4, Brief: &brief, Today: ridesToday},
		{Rider: store.Object{ID: "r2", Name: "Aoife"}, Season: young, Rig: "Attic", RigID: "g2", Fans: 0, Last: &rows[9], Today: ridesToday},
		{Rider: store.Object{ID: "r4", Name: "Bo"}, Fans: -1, Today: ridesToday}}, web.UsualDates)
	p.Riders = append(p.Riders, web.CoachRider{Name: "Sol", Season: "/riders/r5", Wrong: "What this rider weighs is not known."})
	return p
}

var seasonFirst = int(time.Date(2026, 7, 20, 0, 0, 0, 0, time.UTC).Unix() / 86400)

// seasonCalendar is the response to five invented months; it takes a moment.
var seasonCalendar = sync.OnceValue(func() debrief.Calendar {
	first := seasonFirst
	loads := make([]float64, 154)
	for i := range loads {
		switch i % 7 {
		case 1, 3:
			loads[i] = 0.7 + 0.2*math.Sin(float64(i)/20)
		case 5:
			loads[i] = 1.1 + float64(i)/160
		}
	}
	calendar := debrief.Training{First: first, Loads: loads, Events: []debrief.Event{{Day: first + 158, Name: "Harbour time trial", Load: 0.6}}, Seed: 1}.Respond()
	calendar.Caution = "The last seven days came to 3.9 th, 41 % more than a week of the four before (2.8 th). No limit is known that holds for everybody; more than about a third at once is where we would slow down."
	return calendar
})

// taught is what rides taught of a rider.
func taught() []service.LearntItem {
	return []service.LearntItem{
		{Key: "time off", What: "Days off the bike: one stretch of a week and more, 11 days in all. Power is taken to have fallen meanwhile.", Origin: "the days on which you rode"},
		{Key: "plans", What: "On climbs you rode about 3 % more than planned.", Origin: "6 rides and their plans"},
		{Key: "plans", What: "Downhill you rode about as planned.", Origin: "6 rides and their plans"},
		{Key: "ride/k1", What: "264 W for 20:00 min, and a little was left.", File: "two-mills.fit", Day: "2026-12-18", RideID: "k1"},
		{Key: "sweat/k1", What: "Sweat: 61.5 kg before, 60.4 kg after, 0.50 l drunk.", File: "two-mills.fit", Day: "2026-12-18", RideID: "k1", LeftOut: true},
		{Key: "plan/k1", What: "The forecast was 45:44 min (43:52 min to 47:36 min), it took 45:07 min.", File: "two-mills.fit", Day: "2026-12-18", RideID: "k1"}}
}
