package web

import (
	"math"

	"chainline/brief"
	"chainline/course"
)

// cardCue and cardRule are cues and rules as the JSON of a brief has them:
// what the bar card says of them.
type cardCue struct {
	Number    int     `json:"number"`
	From      float64 `json:"from_m"`
	To        float64 `json:"to_m"`
	Start     float64 `json:"start_s"`
	Last      float64 `json:"last_s"`
	Watts     float64 `json:"watts"`
	Name      string  `json:"name"`
	WPerKg    float64 `json:"w_per_kg"`
	Share     float64 `json:"share_of_critical_power"`
	Wheel     float64 `json:"wheel_km_h"`
	WheelLow  float64 `json:"wheel_low80_km_h"`
	WheelHigh float64 `json:"wheel_high80_km_h"`
	Exertion  int     `json:"exertion"`
	Feel      string  `json:"feel"`
	Balance   float64 `json:"w_balance_end_j"`
	Gear      string  `json:"gear"`
	Flag      string  `json:"flag"`
}

type cardRule struct {
	From      *float64 `json:"from_gradient"` // null: an open end
	To        *float64 `json:"to_gradient"`
	Name      string   `json:"name"`
	Watts     float64  `json:"watts"`
	WPerKg    float64  `json:"w_per_kg"`
	Wheel     float64  `json:"wheel_km_h"`
	WheelLow  float64  `json:"wheel_low80_km_h"`
	WheelHigh float64  `json:"wheel_high80_km_h"`
	Exertion  int      `json:"exertion"`
	Feel      string   `json:"feel"`
	Share     float64  `json:"share_of_time"`
	Gear      string   `json:"gear"`
	Flag      string   `json:"flag"`
}

// forCard is as much of the brief as its bar card shows, read back from the
// kept result: the card of a brief is that of the day it was made.
func (k briefKept) forCard() brief.Brief {
	b := brief.Brief{Title: k.Title}
	b.Rig.Speaks = k.Rig.Speaks
	b.Rider.CriticalPower.Mean = k.Rider.Capacity.CriticalPower.Mean
	b.Course.Name = k.Course.Name
	b.Course.Profile = course.Profile{Distance: k.Course.Profile.Distance, Elevation: k.Course.Profile.Elevation}
	for _, c := range k.Course.Climbs {
		b.Course.Climbs = append(b.Course.Climbs, course.Climb{Start: c.Start, Length: c.Length, Ascent: c.Ascent, Mean: c.Mean, Steepest: c.Steepest})
	}
	f := k.Forecast
	b.Forecast = brief.ForecastSheet{Draws: f.Draws, Median: f.Median, Low80: f.Low80, High80: f.High80, ChanceEmpty: f.Chance}
	b.Plan.Time, b.Plan.ForCP = k.Plan.Time, k.Plan.ForCP
	for _, c := range k.Plan.Cues {
		b.Plan.Cues = append(b.Plan.Cues, brief.Cue{Number: c.Number, FromM: c.From, ToM: c.To, StartS: c.Start, LastS: c.Last, Watts: c.Watts,
			Name: c.Name, WPerKg: c.WPerKg, Share: c.Share, WheelKmh: c.Wheel, WheelLowKmh: c.WheelLow, WheelHighKmh: c.WheelHigh,
			Exertion: c.Exertion, Feel: c.Feel, BalanceEnd: c.Balance, Gear: c.Gear, Flag: c.Flag})
	}
	for _, r := range k.Plan.Rules {
		rule := brief.Rule{FromGradient: math.Inf(-1), ToGradient: math.Inf(1), Name: r.Name, Watts: r.Watts, WPerKg: r.WPerKg, WheelKmh: r.Wheel,
			WheelLowKmh: r.WheelLow, WheelHighKmh: r.WheelHigh, Exertion: r.Exertion, Feel: r.Feel, ShareOfTime: r.Share, Gear: r.Gear, Flag: r.Flag}
		if r.From != nil {
			rule.FromGradient = *r.From
		}
		if r.To != nil {
			rule.ToGradient = *r.To
		}
		b.Plan.Rules = append(b.Plan.Rules, rule)
	}
	return b
}
