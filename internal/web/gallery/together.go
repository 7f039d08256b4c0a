package gallery

import (
	"fmt"
	"time"

	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/store"
	"chainline/internal/web"
)

// A group of invented people, front to back on the hilly course.
func company(you int) ride.GroupSheet {
	s := ride.GroupSheet{Title: "Two mills, Thursday", Link: ride.LinkWell, GunSet: true, ClockS: 612, Shelter: 1, Extra: 1}
	for _, d := range []ride.GroupDot{
		{Name: "Bram", AtM: 3262, BehindS: 0}, {Name: "Tilde", AtM: 3240, BehindS: 3.1}, {Name: "Joos", AtM: 3206, BehindS: 8.2}, {Name: "Ilse", AtM: 3200, BehindS: 9.1},
		{Name: "Maren", AtM: 3121, BehindS: 21.4, Extra: true}, {Name: "Odd", AtM: 2480, BehindS: 118, State: ride.DotSilent, SilentS: 23}, {Name: "Wim", AtM: 2210, BehindS: 171, LateS: 130}} {
		d.Key, d.SpeedMS, d.Known = fmt.Sprint("k", len(s.Riders)), 6.8, true
		if d.State == "" {
			d.State = ride.DotRiding
		}
		s.Riders = append(s.Riders, d)
	}
	s.Riders = append(s.Riders, ride.GroupDot{Key: "k9", Name: "Sanne", AtM: 1830, State: ride.DotGone})
	if you >= 0 {
		seenBy(&s, you)
	}
	return s
}

// seenBy makes one of the riders 'you'.
func seenBy(s *ride.GroupSheet, you int) {
	at := s.Riders[you].BehindS
	s.Riders[you].You = true
	for i := range s.Riders {
		s.Riders[i].BehindS -= at
	}
}

// crowd is twelve riders within a few seconds, some with long names.
func crowd(you int) ride.GroupSheet {
	s := company(-1)
	s.Riders = nil
	names := []string{"Bram", "Tilde", "Joos", "Ilse", "Maren", "Odd", "Wim", "Sanne", "Anna-Wilhelmina van der Achterkamp", "Øyvind", "Bartholomew Featherstonehaugh", "Ko"}
	for i, n := range names {
		s.Riders = append(s.Riders, ride.GroupDot{Key: fmt.Sprint("k", i), Name: n, AtM: 3262 - 4.2*float64(i), BehindS: 0.6 * float64(i), Known: true, State: ride.DotRiding, SpeedMS: 7})
	}
	s.Keep = true
	if you >= 0 {
		seenBy(&s, you)
	}
	return s
}

func lined(s ride.GroupSheet) ride.GroupSheet {
	for i := range s.Riders {
		if s.Riders[i].State != ride.DotGone {
			s.Riders[i] = ride.GroupDot{Key: s.Riders[i].Key, Name: s.Riders[i].Name, You: s.Riders[i].You, State: ride.DotWaiting}
		}
	}
	return s
}

func togetherChoices() map[store.Kind][]web.Option {
	return map[store.Kind][]web.Option{store.Rider: {{Value: "r1", Label: "Ilse"}, {Value: "r2", Label: "Maren"}}, store.Rig: {{Value: "g1", Label: "Cool room"}},
		store.Course: {{Value: "c1", Label: "Two mills"}}, store.Road: {{Value: "d1", Label: "My bike"}}, store.Event: {{Value: "e1", Label: "Tuesday hill race"}}}
}

func hosted(s ride.GroupSheet, open bool) *web.TogetherPage {
	s.Host, s.Link = true, ride.LinkHere
	p := grouped("/together/m1", s, true)
	var in *live.Invited
	if open {
		in = &live.Invited{Address: "192.168.1.20:7743", Invitation: "QK7F-3ZPA-M2XD-6TRB-WY5N"}
	}
	p.Ask(in, []string{"192.168.1.20", "10.0.0.7", "127.0.0.1"}, live.StrengthMiddle)
	says := "riding"
	if s.ClockS <= 0 {
		says = "waiting"
	}
	p.Mine = []web.TogetherRider{{Name: "Ilse", Ride: "x1", Says: says, Brief: true}, {Name: "Maren", Ride: "x2", Says: says}}
	p.Add = web.NewTogetherAdd("/together/m1/ride", togetherChoices(), nil, nil)
	return p
}

func grouped(path string, s ride.GroupSheet, host bool) *web.TogetherPage {
	profile, _, _ := hilly()
	p := web.NewTogetherPage(path, s.Title, host)
	p.Canned, p.State = true, "canned"
	p.Show("Two mills", profile, s, 0)
	return p
}

func guest(s ride.GroupSheet) *web.TogetherPage {
	p := grouped("/join/m1", s, false)
	p.Add = web.NewTogetherAdd("/join/m1/ride", togetherChoices(), nil, nil)
	p.Add.Open = true
	return p
}

// clocked is a group before its gun.
func clocked(s ride.GroupSheet, set bool, clock float64) ride.GroupSheet {
	s.GunSet, s.ClockS = set, clock
	return s
}

// inGroup is the page of a ride in a group.
func inGroup(s ride.GroupSheet) *web.RidePage { return inStage(s, ride.Riding) }

func inStage(s ride.GroupSheet, stage ride.Stage) *web.RidePage {
	snap := riding(true)
	snap.Group, snap.Stage = &s, stage
	if snap.Notices = nil; stage == ride.Waiting {
		snap.ClockS, snap.GunInS = 0, -min(0, s.ClockS)
		snap.Course.Cue, snap.Course.Gradient = 0, 0
		snap.Now = ride.Instruction{Words: "Off the line", Watts: 330}
	}
	for _, p := range s.Phrases {
		snap.Notices = append(snap.Notices, ride.Notice{At: time.Unix(1, 0), Words: p.From + ": " + p.Words})
	}
	for _, r := range s.Riders {
		if r.You {
			snap.Course.AtM = r.AtM
		}
	}
	p := web.NewRidePage(set(true), snap, 0)
	_, _, trace := hilly()
	if stage == ride.Waiting {
		trace = nil
	}
	p.Draw(web.NewRideStrip(set(true), trace, 0))
	p.Group, p.Canned = "/together/m1", true
	return p
}

// togethers are the states of a live group course.
func togethers() []web.State {
	sheltered := company(3)
	sheltered.Shelter = 0.69
	sheltered.Phrases = []ride.GroupPhrase{{From: "Maren", Words: ride.Phrases[1], AgoS: 4}}
	helped := company(4)
	helped.Shelter, helped.Extra, helped.Keep, helped.Link = 1, 0.58, true, ride.LinkSlow
	silent := company(3)
	silent.Link, silent.SilentS = ride.LinkSilent, 22
	alone := company(3)
	alone.Riders, alone.Link, alone.SilentS = alone.Riders[3:4], ride.LinkSilent, 8
	home := company(0)
	for i := range 2 {
		home.Riders[i].State, home.Riders[i].AtM = ride.DotHome, 10000
	}
	waits, counts := clocked(lined(company(3)), false, 0), clocked(lined(company(3)), true, -12)
	long := crowd(9)
	long.Shelter = 0.58
	keeping := company(-1)
	keeping.Keep = true
	keeping.Phrases = []ride.GroupPhrase{{From: "Maren", Words: ride.Phrases[1], AgoS: 4}, {From: "Joos", Words: ride.Phrases[0], AgoS: 9}}
	nobody := ride.GroupSheet{Title: "Two mills, Thursday", Shelter: 1, Extra: 1}
	values := map[string]string{"course": "c1", "strength": live.StrengthMiddle}
	wrong := map[string]string{"course": "c1", "strength": live.StrengthHigh, "rider.0": "r1", "rig.0": "g1", "devices.0": "radio", "rider.1": "r2", "devices.1": "radio"}
	courses := []web.Option{{Value: "c1", Label: "Two mills"}}
	going := web.NewTogetherNewPage(togetherChoices(), courses, values, nil)
	going.Going = []web.TogetherLine{{Path: "/together/m1", Title: "Two mills, Thursday", Says: "hosted here, seven riders"}}
	visited := web.NewJoinPage(nil, nil)
	visited.Visited = []web.TogetherLine{{Path: "/join/m1", Title: "Two mills, Thursday", Says: "seven riders"}}
	over := guest(home)
	over.Ended, over.Add = true, nil
	sheet, err := web.BriefSheet(briefPage)
	if err != nil {
		panic(err) // a page of ours
	}
	return []web.State{
		{Name: "together-brief", Page: &web.RideBriefPage{Base: web.Base{Title: "Two mills: Ilse", Section: "/ride"}, Back: "/ride/x1", Sheet: sheet}},
		{Name: "together-new", Page: going},
		{Name: "together-new-wrong", Page: web.NewTogetherNewPage(togetherChoices(), courses, wrong, map[string]string{"devices.1": "ride 20261201-193000 has the radio; end it first"})},
		{Name: "together-new-empty", Page: web.NewTogetherNewPage(nil, nil, nil, nil)},
		{Name: "together-nobody", Page: hosted(nobody, false)}, {Name: "together-open", Page: hosted(clocked(lined(company(-1)), false, 0), true)},
		{Name: "together-counting", Page: hosted(clocked(lined(company(-1)), true, -12), true)},
		{Name: "together-riding", Page: hosted(company(-1), false)}, {Name: "together-keeping", Page: hosted(keeping, false)}, {Name: "together-crowd", Page: hosted(crowd(-1), false)},
		{Name: "join", Page: visited},
		{Name: "join-wrong", Page: web.NewJoinPage(map[string]string{"address": "192.168.1.20:7743", "invitation": "qk7f 3zpa m2xd"}, map[string]string{"invitation": "An invitation has 20 letters and digits; found 12."})},
		{Name: "join-guest", Page: guest(company(-1))}, {Name: "join-guest-waiting", Page: guest(clocked(lined(company(-1)), false, 0))},
		{Name: "join-ended", Page: over},
		{Name: "ride-group", Page: inGroup(sheltered)}, {Name: "ride-group-helped", Page: inGroup(helped)}, {Name: "ride-group-crowd", Page: inGroup(long)},
		{Name: "ride-group-silent", Page: inGroup(silent)}, {Name: "ride-group-alone", Page: inGroup(alone)}, {Name: "ride-group-front", Page: inGroup(home)},
		{Name: "ride-group-waiting", Page: inStage(waits, ride.Waiting)}, {Name: "ride-group-counting", Page: inStage(counts, ride.Waiting)},
	}
}
