package web

import (
	"fmt"
	"math"

	"chainline/course"
	"chainline/internal/form"
	"chainline/internal/render"
	"chainline/internal/ride"
	"chainline/session"
)

// RideStrip is what the strip of a ride is drawn from: shares along it, watts,
// metres; the page draws it. Shares of critical power choose the tint, as on
// the brief's strip.
type RideStrip struct {
	Kind     string            `json:"kind"`   // "course" or "session" or "free"
	Length   float64           `json:"length"` // m, or s
	Critical float64           `json:"cp"`
	Most     float64           `json:"most"` // W at the top
	Hill     [][2]float64      `json:"hill,omitempty"`
	Pieces   []RidePiece       `json:"pieces"`
	Trace    []ride.TracePoint `json:"trace"`
	Words    string            `json:"words"` // the same for whoever does not see it
	Plan     int               `json:"plan"`
	Per      float64           `json:"per"`  // m or s in a unit of the scale
	Unit     string            `json:"unit"` // of the scale
}

// In is the strip with its scale in somebody's units.
func (s RideStrip) In(u form.Units) RideStrip {
	switch {
	case s.Kind != "course":
		s.Per, s.Unit = 60, "min"
	case u == form.Imperial:
		s.Per, s.Unit = 1609.344, "mi"
	default:
		s.Per, s.Unit = 1000, "km"
	}
	return s
}

// Lines are the strip in words, piece by piece.
func (s RideStrip) Lines() []string {
	var out []string
	for _, p := range s.Pieces {
		at := fmt.Sprintf("%.1f to %.1f %s", p.From*s.Length/s.Per, p.To*s.Length/s.Per, s.Unit)
		if s.Kind != "course" {
			out = append(out, fmt.Sprintf("%s to %s: %s", rideTime(p.From*s.Length), rideTime(p.To*s.Length), p.Name))
			continue
		}
		out = append(out, fmt.Sprintf("%s: %s, %.0f W", at, p.Name, p.Watts))
	}
	return out
}

// RidePiece is one cue or step.
type RidePiece struct {
	From  float64 `json:"from"`
	To    float64 `json:"to"`
	Watts float64 `json:"watts"`
	End   float64 `json:"end"` // watts at its end
	Low   float64 `json:"low"`
	High  float64 `json:"high"`
	Tint  int     `json:"tint"` // step of the intensity scale
	Name  string  `json:"name"`
}

// NewRideStrip is the strip of a ride as it stands.
func NewRideStrip(s ride.Setup, trace []ride.TracePoint, plan int) RideStrip {
	out := RideStrip{Kind: "free", Critical: s.Rider.Balance.CriticalPower, Trace: trace, Plan: plan, Length: 1}
	switch {
	case s.Course != nil:
		alongCourse(&out, s.Course)
	case s.Session != nil:
		alongSession(&out, s.Session)
	}
	out.Most = out.Critical * 1.1
	for _, p := range out.Pieces {
		out.Most = math.Max(out.Most, 1.1*math.Max(p.High, math.Max(p.Watts, p.End)))
	}
	out.Most = math.Min(out.Most, 2.2*out.Critical)
	return out.In(form.Units(0))
}

// alongSteps is how much of a session's plan is behind after some seconds of a
// step: what was shortened or done again stands in its own step all the same.
func alongSteps(s *session.Scaled, step int, into, length float64) float64 {
	if step >= len(s.Legs) || s.PlanS <= 0 {
		return 1
	}
	l := s.Legs[step]
	if length <= 0 {
		length = math.Max(1, l.PlanS)
	}
	return (l.StartS + math.Min(1, into/length)*l.PlanS) / s.PlanS
}

func alongCourse(out *RideStrip, k *ride.Course) {
	out.Kind, out.Length = "course", k.Profile.Length()
	thin := course.Thin(k.Profile, 240)
	for i := range thin.Distance {
		out.Hill = append(out.Hill, [2]float64{thin.Distance[i] / out.Length, thin.Elevation[i]})
	}
	for _, c := range k.Cues {
		out.Pieces = append(out.Pieces, RidePiece{From: c.FromM / out.Length, To: c.ToM / out.Length, Watts: c.Watts, End: c.Watts,
			Low: c.Watts, High: c.Watts, Tint: render.Level(c.Watts / out.Critical), Name: c.Name})
	}
	out.Words = k.Name
}

func alongSession(out *RideStrip, s *session.Scaled) {
	out.Kind, out.Length = "session", math.Max(1, s.PlanS)
	for _, l := range s.Legs {
		out.Pieces = append(out.Pieces, RidePiece{From: l.StartS / out.Length, To: (l.StartS + l.PlanS) / out.Length, Watts: l.AimW, End: l.ToW,
			Low: l.LowW, High: l.HighW, Tint: render.Level(math.Max(l.AimW, l.ToW) / out.Critical), Name: l.Words})
	}
	out.Words = s.Session.Name
}
