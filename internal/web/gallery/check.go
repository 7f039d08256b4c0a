package gallery

import (
	"fmt"
	"math"
	"slices"
	"time"

	"chainline/internal/form"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
	"chainline/session"
)

// checks are the states of everything about the rig check.
func checks() []web.State {
	choices := map[store.Kind][]web.Option{store.Rider: {{Value: "r1", Label: "Ilse"}, {Value: "r2", Label: "Aoife"}}, store.Rig: {{Value: "g1", Label: "Cool room"}}}
	rides := []web.Option{{Value: "x2", Label: "Two mills, Ilse, 1 December 2026, 18:30"}}
	choose := web.NewCheckPage(choices, rides, map[string]string{"what": "ride", "devices": "bench"}, nil, form.Units(0))
	choose.Done = []web.CheckLine{{Path: "/check/k1", Title: "Cool room", When: "3 December 2026, 19:40", Says: "Crank meter: use corrected; Trainer: use as it is"},
		{Path: "/check/k2", Title: "Cool room", When: "2 September 2026, 18:12", Says: "what the watts are worth cannot be said"}}
	running := web.NewCheckPage(choices, rides, map[string]string{"what": "ride", "devices": "radio"}, nil, form.Units(0))
	running.Running = []web.RideLine{{ID: "x9", Title: "Rig check", For: "Ilse", Says: "riding"}}
	wrong := web.NewCheckPage(choices, rides, map[string]string{"what": "files", "devices": "radio", "wheel": "21", "host": "example.org",
		"climb-source": "Crank meter", "climb-measures": "crank", "climb-watts": "241", "climb-mass-kg": "84", "climb-ascent-m": "412", "climb-length-km": "5.6", "climb-time-s": "28", "climb-wind": "calm"},
		map[string]string{"first": "ride.zip: holds no recording; expected FIT, GPX, CSV, a recording of this program, or an archive of one", "wheel": "A wheel's circumference is 300 to 5000 mm; most are near 2100.",
			"host": "Write a name and a port, such as example.org:443, or leave it empty.", "climb-temperature-c": "A climb can be judged only with this. Leave all about the climb empty if there was none."}, form.Units(0))
	ended := &web.CheckRidePage{Base: web.Base{Title: "Rig check", Section: "/rigs"}, ID: "x9", Of: "Ilse", Ended: true}
	check := store.RigCheck{ID: "k1", Title: "Check of Cool room", RiderID: "r1", RigID: "g1"}
	applied := []store.Correction{{CheckID: "k1", Source: "Crank meter", Applied: time.Date(2026, 12, 3, 19, 52, 0, 0, time.UTC)}}
	back := []store.Correction{{CheckID: "k1", Source: "Crank meter", Applied: time.Date(2026, 12, 3, 19, 52, 0, 0, time.UTC), Taken: time.Date(2026, 12, 5, 8, 3, 0, 0, time.UTC)}}
	curveUsed := []store.Correction{{CheckID: "k1", Source: "power curve of the trainer", Applied: time.Date(2026, 12, 3, 19, 52, 0, 0, time.UTC)}}
	return []web.State{
		{Name: "check-choose", Page: choose}, {Name: "check-choose-running", Page: running}, {Name: "check-choose-wrong", Page: wrong}, {Name: "check-choose-empty", Page: web.NewCheckPage(nil, nil, map[string]string{"what": "ride"}, nil, form.Units(0))},
		{Name: "check-waiting", Page: guided(ride.Waiting, "easy")}, {Name: "check-zero", Page: guided(ride.Riding, "zero")}, {Name: "check-step", Page: guided(ride.Riding, "steps")},
		{Name: "check-cadence", Page: guided(ride.Paused, "cadences")}, {Name: "check-coast", Page: guided(ride.Riding, "coast-down")}, {Name: "check-ended", Page: ended},
		{Name: "check-report", Page: web.NewCheckReportPage(check, found(), nil)}, {Name: "check-report-applied", Page: web.NewCheckReportPage(check, found(), applied)},
		{Name: "check-report-taken-back", Page: web.NewCheckReportPage(check, found(), back)},
		{Name: "check-report-right", Page: web.NewCheckReportPage(check, right(), nil)}, {Name: "check-report-cannot-say", Page: web.NewCheckReportPage(check, unsaid(), nil)},
		{Name: "check-report-plain", Page: web.NewCheckReportPage(check, plain(), nil)},
		{Name: "check-report-curve-used", Page: web.NewCheckReportPage(check, plain(), curveUsed)},
	}
}

// guided is the guided page in the first leg of a part of the check.
func guided(stage ride.Stage, part string) *web.CheckRidePage {
	x, _ := session.Find(session.RigCheckID)
	scaled, _, err := session.Scale(x.Session(), session.View{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 14000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		panic(err) // a text of ours
	}
	s := set(false)
	s.Title, s.Session, s.ID = "Rig check", &scaled, "x9"
	leg := slices.Index(session.CheckParts(scaled.Legs), part)
	if part == "steps" {
		leg += 3 // between two that were ridden
	}
	l, before := scaled.Legs[leg], scaled.Legs[max(0, leg-1)]
	rpm, bpm := 86.0, 124.0
	snap := ride.Snapshot{ID: "x9", Stage: stage, Way: ride.Controlling, At: time.Unix(5000, 0), ClockS: l.StartS + 22,
		Now: ride.Instruction{Words: l.Words, Say: l.Say, Watts: l.AimW, CadenceLow: l.CadenceLow, CadenceHigh: l.CadenceHigh, InS: l.PlanS - 22},
		You: ride.You{Watts: l.AimW + 2, State: ride.Measured, Cadence: &rpm, Heart: &bpm}, Step: &ride.Progress{Index: leg, Of: len(scaled.Legs), IntoS: 22, LengthS: l.PlanS},
		Sensors: []ride.SensorSheet{{ID: "a", Name: "Crank meter", Health: "well", Offset: true}, {ID: "b", Name: "Trainer", Health: "well", SpinDown: true}, {ID: "c", Name: "Belt", Health: "well"}}}
	if leg+1 < len(scaled.Legs) {
		snap.Then = &ride.Instruction{Words: scaled.Legs[leg+1].Words}
	}
	guide := web.CheckGuide{Words: "Even for 12 of 18 s.", Share: 0.67}
	sources := []web.CheckSource{{Name: "Crank meter", Watts: l.AimW + 6, Words: fmt.Sprintf("%.0f", l.AimW+6)}, {Name: "Trainer", Watts: l.AimW - 1, Words: fmt.Sprintf("%.0f", l.AimW-1)}}
	switch {
	case stage == ride.Waiting:
		guide, sources = web.CheckGuide{}, nil
		snap.Found = []ride.SensorSheet{{ID: "a", Name: "Crank meter", Health: "heard"}, {ID: "b", Name: "Trainer", Health: "heard"}}
		snap.Sensors = nil
	case stage == ride.Paused:
		guide = web.CheckGuide{Words: "It goes on when you pedal.", Share: 0.4}
		sources[0].Words, sources[1].Words = "0", "–"
	case l.Kind == session.Off:
		guide = web.CheckGuide{Words: "Keep feet off; it goes on by itself, or when you say so.", Share: 0.67}
		sources[0].Words, sources[1].Words = "0", "0"
		if part == "coast-down" {
			guide.Words = "The wheel still runs, at 12 km/h."
		}
	}
	p := web.NewCheckRidePage(s, web.NewCheckView(s, snap, guide, sources, 0))
	p.Canned = true
	if stage != ride.Waiting {
		var tape []web.CheckMoment
		for i := range 110 {
			t := float64(i)
			asked := before.AimW
			if i > 76 {
				asked = l.AimW
			}
			w := asked
			if i > 76 {
				w += (before.AimW - l.AimW) * math.Exp(-(t-76)/2)
			}
			if w > 20 {
				w += 4*math.Sin(t/3) + 3*math.Sin(t/1.7)
			}
			tape = append(tape, web.CheckMoment{T: t, A: asked, W: []float64{max(0, 1.034*w+math.Min(2, w/20)*math.Sin(t*2.1)), w}})
		}
		p.Draw(tape)
	}
	return p
}

func sheetBase() service.CheckSheet {
	return service.CheckSheet{Schema: service.CheckSchema, Begun: time.Date(2026, 12, 3, 19, 5, 0, 0, time.UTC), Rider: "Ilse", Rig: "Cool room", From: []string{"the guided check"}, Guided: true,
		ThresholdW: 238, Minutes: 29.4, Warm: true}
}

// found is a report of a racer whose trainer and meter disagree.
func found() service.CheckSheet {
	s := sheetBase()
	s.Verdicts = []service.CheckVerdict{
		{Source: "Crank meter", Key: "aa/1818", Verdict: "use corrected", Sentence: "Use the watts of Crank meter corrected: uncorrected, the error at threshold is 3.6 % too high, give or take 1.5 (19 times in 20).",
			Error: &service.CheckValue{Mean: 0.036, Low: 0.021, High: 0.051, Unit: "fraction"}, ErrorSD: 0.0075, Because: "carried from the climb ridden outdoors on 4 October with the trainer's twin",
			Correction: &service.CheckCorrection{Gain: 1.031, OffsetW: 1.2, SD: 0.0075, From: "rig check of 3 December 2026"}},
		{Source: "Trainer", Key: "bb/1826", Verdict: "use as it is", Sentence: "Use the watts of Trainer as they are: the error at threshold is 0.3 % too low, give or take 1.2 (19 times in 20).",
			Error: &service.CheckValue{Mean: -0.003, Low: -0.015, High: 0.009, Unit: "fraction"}, ErrorSD: 0.006, Within2: 0.99}}
	var points, same, fit [][2]float64
	for i := range 120 {
		w := 105 + 80*math.Mod(float64(i)*0.618, 1)
		points = append(points, [2]float64{w, 1.031*w + 1.2 + 4*math.Sin(float64(i)*1.9)})
	}
	for _, w := range []float64{100, 190} {
		same, fit = append(same, [2]float64{w, w}), append(fit, [2]float64{w, 1.031*w + 1.2})
	}
	s.Findings = []service.CheckFinding{
		{Subject: "gain", Source: "Crank meter", Against: "Trainer", What: "Crank meter shows 3.1 % more than Trainer, beyond what the drivetrain between them loses.", Sure: 0.9994,
			Size: service.CheckValue{Mean: 0.031, Low: 0.019, High: 0.043, Unit: "fraction"}, Watts: &service.CheckValue{Mean: 8.6, Low: 5, High: 12.1, Unit: "W"},
			Do:       []string{"Set the meter's zero again and ride the check once more.", "Apply the correction below.", "Have the meter calibrated with a hung weight."},
			Readings: []string{"The drivetrain loses 2.4 ± 1 %, as published, and the meter is 3.1 % too high.", "The drivetrain loses more, being worn or dry, and the meter is less wrong."},
			Prior:    "drivetrain loss 2.4 ± 1 %", Plot: &service.CheckPlot{Title: "Both sources, second by second", X: "Trainer, W", Y: "Crank meter, W", Points: points, Lines: [][][2]float64{same, fit}, Names: []string{"the same", "as found"}}},
		{Subject: "lost samples", Source: "Crank meter", What: "4.8 % of the readings of Crank meter did not arrive.", Sure: 1, Size: service.CheckValue{Mean: 0.048, Low: 0.041, High: 0.056, Unit: "fraction"},
			Do: []string{"Switch off other radios in the room or move them away.", "Bring the receiver nearer.", "Change the battery."}, Plot: &service.CheckPlot{Title: "Gaps between readings", X: "time, min", Y: "gap, s",
				Points: [][2]float64{{2, 2}, {3.4, 3}, {7, 2}, {9.1, 2}, {12, 4}, {13, 2}, {17.2, 2}, {20, 3}, {24, 2}, {27, 2}}, Lines: [][][2]float64{{{0, 1}, {29, 1}}}, Names: []string{"as sent"}}},
		{Subject: "brake lag", Source: "Trainer", What: "The brake follows a command with a time constant of 3.1 s.", Sure: 0.998, Size: service.CheckValue{Mean: 3.1, Low: 2.7, High: 3.6, Unit: "s"},
			Do: []string{"Begin short efforts a little early: rides send targets ahead by what was measured."}},
	}
	s.Clear = []string{"delay", "smoothing", "stuck", "spikes", "warm-up drift", "cadence bias", "power bias", "quantisation", "heart locked", "noise", "dead time", "overshoot", "ignored commands", "interference", "power no cadence", "cadence no power", "impossible"}
	s.Unsaid = []service.CheckUnsaid{{Subjects: []string{"circumference", "tyre slip", "wrong wheel"}, Because: "no speed sensor was recorded"}, {Subjects: []string{"against history"}, Because: "there are only two earlier rides with heart rate on this source"},
		{Subjects: []string{"link"}, Because: "no host was named"}}
	s.Coasts = []service.CoastRow{{FromMS: 6, ToMS: 3, Seconds: 9.4}}
	return s
}

func right() service.CheckSheet {
	s := sheetBase()
	s.Verdicts = []service.CheckVerdict{{Source: "Trainer", Key: "bb/1826", Verdict: "use as it is", Sentence: "Use the watts of Trainer as they are: the error at threshold is 0.4 % too high, give or take 1.3 (19 times in 20).",
		Error: &service.CheckValue{Mean: 0.004, Low: -0.009, High: 0.017, Unit: "fraction"}, ErrorSD: 0.0066, Within2: 0.99, Because: "agrees with the crank meter that climbed outdoors"}}
	s.Clear = found().Clear
	s.Unsaid = []service.CheckUnsaid{{Subjects: []string{"link"}, Because: "no host was named"}}
	return s
}

func unsaid() service.CheckSheet {
	s := sheetBase()
	s.From, s.Guided, s.Minutes, s.Warm, s.ThresholdGuessed, s.ThresholdW = []string{"evening.fit", "evening.fit: byte 9120: the last 40 bytes are no FIT and are left out"}, false, 6.2, false, true, 200
	s.Verdicts = []service.CheckVerdict{{Source: "Hub meter", Verdict: "cannot say", Sentence: "What the watts of Hub meter are worth cannot be said, because the recording holds six minutes, all of them cold.", Because: "the recording holds six minutes, all of them cold"}}
	s.Unsaid = []service.CheckUnsaid{{Subjects: []string{"gain", "offset", "delay", "smoothing", "warm-up drift", "cadence bias", "power bias"}, Because: "only one source of watts was recorded"},
		{Subjects: []string{"brake lag", "dead time", "overshoot", "control error", "ignored commands", "brake limits"}, Because: "no brake was told anything in this recording"}, {Subjects: []string{"noise", "stuck", "spikes"}, Because: "six minutes are too short"}}
	return s
}

// plain is a newcomer's plain trainer with a speed sensor.
func plain() service.CheckSheet {
	s := sheetBase()
	s.Rider, s.Rig = "Aoife", "Spare room"
	s.Verdicts = []service.CheckVerdict{{Source: "wheel speed and curve", Key: "curve", Verdict: "do not use", Sentence: "Do not use the watts of wheel speed and curve: they rest on a curve that nobody measured.", Because: "they rest on a curve that nobody measured",
		Error: &service.CheckValue{Mean: 0, Low: -0.5, High: 0.5, Unit: "fraction"}, ErrorSD: 0.26}}
	s.Findings = []service.CheckFinding{{Subject: "circumference", Source: "Speed sensor", What: "The speed sensor is set to a wheel 3 % larger than the tape measured.", Sure: 1, Size: service.CheckValue{Mean: 0.031, Low: 0.026, High: 0.036, Unit: "fraction"},
		Do: []string{"Set the circumference to 2042 mm where the sensor is set up."}}}
	s.Clear = []string{"lost samples", "heart locked", "wrong wheel", "interference"}
	s.Curve, s.CurveSD = []service.CheckPoint{{WheelMS: 4, Watts: 61}, {WheelMS: 6, Watts: 104}, {WheelMS: 8, Watts: 163}}, 0.06
	s.Unsaid = []service.CheckUnsaid{{Subjects: []string{"gain", "offset"}, Because: "nothing measures watts on this rig"}}
	return s
}
