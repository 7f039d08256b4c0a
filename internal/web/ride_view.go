package web

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/ride"
)

// RideView is one instant of a ride in words and numbers as they are shown:
// the page is written from it, and the same is sent to it while it is open.
type RideView struct {
	Stage string `json:"stage"` // waiting, riding, paused, ending, ended
	Seq   uint64 `json:"seq"`
	Clock string `json:"clock"`

	Now   string  `json:"now"`   // "First climb, hold"
	Big   string  `json:"big"`   // "305"
	Unit  string  `json:"unit"`  // "W"
	Extra string  `json:"extra"` // cadence, gear, heart or feel asked for
	Still string  `json:"still"` // "still", or what ends it
	Time  string  `json:"time"`  // how long still, 0:51
	InS   float64 `json:"in_s"`  // until the next step or cue; 0 unknown

	ThenLabel string `json:"then_label"` // "then"
	ThenBig   string `json:"then_big"`
	ThenUnit  string `json:"then_unit"`
	Then      string `json:"then"` // "over the top, in 0:51"

	You       string `json:"you"` // watts, or what is known instead
	YouUnit   string `json:"you_unit"`
	PerKg     string `json:"per_kg"`
	Source    string `json:"source"` // whose watts count
	Cadence   string `json:"cadence"`
	Heart     string `json:"heart"`
	Speed     string `json:"speed"` // wheel speed of a plain trainer, else empty
	SpeedUnit string `json:"speed_unit"`

	Gauge *RideGauge `json:"gauge"` // nil where nothing is to be held
	Off   string     `json:"off"`   // the same in words
	Left  float64    `json:"left"`  // share
	Lasts string     `json:"lasts"`

	Place  string  `json:"place"` // on the course or in the session
	Finish string  `json:"finish"`
	At     float64 `json:"at"` // along the strip, share
	Afford string  `json:"afford"`

	Found   []RideSensor `json:"found"`
	Sensors []RideSensor `json:"sensors"`
	Quiet   string       `json:"quiet"` // all sensors in a few words
	Trouble string       `json:"trouble"`
	Brake   string       `json:"brake"`
	Stop    string       `json:"stop"`
	Said    string       `json:"said"`
	Notices []RideNotice `json:"notices"`
	Plan    int          `json:"plan"`
	Cue     int          `json:"cue"`

	Company *Company `json:"company"` // of a live group; nil alone
}

// RideGauge is where the rider is on a line, and between where the cue is
// kept; shares of the line.
type RideGauge struct {
	You  float64 `json:"you"`
	Low  float64 `json:"low"`
	High float64 `json:"high"`
}

// JSON is the gauge for the first paint.
func (g *RideGauge) JSON() string {
	b, err := json.Marshal(g)
	if err != nil {
		return ""
	}
	return string(b)
}

// Counting is whether a countdown runs before the start.
func (v RideView) Counting() bool { return v.Stage == string(ride.Waiting) && v.Big != "" }

// In is whether the ride is in one of some stages, for what is shown only then.
func (v RideView) In(stages ...string) bool { return slices.Contains(stages, v.Stage) }

// RideSensor is one device in a line.
type RideSensor struct {
	ID     string `json:"id"`
	Name   string `json:"name"`
	Health string `json:"health"`
	Words  string `json:"words"`
	Offset bool   `json:"offset"` // its zero can be set
	Spin   bool   `json:"spin"`   // it can be spun down
}

// RideNotice is something to be said once.
type RideNotice struct {
	ID     string `json:"id"`
	Words  string `json:"words"`
	Urgent bool   `json:"urgent"`
}

// NewRideView puts a snapshot of a ride into words.
func NewRideView(set ride.Setup, s ride.Snapshot, u form.Units) RideView {
	v := RideView{Stage: string(s.Stage), Seq: s.Sequence, Clock: rideClock(set, s), Brake: s.Brake, Stop: s.Stop, Said: s.Said, Plan: s.Plan,
		Left: s.Left.Share, Lasts: s.Left.Words}
	rideDo(&v, s)
	v.wheelIn(u)
	rideYou(&v, s, u)
	v.Gauge, v.Off = rideGauge(s)
	ridePlace(&v, s, u)
	if set.Session != nil && s.Step != nil {
		v.At = alongSteps(set.Session, s.Step.Index, s.Step.IntoS, s.Step.LengthS)
	}
	rideSensors(&v, s)
	rideCompany(&v, set, s, u)
	for _, n := range s.Notices {
		if s.At.Sub(n.At) > noticeFor {
			continue
		}
		v.Notices = append(v.Notices, RideNotice{fmt.Sprintf("%d-%.20s", n.At.UnixMilli(), n.Words), n.Words, n.Urgent})
	}
	return v
}

// rideCompany is the live group a ride is in, and what others said in it.
func rideCompany(v *RideView, set ride.Setup, s ride.Snapshot, u form.Units) {
	if s.Group == nil || set.Course == nil {
		return
	}
	v.Company = NewCompany(*s.Group, set.Course.Profile.Length(), u)
}

// noticeFor is how long a notice stands. Our judgement.
const noticeFor = 40 * time.Second

func rideTime(seconds float64) string {
	s := int(math.Max(0, math.Round(seconds)))
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}

func rideClock(set ride.Setup, s ride.Snapshot) string {
	switch {
	case s.Stage == ride.Waiting && s.GunInS > 0:
		return "begins in " + rideTime(s.GunInS)
	case s.Stage == ride.Waiting && s.Group != nil && s.Group.GunSet:
		return "begins when you pedal: the gun has gone"
	case s.Stage == ride.Waiting && s.Group != nil:
		return "begins with the host's gun"
	case s.Stage == ride.Waiting && set.WaitForKey:
		return "begins when Start is pressed"
	case s.Stage == ride.Waiting:
		return "begins when you pedal"
	case s.Stage == ride.Paused:
		return "paused at " + rideTime(s.ClockS)
	case s.Stage == ride.Ending:
		return "the files are being made"
	}
	return rideTime(s.ClockS)
}

// rideDo is what to do now, how long still, and what comes next.
func rideDo(v *RideView, s ride.Snapshot) {
	v.ThenLabel = "then"
	if s.Stage == ride.Waiting {
		v.ThenLabel = "it begins with"
	}
	switch {
	case s.Stage == ride.Waiting && s.GunInS > 0:
		v.Now, v.Big = "Begins in", rideTime(math.Ceil(s.GunInS))
		v.Then, v.ThenBig, v.ThenUnit, _ = rideAsk(s.Now, s.Way)
		v.InS = s.GunInS
		return
	case s.Stage == ride.Waiting:
		v.Then, v.ThenBig, v.ThenUnit, _ = rideAsk(s.Now, s.Way)
		return
	}
	v.Now, v.Big, v.Unit, v.Extra = rideAsk(s.Now, s.Way)
	v.Still, v.Time = rideStill(s.Now)
	if s.Now.Say != "" {
		v.Extra = strings.TrimSpace(s.Now.Say + " " + v.Extra)
	}
	if t := s.Then; t != nil {
		v.Then, v.ThenBig, v.ThenUnit, _ = rideAsk(*t, s.Way)
		if t.InS > 0 {
			v.Then += ", in " + rideTime(t.InS)
			v.InS = t.InS
		}
	}
}

// rideAsk is what to hold, as one big number where there is one.
func rideAsk(n ride.Instruction, way ride.Way) (words, big, unit, extra string) {
	words = n.Words
	var more []string
	switch {
	case n.WheelKmh > 0 && way == ride.Showing:
		big, unit = fmt.Sprintf("%.1f", n.WheelKmh), "km/h at the wheel"
		more = append(more, fmt.Sprintf("about %.0f W", n.Watts))
	case n.HeartLow > 0 && n.Watts == 0:
		big, unit = fmt.Sprintf("%.0f–%.0f", n.HeartLow, n.HeartHigh), "heart"
	case n.Watts > 0:
		big, unit = fmt.Sprintf("%.0f", n.Watts), "W"
	}
	if n.Gear != "" {
		more = append(more, n.Gear)
	}
	if n.CadenceLow > 0 {
		more = append(more, fmt.Sprintf("%.0f to %.0f rpm", n.CadenceLow, n.CadenceHigh))
	}
	if big == "" && n.Feel != "" {
		more = append(more, n.Feel)
	}
	return words, big, unit, strings.Join(more, ", ")
}

func rideStill(n ride.Instruction) (words, time string) {
	switch {
	case n.InS > 0 && n.Ends != "":
		return n.Ends + ", at most", rideTime(n.InS)
	case n.InS > 0:
		return "still", rideTime(n.InS)
	}
	return n.Ends, ""
}

func rideYou(v *RideView, s ride.Snapshot, u form.Units) {
	switch s.You.State {
	case ride.Measured, ride.Carried:
		v.You, v.YouUnit = fmt.Sprintf("%.0f", s.You.Watts), "W"
		v.PerKg = fmt.Sprintf("%.1f W/kg", s.You.WPerKg)
	case ride.Coasting:
		v.You, v.PerKg = "–", "no watts heard"
	default:
		v.You, v.PerKg = "–", "no watts yet"
	}
	v.Source = s.You.Source
	v.Cadence, v.Heart = "–", "–"
	if s.You.Cadence != nil {
		v.Cadence = fmt.Sprintf("%.0f", *s.You.Cadence)
	}
	if s.You.Heart != nil {
		v.Heart = fmt.Sprintf("%.0f", *s.You.Heart)
	}
	if s.You.WheelMS != nil && s.Way == ride.Showing {
		v.Speed, v.SpeedUnit = fmt.Sprintf("%.1f", 3.6**s.You.WheelMS), "km/h"
		if u == form.Imperial {
			v.Speed, v.SpeedUnit = fmt.Sprintf("%.1f", *s.You.WheelMS/0.44704), "mph"
		}
	}
}

// rideGauge is nil where there is nothing to hold.
func rideGauge(s ride.Snapshot) (g *RideGauge, words string) {
	if s.Stage != ride.Riding || s.Now.Watts == 0 || s.Now.HighW <= s.Now.LowW || s.You.State != ride.Measured && s.You.State != ride.Carried {
		return nil, ""
	}
	span := math.Max(80, 4*(s.Now.HighW-s.Now.LowW))
	at := func(w float64) float64 { return math.Max(0, math.Min(1, 0.5+(w-s.Now.Watts)/span)) }
	g = &RideGauge{You: at(s.You.Watts), Low: at(s.Now.LowW), High: at(s.Now.HighW)}
	switch off := s.You.Watts - s.Now.Watts; {
	case s.You.Watts < s.Now.LowW:
		return g, fmt.Sprintf("%.0f W below", -off)
	case s.You.Watts > s.Now.HighW:
		return g, fmt.Sprintf("%.0f W above", off)
	}
	return g, "as asked"
}

func ridePlace(v *RideView, s ride.Snapshot, u form.Units) {
	if c := s.Course; c != nil {
		unit, per := "km", 1000.0
		if u == form.Imperial {
			unit, per = "mi", 1609.344
		}
		v.Place = fmt.Sprintf("%.1f of %.1f %s, %+.1f %%", c.AtM/per, c.LengthM/per, unit, 100*c.Gradient)
		v.Finish = "finish at " + rideTime(c.FinishS)
		if c.High80 > c.Low80 {
			v.Finish += fmt.Sprintf(", four times out of five between %s and %s", rideTime(c.Low80), rideTime(c.High80))
		}
		if c.ChanceEmpty >= 0.01 {
			v.Finish += fmt.Sprintf("; running empty: %s", inHundred(c.ChanceEmpty))
		}
		v.At, v.Afford, v.Cue = c.AtM/c.LengthM, c.Affordable, c.Cue
		return
	}
	if p := s.Step; p != nil {
		v.Place = fmt.Sprintf("step %d of %d", p.Index+1, p.Of)
		if p.Turns != "" {
			v.Place += ", turn " + p.Turns
		}
		if s.LeftS > 0 {
			v.Finish = "done in about " + rideTime(s.LeftS)
		}
		v.Cue = p.Index
	}
}

func rideSensors(v *RideView, s ride.Snapshot) {
	well, bad := 0, []string{}
	for _, d := range s.Sensors {
		words := d.Words
		switch d.Health {
		case "well":
			well++
		case "late":
			words = d.Name + " is silent."
			bad = append(bad, d.Name+" is silent")
		case "lost":
			bad = append(bad, d.Name+" is lost")
		}
		if d.Battery != "" && d.Health == "well" {
			words += " Battery " + d.Battery + "."
		}
		v.Sensors = append(v.Sensors, RideSensor{d.ID, d.Name, d.Health, words, d.Offset, d.SpinDown})
	}
	for _, d := range s.Found {
		v.Found = append(v.Found, RideSensor{ID: d.ID, Name: d.Name, Health: d.Health, Words: d.Name})
	}
	if s.Stage == ride.Riding || s.Stage == ride.Paused {
		if v.Trouble = strings.Join(bad, ", "); v.Trouble != "" {
			v.Trouble = capital(v.Trouble) + ". It is being looked for."
		}
	}
	switch {
	case len(bad) > 0:
		v.Quiet = strings.Join(bad, ", ")
	case well == 1:
		v.Quiet = "one sensor, well"
	case well > 1:
		v.Quiet = fmt.Sprintf("%d sensors, all well", well)
	default:
		v.Quiet = "no sensor yet"
	}
}
