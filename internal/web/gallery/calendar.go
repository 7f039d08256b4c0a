package gallery

import (
	"time"

	"chainline/internal/service"
	"chainline/internal/web"
)

// clubCalendar is a made-up club's December, asked with 75 minutes at hand.
const clubCalendar = `name,date,time,minutes,zone,kind,repeats,until,where
Hill race,2026-12-01,19:30,45,Europe/Dublin,mass,weekly,2026-12-22,Two mills
Easy ride together,2026-12-01,20:00,40,Europe/Dublin,group,weekly,2026-12-22,
Long race,2026-12-02,20:00,90,Europe/Dublin,mass,,,Harbour ridge
Morning ride over there,2026-12-05,09:00,60,America/New_York,group,,,
Club day,2026-12-12,,,Europe/Dublin,,,,The hall
Harbour time trial,2026-12-13,10:00,30,Europe/Dublin,time-trial,,,
`

var galleryCourses = []web.Option{{Value: "k1", Label: "Two Mills"}}

func calendars() []web.State {
	now := time.Date(2026, 12, 1, 9, 0, 0, 0, time.UTC)
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/events"} }
	riders, rigs := []web.Option{{Value: "r1", Label: "Ada Moss"}}, []web.Option{{Value: "g1", Label: "The cellar"}}
	page := func(values, errs, drop map[string]string, q service.CalendarRequest) *web.CalendarPage {
		q.Now, q.Zone, q.Files = now, "Europe/Zurich", []string{"club.csv"}
		q.Open = service.Texts(map[string]string{"club.csv": clubCalendar})
		sheet, err := service.Calendar(q)
		if err != nil {
			panic(err) // the calendar above is wrong
		}
		p := &web.CalendarPage{Base: base("Calendar"), Drop: web.NewCalendarDrop(drop), Kept: []web.CalendarKept{{ID: "c1", Name: "club.csv", Says: "taken in on 20 November 2026"}}}
		p.Form, p.Choices = web.NewCalendarChoices(values, errs, riders, rigs)
		p.Fill(sheet, values, map[string]string{}, now)
		return p
	}
	asked := map[string]string{"from": "2026-12-01", "zone": "Europe/Zurich", "minutes": "75"}
	wrong := map[string]string{"from": "2026-12-01", "zone": "Home", "minutes": "a while", "rider": "r1"}
	empty := page(asked, nil, nil, service.CalendarRequest{})
	empty.None, empty.Kept, empty.Weeks, empty.Days = true, nil, nil, nil
	empty.Empty = web.Empty{Says: "Nothing takes place yet.", Why: "Take in a club's calendar, or add an event."}
	fits := page(asked, nil, nil, service.CalendarRequest{Minutes: 75})
	fits.State = []string{"What you can hold is known to ±4 %."}
	quiet := page(map[string]string{"from": "2027-06-01", "zone": "Europe/Zurich"}, nil, nil, service.CalendarRequest{From: "2027-06-01"})
	quiet.Notes = []string{"club.ics:1: 3 tasks, notes or other parts that are no events are passed over"}
	return []web.State{
		{Name: "calendar-empty", Page: empty},
		{Name: "calendar", Page: page(map[string]string{"from": "2026-12-01", "zone": "Europe/Zurich"}, nil, nil, service.CalendarRequest{})},
		{Name: "calendar-fits", Page: fits},
		{Name: "calendar-quiet", Page: quiet},
		{Name: "calendar-wrong", Page: page(wrong, map[string]string{"zone": "“Home” is no time zone; write one like Europe/Dublin.", "minutes": "Write minutes from 1 to 1440, like 75.", "rig": "What a rider can hold depends on both; choose this one too."},
			map[string]string{"file": `club.ics:14: RRULE: found "FREQ=OFTEN"; expected a rule like FREQ=WEEKLY;BYDAY=TU;COUNT=10 (RFC 5545, 3.3.10).`}, service.CalendarRequest{})},
		{Name: "calendar-ready", Page: readyPage(base)},
		{Name: "calendar-making", Page: func() *web.ReadyPage {
			p := readyPage(base)
			p.Form, p.Making = nil, "3 of 11 briefs are made."
			return p
		}()},
		{Name: "calendar-nobody", Page: &web.ReadyPage{Base: base("Who is ready for Hill race"), Back: "/events/e1", Empty: web.Empty{Says: "Nobody can be looked at yet.", Path: "/riders", Link: "To the riders"},
			Absent: []string{"Bo Reed: rider:3: mass_kg: found 800; expected 20 to 250 kg"}}},
		{Name: "calendar-results", Page: resultsPage(base)},
		{Name: "calendar-results-wrong", Page: func() *web.RaceResultsPage {
			p := web.NewRaceResultsPage("/events/e1/results", galleryCourses, map[string]string{"me": "117"}, map[string]string{"file": `list.csv:3: time: found "1:70:00"; expected a time like 1:02:33.4, or seconds.`, "me": `nobody on the list is called or numbered "117"; expected a name or start number as it stands there.`})
			p.Base, p.Back = base("Results of Hill race"), "/events/e1"
			return p
		}()},
	}
}

func readyPage(base func(string) web.Base) *web.ReadyPage {
	p := &web.ReadyPage{Base: base("Who is ready for Hill race"), Back: "/events/e1", Says: "1 of 2 is ready.", Rows: []web.ReadyLine{
		{ReadyRow: service.ReadyRow{Rider: "Ada Moss", Ready: true, Checked: "checked on 2026-11-20", Evidence: "fine: critical power to ±3 %", Fan: "there is one", Brief: "made on 2026-11-30"}, Path: "/riders/r1", Rig: "The cellar"},
		{ReadyRow: service.ReadyRow{Rider: "Bo Reed", Checked: "never checked", Evidence: "thin: critical power to ±14 %", Fan: "not known", Brief: "none yet",
			Missing: []string{"The rig was never checked; a check takes half an hour.", "What this rider can hold is hardly known; a test of a few minutes narrows it most.", "There is no brief for this event yet."}}, Path: "/riders/r2", Rig: "The attic", Make: "/briefs/new?rider=r2&rig=g2&event=e1"}}}
	p.Ask("e1", 1, []web.Option{{Value: "k1", Label: "Two mills"}})
	return p
}

func resultsPage(base func(string) web.Base) *web.RaceResultsPage {
	p := web.NewRaceResultsPage("/events/e1/results", galleryCourses, nil, nil)
	p.Base, p.Back = base("Results of Hill race"), "/events/e1"
	p.AskRide([]web.Option{{Value: "x1", Label: "Bram Castelein, evening.fit, 1 December 2026"}})
	p.Sheets = []web.ResultsShown{web.NewResultsShown("x1", "2 December 2026", service.ResultsSheet{Category: "brisk", Field: service.FieldResult{Finishers: 22, Out: 3, Front: 7},
		Me: &service.MyResult{Sentence: "You came 11th of 22. You finished 42.0 s behind the front group of 7. You showed 3.21 W/kg, the median of those who show any is 3.26."},
		Demands: []service.CategoryAsked{{Category: "brisk", Results: 22, FinishS: service.Quartered{Results: 22, P10: 1850, Median: 1911, P90: 2040}, WPerKg: service.Quartered{Results: 20, Median: 3.26, Low95: 3.12, High95: 3.38}, Front: service.Quartered{Results: 7, Median: 3.49}},
			{Category: "steady", Results: 5, FinishS: service.Quartered{Results: 5, P10: 2100, Median: 2230, P90: 2400}, Thin: true}},
		Moments: []service.ResultMoment{{What: "the first five minutes", FromM: 0, ToM: 2600, Seconds: 300, Watts: 284, OfMean: 1.16, OfPossible: 0.98, Hardest: true}, {What: "climb 1", FromM: 2500, ToM: 3400, Gradient: 0.06, Seconds: 171, Watts: 301, OfMean: 1.23, OfPossible: 0.94}},
		Notes:   []string{"The list has a category \"steady\" that the event does not have."}})}
	return p
}
