package gallery

import (
	_ "embed" // a debrief of a ride on the simulated rig
	"encoding/json"

	"chainline/internal/form"
	"chainline/internal/service"
	"chainline/internal/web"
	"chainline/recording"
)

// debrief.json is what `chainline debrief --json` says of a ride of the
// simulated rig over the invented course, with answer and weighing.
//
//go:embed debrief.json
var debriefJSON []byte

// debriefSheet is a whole debrief; every call makes a new one.
func debriefSheet() service.DebriefSheet {
	var s service.DebriefSheet
	if err := json.Unmarshal(debriefJSON, &s); err != nil {
		panic(err) // a file of ours
	}
	return s
}

// debriefs are the states of the debrief of one ride.
func debriefs() []web.State {
	return []web.State{
		{Name: "debrief", Page: debriefPage(debriefSheet())},
		{Name: "debrief-no-plan", Page: noPlan()}, {Name: "debrief-nobody", Page: nobody()},
		{Name: "debrief-wrong", Page: debriefWrong()}, {Name: "debrief-cleaned", Page: cleaned()}, {Name: "debrief-shared", Page: shared2()},
	}
}

// debriefPage is a debrief with all that can be done on it.
func debriefPage(s service.DebriefSheet) *web.DebriefPage {
	p := web.NewDebriefPage(s, rideWatts(), form.Units(0))
	p.ID, p.Season = "r7", "/season/r1"
	p.AskHarder("/rides/r7/harder", s.Harder, nil)
	p.AskScales("/rides/r7/scales", form.Units(0), nil, nil)
	p.OfferShare("/rides/r7/share")
	p.Outs = []web.DebriefOut{{Path: "/rides/r7/file/fit", Name: "FIT activity"}, {Path: "/rides/r7/file/gpx", Name: "GPX"}, {Path: "/rides/r7/file/csv", Name: "Table (CSV)"}}
	return p
}

// rideWatts is the shape of a session: warm-up, four efforts, home.
func rideWatts() []float64 {
	var out []float64
	for i := range 240 {
		w := 150.0 + float64(i%7)
		if i < 40 {
			w = 100 + float64(i)
		} else if i%45 > 20 && i < 220 {
			w = 262 + float64(i%11)
		}
		out = append(out, w)
	}
	return out
}

func noPlan() *web.DebriefPage {
	s := debriefSheet()
	s.Debrief.Against, s.Debrief.Weighed, s.Harder, s.Debrief.Title, s.File = nil, nil, "", "", "evening.fit"
	return debriefPage(s)
}

// nobody is a ride of which it is not known whose it is.
func nobody() *web.DebriefPage {
	s := debriefSheet()
	d := &s.Debrief
	d.Against, d.Weighed, d.Learnt, d.Road, d.Measures.Domains, d.Measures.Balance = nil, nil, nil, nil, nil, nil
	d.Measures.ShareOfThreshold, s.Harder, s.Rider, d.Recovered = 0, "", "", true
	d.Measures.Unsaid = []string{"Load, domains and W′: cannot say, because nobody is named whose ride it is."}
	p := web.NewDebriefPage(s, rideWatts(), form.Units(0))
	p.ID = "r8"
	p.AskWhose("/rides/r8/whose", []web.Option{{Value: "r1", Label: "Ilse"}, {Value: "r2", Label: "Aoife"}}, []web.Option{{Value: "g1", Label: "Cool room"}}, nil, nil, nil, nil)
	p.OfferShare("/rides/r8/share")
	return p
}

func debriefWrong() *web.DebriefPage {
	s := debriefSheet()
	s.Harder, s.Debrief.Weighed = "", nil
	p := debriefPage(s)
	p.AskHarder("/rides/r7/harder", "", map[string]string{"harder": "Choose one of the three."})
	p.AskScales("/rides/r7/scales", form.Units(0), map[string]string{"before": "70.2", "after": "75", "drunk": "half"}, map[string]string{"after": "After the ride one weighs at most what was drunk more than before.", "drunk": "“half” is not a number; write litres, like 0.5."})
	return p
}

func cleaned() *web.DebriefPage {
	s := debriefSheet()
	s.Losses = []string{"The file ends in the middle of a message; all before it was read."}
	s.Changes = []recording.Change{
		{Kind: recording.Spike, Quantity: recording.Power, Source: "Crank meter", From: 600, To: 600, Was: []recording.Reading{{Seconds: 600, Value: 4000}}, Why: "4000 W between 152 and 155 W"},
		{Kind: recording.DropOut, Quantity: recording.Power, Source: "Crank meter", From: 1320, To: 1334, Was: make([]recording.Reading, 14), Why: "nothing for 14 s while the cranks turned"},
		{Kind: recording.Stopped, From: 1802, To: 1925, Why: "nothing was recorded for 123 s"}}
	p := debriefPage(s)
	for i := range p.Cleaning.Changes {
		p.Cleaning.Changes[i].Fixed, p.Cleaning.Changes[i].Back = false, i == 1
	}
	return p
}

// shared2 is a debrief out of somebody's share file.
func shared2() *web.DebriefPage {
	s := debriefSheet()
	s.Rider = ""
	p := web.NewDebriefPage(s, nil, form.Units(0))
	p.Shared = []string{"Opened from a share file made by version 0.7; left out of it on purpose: the name. Reckoned anew here it gives the same numbers. It is not kept."}
	return p
}
