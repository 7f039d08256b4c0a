package render

import "chainline/brief"

// newBriefJSON copies a brief key by key: the keys are a contract, the Go
// names are not. Lists are never null.
func newBriefJSON(b brief.Brief) briefJSON {
	return briefJSON{Schema: Schema, Title: b.Title, When: b.When, On: b.On, Kind: b.Kind, Made: b.Made,
		Rider: newRider(b.Rider), Rig: newRig(b.Rig), Road: newRoad(b.Road), Course: newCourse(b.Course),
		Plan: newPlan(b.Plan), Forecast: newForecast(b.Forecast), Room: newRoom(b.Room),
		WarmUp: newSteps(b.WarmUp.Steps), WarmUpBalance: num(b.WarmUp.BalanceAtGun), WarmUpLastHard: num(b.WarmUp.LastHardS),
		WarmUpTimeline: newTimeline(b.WarmUp.Timeline), WarmUpCoolDown: newSteps(b.WarmUp.CoolDown), WarmUpWhy: b.WarmUp.Why,
		Worth: newWorth(b.Worth), NextTest: newTest(b.NextTest), Warnings: list(b.Warnings), Cautions: list(b.Cautions)}
}

func list(s []string) []string { return append([]string{}, s...) }

func newRider(r brief.RiderSheet) riderJSON {
	out := riderJSON{Name: r.Name, Mass: num(r.Mass), HeartRateMax: num(r.HeartRateMax), HeartMaxFrom: r.HeartMaxFrom,
		Capacity: capacityJSON{newEstimate(r.CriticalPower), newEstimate(r.WPrime), newEstimate(r.MaxPower),
			newEstimate(r.Threshold), newEstimate(r.Fade)},
		CapacityExact: r.Exact, Model: r.Model, Evidence: []evidenceJSON{}, Next: r.Next}
	for _, e := range r.Evidence {
		out.Evidence = append(out.Evidence, evidenceJSON(e))
	}
	return out
}

func newRig(r brief.RigSheet) rigJSON {
	return rigJSON{Trainer: r.Trainer, Source: r.Source, Accuracy: num(r.Accuracy), Speaks: r.Speaks, Floor: num(r.FloorW),
		Ceiling: num(r.CeilingW), Room: r.Room, CurveFrom: r.CurveFrom, CurveSD: num(r.CurveSD)}
}

func newRoad(r brief.RoadSheet) roadJSON {
	return roadJSON{Name: r.Name, BikeMass: num(r.BikeMass), CdA: newEstimate(r.CdA), Crr: newEstimate(r.Crr),
		Efficiency: num(r.Efficiency), AirDensity: num(r.AirDensity), AirFrom: r.AirFrom, DescentCap: num(r.DescentCap),
		StartSpeed: num(r.StartSpeed), Bearings: r.Bearings, WheelDragArea: num(r.WheelDragArea),
		WheelInertia: num(r.WheelInertia), WheelRadius: num(r.WheelRadius)}
}

func newCourse(c brief.CourseSheet) courseJSON {
	out := courseJSON{Name: c.Name, Known: c.Known, Distance: num(c.Distance), Ascent: num(c.Ascent), RawAscent: num(c.RawAscent),
		Smoothing: c.Smoothing, Laps: c.Laps, Sections: c.Sections, Climbs: []climbJSON{}, Profile: newProfile(c.Profile),
		Plausible: []profileJSON{}}
	for _, u := range c.Climbs {
		out.Climbs = append(out.Climbs, climbJSON{num(u.Start), num(u.Length), num(u.Ascent), num(u.Mean), num(u.Steepest)})
	}
	for _, p := range c.Plausible {
		out.Plausible = append(out.Plausible, newProfile(p))
	}
	return out
}

func newPlan(p brief.PlanSheet) planJSON {
	out := planJSON{Style: p.Style, ChanceLimit: num(p.ChanceLimit), Recovery: p.Recovery, Reserve: num(p.Reserve),
		ForCP: num(p.ForCP), ForWPrime: num(p.ForWPrime), Cues: []cueJSON{}, Rules: []ruleJSON{}, Time: num(p.Time),
		OptimumTime: num(p.OptimumTime), EvenWatts: num(p.EvenWatts), EvenTime: num(p.EvenTime), RulesTime: num(p.RulesTime),
		BalanceMin: num(p.BalanceMin), MeanWatts: num(p.MeanWatts), Kept: num(p.Kept),
		Equivalent: num(p.EquivalentWatts), OfThreshold: num(p.ShareOfThreshold), Load: num(p.Load), Trace: []traceJSON{}}
	for _, c := range p.Cues {
		out.Cues = append(out.Cues, cueJSON{Number: c.Number, From: num(c.FromM), To: num(c.ToM), Start: num(c.StartS), Last: num(c.LastS),
			Watts: num(c.Watts), Name: c.Name, WPerKg: num(c.WPerKg), Share: num(c.Share), Wheel: num(c.WheelKmh),
			WheelLow: num(c.WheelLowKmh), WheelHigh: num(c.WheelHighKmh), Exertion: c.Exertion, Feel: c.Feel,
			HeartLow: num(c.HeartLow), HeartHigh: num(c.HeartHigh), Balance: num(c.BalanceEnd), Gear: c.Gear, Flag: c.Flag})
	}
	for _, r := range p.Rules {
		out.Rules = append(out.Rules, ruleJSON{From: num(r.FromGradient), To: num(r.ToGradient), Name: r.Name, Watts: num(r.Watts),
			WPerKg: num(r.WPerKg), Wheel: num(r.WheelKmh), WheelLow: num(r.WheelLowKmh), WheelHigh: num(r.WheelHighKmh),
			Exertion: r.Exertion, Feel: r.Feel, HeartLow: num(r.HeartLow), HeartHigh: num(r.HeartHigh), Share: num(r.ShareOfTime),
			Gear: r.Gear, Flag: r.Flag})
	}
	for _, t := range p.Trace {
		out.Trace = append(out.Trace, traceJSON{num(t.M), num(t.Elevation), num(t.Watts), num(t.OptimumWatts), num(t.Speed),
			num(t.Seconds), num(t.Balance)})
	}
	return out
}

func newForecast(f brief.ForecastSheet) forecastJSON {
	return forecastJSON{Draws: f.Draws, Seed: f.Seed, Median: num(f.Median), Low80: num(f.Low80), High80: num(f.High80),
		EvenMedian: num(f.EvenMedian), ChanceEmpty: num(f.ChanceEmpty), EmptyAt: num(f.EmptyAt), EmptyCue: f.EmptyCue, Alone: f.Alone, Rest: f.Rest,
		FiveWatts: num(f.FiveWatts), DragArea: num(f.DragArea), OneKg: num(f.OneKg)}
}
