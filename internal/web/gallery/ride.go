package gallery

import (
	"math"
	"time"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/internal/store"
	"chainline/internal/web"
	"chainline/recording"
	"chainline/session"
)

// rides are the states of everything about riding.
func rides() []web.State {
	choices := map[store.Kind][]web.Option{store.Rider: {{Value: "r1", Label: "Ilse"}}, store.Rig: {{Value: "g1", Label: "Cool room"}}, store.Course: {{Value: "c1", Label: "Two mills"}},
		store.Road: {{Value: "d1", Label: "My bike"}}}
	choose := web.NewRideChoosePage(choices, map[string]string{"what": "session", "devices": "radio", "session": "threshold-twice"}, nil)
	view := session.View{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 14000, MaxPowerW: 900, HoldsPower: true}
	choose.Library(map[string]string{"what": "session", "session": "threshold-twice"}, &view, capacity.Screened{}, nil)
	choose.Preview = previewed("threshold-twice", view)
	choose.Left = []web.RideLine{{ID: "x1", Title: "Steady", For: "Ilse", When: "2 December 2026, 19:04", Clock: "19:04", Says: "24:10, 260 kJ, 179 W on average"}}
	choose.Done = []web.RideLine{{ID: "x2", Title: "Two mills", For: "Ilse", When: "1 December 2026, 18:30", Says: "46:32, 642 kJ, 230 W on average", Files: [][2]string{{"fit", "FIT activity"}, {"csv", "Table, a row a second (CSV)"}, {"recording", "Everything that was measured"}}}}
	choose.Together = []web.TogetherLine{{Path: "/together/m1", Title: "Two mills, Thursday", Says: "hosted here, seven riders"}}
	choose.Running = []web.RideLine{{ID: "x3", Title: "Openers", For: "Ilse", Says: "riding"}}
	wrong := web.NewRideChoosePage(choices, map[string]string{"what": "own", "own": "ride fast", "devices": "radio"}, map[string]string{"own": "line 1, column 6: expected how long, such as 5 min"})
	wrong.Preview = &web.RidePreview{For: "Ilse on Cool room", Wrong: "Line 1, column 6: expected how long, such as 5 min."}
	course := web.NewRideChoosePage(choices, map[string]string{"what": "course", "devices": "radio", "way": "listening"}, nil)
	course.Preview = &web.RidePreview{For: "Ilse on Cool room", Course: "Two mills", Brief: "/briefs/b1", BriefOf: "1 December 2026", Way: "Sensors are read, and nothing is ever written to a trainer, since another program may hold it."}
	empty := web.NewRideChoosePage(nil, nil, nil)
	sum := web.NewRidePage(set(true), ride.Snapshot{}, 0)
	sum.Sum = web.NewRideSum(live.Summary{Missing: []string{"12 bytes at 400: no record"}, Totals: recording.Totals{Moving: 2792, WorkJ: 642000, MeanW: 230, DistanceM: 24000, MeanHeart: 160, MeanCadence: 88}})
	sum.Sum.Files = [][2]string{{"fit", "FIT activity"}, {"csv", "Table, a row a second (CSV)"}}
	sum.V.Stage = "ended"
	group := &web.GroupPage{Base: web.Base{Title: "Half minutes", Section: "/ride"}, ID: "x1", Riders: web.NewGroupLines([]live.GroupRider{
		{ID: "x1", Name: "Ilse", Stage: ride.Riding, Watts: 241, Target: 240, Words: "on target", Step: 2, IntoS: 74},
		{ID: "x2", Name: "Bram", Stage: ride.Riding, Watts: 171, Target: 205, Off: -34, Words: "34 W below", Step: 2, IntoS: 74, Lost: []string{"crank meter"}}})}
	all := []web.State{
		{Name: "ride-choose", Page: choose}, {Name: "ride-choose-wrong", Page: wrong}, {Name: "ride-choose-course", Page: course}, {Name: "ride-choose-empty", Page: empty},
		{Name: "ride-waiting", Page: waiting()}, {Name: "ride-course", Page: onCourse()},
		{Name: "ride-session", Page: ridden(web.NewRidePage(set(false), riding(false), 0))}, {Name: "ride-paused", Page: at(ride.Paused)},
		{Name: "ride-counting", Page: counting()}, {Name: "ride-lost", Page: lost()}, {Name: "ride-free", Page: free()}, {Name: "ride-stop", Page: stopped()}, {Name: "ride-listening", Page: listening()}, {Name: "ride-ended", Page: sum},
		{Name: "group-new", Page: web.NewGroupNewPage(choices, map[string]string{"session": "tempo"}, map[string]string{"rider.0": "Choose at least one rider."})},
		{Name: "group-new-empty", Page: web.NewGroupNewPage(nil, nil, nil)}, {Name: "group", Page: group},
	}
	for _, st := range all {
		if p, ok := st.Page.(*web.RidePage); ok {
			p.Canned = true
		}
	}
	return all
}

func previewed(id string, view session.View) *web.RidePreview {
	x, _ := session.Find(id)
	card, scaled := web.NewRideCard(x.Session(), &view, capacity.Screened{})
	v := &web.RidePreview{For: "Ilse on Cool room", Card: &card, Way: "The program sets the brake to what is asked, and you pedal."}
	for _, l := range scaled.Legs {
		v.Steps = append(v.Steps, l.Words)
	}
	return v
}

// hilly is the invented course of the pictures, half of it ridden.
func hilly() (course.Profile, []ride.Cue, []ride.TracePoint) {
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{20}}
	for i, g := range []float64{0, 0, 0.01, 0.04, 0.06, 0.07, 0.05, 0.01, -0.05, -0.06, -0.04, 0, 0.01, 0.05, 0.06, 0.02, -0.06, -0.04, 0, 0.03} {
		p.Distance = append(p.Distance, p.Distance[i]+500)
		p.Elevation = append(p.Elevation, p.Elevation[i]+500*g)
	}
	cues := []ride.Cue{{ToM: 300, Watts: 330, Name: "Off the line"}, {FromM: 300, ToM: 1500, Watts: 240, Name: "Settle in"}, {FromM: 1500, ToM: 3500, Watts: 305, Name: "Climb 1"},
		{FromM: 3500, ToM: 4200, Watts: 245, Name: "Over the top"}, {FromM: 4200, ToM: 5600, Watts: 60, Name: "Down"}, {FromM: 5600, ToM: 6500, Watts: 240, Name: "Along"},
		{FromM: 6500, ToM: 7900, Watts: 345, Name: "Climb 2"}, {FromM: 7900, ToM: 9000, Watts: 120, Name: "Down"}, {FromM: 9000, ToM: 10000, Watts: 330, Name: "Home"}}
	var trace []ride.TracePoint
	for x := 0.0; x <= 3200; x += 40 {
		w := 240.0
		switch {
		case x < 300:
			w = 332
		case x > 1500:
			w = 306
		}
		trace = append(trace, ride.TracePoint{AtM: x, ClockS: x / 7, Watts: w + 9*math.Sin(x/37) + 5*math.Sin(x/11)})
	}
	return p, cues, trace
}

func set(onCourse bool) ride.Setup {
	s := ride.Setup{ID: "x1", Title: "Two mills", Way: ride.Controlling, Rider: ride.Rider{Name: "Ilse", Mass: 61.5, Balance: capacity.Balance{CriticalPower: 250, WPrime: 14000}}}
	if onCourse {
		profile, cues, _ := hilly()
		s.Course = &ride.Course{Name: "Two mills", Advance: ride.ByPosition, Profile: profile, Cues: cues}
		return s
	}
	plan, err := session.Parse("warm up 10 min from 45 to 70 % of threshold\nfive times:\n  ride 4 min at 105 % of threshold\n  easy 2 min\nend\ncool down 8 min from 60 to 40 % of threshold\n")
	if err != nil {
		panic(err) // a text of ours
	}
	scaled, _, err := session.Scale(plan, session.View{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 14000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		panic(err)
	}
	s.Title, s.Session = "Five times four", &scaled
	return s
}

func onCourse() *web.RidePage {
	p := web.NewRidePage(set(true), riding(true), 0)
	_, _, trace := hilly()
	p.Draw(web.NewRideStrip(set(true), trace, 0))
	return p
}

func riding(onCourse bool) ride.Snapshot {
	rpm, bpm := 84.0, 171.0
	s := ride.Snapshot{ID: "x1", Stage: ride.Riding, Way: ride.Controlling, At: time.Unix(5, 0), ClockS: 612, Now: ride.Instruction{Words: "Climb 1", Watts: 305, LowW: 295, HighW: 315, InS: 51},
		Then: &ride.Instruction{Words: "Over the top", Watts: 245, InS: 51}, You: ride.You{Watts: 312, State: ride.Measured, WPerKg: 4.6, Cadence: &rpm, Heart: &bpm},
		Left: ride.LeftSheet{Share: 0.41, LastS: 100, Words: "lasts 1:40 at this effort"}, Sensors: []ride.SensorSheet{{ID: "a", Name: "crank meter", Health: "well", Words: "Watts and cadence come from crank meter.", Battery: "82 %"}},
		Notices: []ride.Notice{{At: time.Unix(1, 0), Words: "Drink: a few mouthfuls, 150 ml. To thirst if you feel full."}}}
	if onCourse {
		s.Course = &ride.Place{AtM: 3200, LengthM: 10000, Gradient: 0.045, FinishS: 1500, Low80: 1450, High80: 1560, ChanceEmpty: 0.11, Advance: ride.ByPosition, Cue: 2,
			Affordable: "Ten watts more to the top would leave a tenth."}
	} else {
		s.Step = &ride.Progress{Index: 3, Of: 12, Turns: "2 of 5", IntoS: 100, LengthS: 240}
		s.ClockS, s.LeftS = 1060, 1820
		s.Now = ride.Instruction{Words: "Ride at 105 % of threshold", Watts: 252, LowW: 244, HighW: 260, InS: 140, CadenceLow: 85, CadenceHigh: 95}
		s.Then = &ride.Instruction{Words: "Easy", Watts: 125, InS: 140}
		s.You.Watts, s.You.WPerKg = 236, 3.8
	}
	return s
}

func at(stage ride.Stage) *web.RidePage {
	s := riding(false)
	s.Stage, s.PausedBy = stage, "rider"
	s.Left.Words = "41 % left for hard efforts"
	return ridden(web.NewRidePage(set(false), s, 0))
}

// ridden puts what was ridden so far on a session's strip.
func ridden(p *web.RidePage) *web.RidePage {
	var trace []ride.TracePoint
	x := set(false)
	for i, l := range x.Session.Legs[:4] {
		for t := 0.0; t < l.PlanS && (i < 3 || t < 100); t += 5 {
			trace = append(trace, ride.TracePoint{ClockS: l.StartS + t, Step: i, IntoS: t, Watts: l.WattsAt(t/l.PlanS) - 30*math.Exp(-t/8) + 4*math.Sin(t/13)})
		}
	}
	p.Draw(web.NewRideStrip(x, trace, 0))
	return p
}

func waiting() *web.RidePage {
	s := riding(true)
	s.Stage, s.ClockS, s.Notices = ride.Waiting, 0, nil
	s.Course.AtM, s.Course.Cue, s.Course.Gradient = 0, 0, 0
	s.Now = ride.Instruction{Words: "Off the line", Watts: 330}
	s.Found = []ride.SensorSheet{{ID: "f", Name: "speed sensor", Health: "heard"}}
	s.Sensors[0].Offset = true
	s.Brake = "The brake has not been told anything yet."
	s.Sensors = append(s.Sensors, ride.SensorSheet{ID: "b", Name: "heart belt", Health: "looking", Words: "heart belt is not connected."})
	p := web.NewRidePage(set(true), s, 0)
	p.Step = &web.RideTry{Kind: "2", Tried: "3", Do: "See that the trainer has current, and spin the cranks for ten to fifteen seconds.", Why: "Many trainers sleep until their flywheel turns."}
	p.Cautions = []string{"A hard effort. Not for anyone with chest pain, faintness or fever."}
	return p
}

func stopped() *web.RidePage {
	s := riding(true)
	s.Stop = "The trainer does not hear us. Stop pedalling and shift down."
	s.Sensors = append(s.Sensors, ride.SensorSheet{ID: "t", Name: "trainer", Health: "lost", Words: "trainer is lost."})
	s.You.State = ride.Coasting
	return web.NewRidePage(set(true), s, 0)
}

func counting() *web.RidePage {
	s := riding(false)
	s.Stage, s.ClockS, s.GunInS, s.Notices = ride.Waiting, 0, 12, nil
	s.Now = ride.Instruction{Words: "Warm up from 108 to 168 W", Watts: 108}
	s.Step = &ride.Progress{Of: 12}
	x := set(false)
	x.WaitForKey = true
	p := web.NewRidePage(x, s, 0)
	p.Group = "x1"
	return p
}

func lost() *web.RidePage {
	s := riding(false)
	s.Sensors = append(s.Sensors, ride.SensorSheet{ID: "h", Name: "heart belt", Health: "lost", Words: "heart belt is lost."})
	s.You.Heart = nil
	s.Notices = append(s.Notices, ride.Notice{At: time.Unix(4, 0), Words: "heart belt is lost.", Urgent: true})
	return ridden(web.NewRidePage(set(false), s, 0))
}

func free() *web.RidePage {
	x, s := set(false), riding(false)
	x.Title, x.Session, x.Way, s.Way = "Free riding", nil, ride.Showing, ride.Showing
	wheel := 8.2
	s.Step, s.Then, s.Now, s.You.WheelMS = nil, nil, ride.Instruction{Words: "Ride as you like"}, &wheel
	return web.NewRidePage(x, s, 0)
}

func listening() *web.RidePage {
	x, s := set(true), riding(true)
	x.Way, s.Way, x.Course.Advance = ride.Listening, ride.Listening, ride.ByDistance
	s.Said = "smooth circles"
	return web.NewRidePage(x, s, 0)
}
