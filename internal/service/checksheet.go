package service

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"time"

	"chainline/estimate"
	"chainline/internal/ride"
	"chainline/rig"
)

// CheckSchema names the JSON form of a check's report; docs/formats.md has
// every key.
const CheckSchema = "chainline.check/1"

// CheckSheet is a check's report as it is kept, printed and shown. Numbers are
// SI; fractions are fractions.
type CheckSheet struct {
	Schema string    `json:"schema"`
	Made   time.Time `json:"made"`
	Begun  time.Time `json:"begun"` // when what was looked at was ridden
	Rider  string    `json:"rider,omitempty"`
	Rig    string    `json:"rig,omitempty"`
	From   []string  `json:"from"`
	Bench  bool      `json:"bench,omitempty"`
	Guided bool      `json:"guided"`

	ThresholdW       float64 `json:"threshold_w"`
	ThresholdGuessed bool    `json:"threshold_guessed,omitempty"`
	Minutes          float64 `json:"minutes"`
	Warm             bool    `json:"warm"`
	Host             string  `json:"host,omitempty"`

	Verdicts []CheckVerdict `json:"verdicts"`
	Findings []CheckFinding `json:"findings"`
	Clear    []string       `json:"clear"`
	Unsaid   []CheckUnsaid  `json:"cannot_say"`
	Curve    []CheckPoint   `json:"power_curve,omitempty"`
	CurveSD  float64        `json:"power_curve_sd,omitempty"`
	Coasts   []CoastRow     `json:"coast_downs,omitempty"`
	// How the brake answers a command, s; 0 where nothing showed it.
	BrakeDeadS float64       `json:"brake_dead_s,omitempty"`
	BrakeLagS  float64       `json:"brake_lag_s,omitempty"`
	Devices    []CheckDevice `json:"devices,omitempty"`
}

// CheckValue is a number with its 95 % interval.
type CheckValue struct {
	Mean float64 `json:"mean"`
	Low  float64 `json:"low95"`
	High float64 `json:"high95"`
	Unit string  `json:"unit"` // "fraction", "W", "s", "N m", "number"; empty for none
}

// CheckVerdict is what a source's watts are worth.
type CheckVerdict struct {
	Source     string           `json:"source"`
	Key        string           `json:"key,omitempty"` // of the source in recordings
	Verdict    string           `json:"verdict"`       // "use as it is", "use corrected", "do not use", "cannot say"
	Sentence   string           `json:"sentence"`
	Error      *CheckValue      `json:"error,omitempty"` // fraction at threshold; nil where it cannot be said
	ErrorSD    float64          `json:"error_sd,omitempty"`
	Within2    float64          `json:"chance_within_2_percent,omitempty"`
	Because    string           `json:"because"`
	Correction *CheckCorrection `json:"correction,omitempty"`
}

// CheckCorrection turns watts shown into watts believed: (shown − offset) / gain.
type CheckCorrection struct {
	Gain    float64 `json:"gain"`
	OffsetW float64 `json:"offset_w"`
	SD      float64 `json:"sd"` // fraction at threshold that stays
	From    string  `json:"from"`
}

// CheckFinding is one thing found wrong.
type CheckFinding struct {
	Subject  string      `json:"subject"`
	Source   string      `json:"source,omitempty"`
	Against  string      `json:"against,omitempty"`
	What     string      `json:"what"`
	Sure     float64     `json:"sure"`
	Size     CheckValue  `json:"size"`
	Watts    *CheckValue `json:"watts_at_threshold,omitempty"`
	Do       []string    `json:"do"`
	Readings []string    `json:"readings,omitempty"`
	Prior    string      `json:"prior,omitempty"`
	Plot     *CheckPlot  `json:"plot,omitempty"`
}

// CheckPlot is a picture in numbers.
type CheckPlot struct {
	Title  string         `json:"title"`
	X      string         `json:"x"`
	Y      string         `json:"y"`
	Points [][2]float64   `json:"points,omitempty"`
	Lines  [][][2]float64 `json:"lines,omitempty"`
	Names  []string       `json:"names,omitempty"`
}

// CheckUnsaid is what could not be judged, and why.
type CheckUnsaid struct {
	Subjects []string `json:"subjects"`
	Source   string   `json:"source,omitempty"`
	Because  string   `json:"because"`
}

// CheckPoint is a point of a plain trainer's fitted power curve.
type CheckPoint struct {
	WheelMS float64 `json:"wheel_m_s"`
	Watts   float64 `json:"watts"`
}

// KMH is the wheel speed in km/h.
func (p CheckPoint) KMH() float64 { return 3.6 * p.WheelMS }

// units are the unit of each subject's size.
var units = map[rig.Subject]string{
	rig.Offset: "W", rig.Delay: "s", rig.Smoothing: "s", rig.Stuck: "s", rig.Spikes: "number", rig.ZeroOffset: "N m", rig.BrakeLag: "s",
	rig.DeadTime: "s", rig.BrakeLimits: "W", rig.Quantisation: "W", rig.Impossible: "number", rig.WrongWheel: "", rig.FirmwareChange: "", rig.LinkLatency: "s",
}

func unitOf(s rig.Subject) string {
	if u, ok := units[s]; ok {
		return u
	}
	return "fraction"
}

func newCheckSheet(r rig.Report, n checkNames) CheckSheet {
	s := CheckSheet{Schema: CheckSchema, ThresholdW: finite(r.Threshold), Minutes: finite(r.Minutes), Warm: r.Warm,
		Verdicts: []CheckVerdict{}, Findings: []CheckFinding{}, Clear: []string{}, Unsaid: []CheckUnsaid{}}
	for _, v := range r.Verdicts {
		s.Verdicts = append(s.Verdicts, verdictOf(v, n.keys[v.Source]))
	}
	for _, f := range r.Findings {
		s.Findings = append(s.Findings, findingOf(f))
	}
	for _, c := range r.Clear {
		s.Clear = append(s.Clear, string(c))
	}
	s.unsaid(r.Unsaid)
	if r.Brake != nil {
		s.BrakeDeadS, s.BrakeLagS = finite(math.Max(0, r.Brake.DeadTime.Mean)), finite(math.Max(0, r.Brake.Lag.Mean))
	}
	if r.Curve != nil {
		for _, p := range r.Curve.Points() {
			s.Curve = append(s.Curve, CheckPoint{finite(p.WheelSpeed), finite(p.Watts)})
		}
		s.CurveSD = finite(r.Curve.SD)
	}
	return s
}

// unsaid puts subjects that cannot be judged for the same reason together.
func (s *CheckSheet) unsaid(all []rig.Unsaid) {
	for _, u := range all {
		i := slices.IndexFunc(s.Unsaid, func(x CheckUnsaid) bool { return x.Because == u.Because && x.Source == u.Source })
		if i < 0 {
			i = len(s.Unsaid)
			s.Unsaid = append(s.Unsaid, CheckUnsaid{Source: u.Source, Because: u.Because})
		}
		if subject := string(u.Subject); !slices.Contains(s.Unsaid[i].Subjects, subject) {
			s.Unsaid[i].Subjects = append(s.Unsaid[i].Subjects, subject)
		}
	}
}

// finite is zero for what JSON has no word for.
func finite(v float64) float64 {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		return 0
	}
	return v
}

// z95 is Φ⁻¹(0.975). Source: computed.
const z95 = 1.959963984540054

func valueOf(e estimate.Estimate, unit string) *CheckValue {
	if e == (estimate.Estimate{}) || math.IsNaN(e.Mean) {
		return nil
	}
	return &CheckValue{finite(e.Mean), finite(e.Mean - z95*e.SD), finite(e.Mean + z95*e.SD), unit}
}

func verdictOf(v rig.Verdict, key ride.SourceKey) CheckVerdict {
	out := CheckVerdict{Source: v.Source, Key: string(key), Verdict: v.Kind.String(), Within2: finite(v.Within2), Because: v.Because}
	if v.Kind != rig.CannotSay {
		out.Error, out.ErrorSD = valueOf(v.Error, "fraction"), finite(v.Error.SD)
	}
	if c := v.Correct; v.Kind == rig.UseCorrected {
		if c.Gain == 0 {
			c.Gain = 1
		}
		out.Correction = &CheckCorrection{finite(c.Gain), finite(c.OffsetW), finite(c.SD), c.From}
	}
	out.Sentence = verdictSentence(v)
	return out
}

// verdictSentence says what to do with a source's watts, and how wrong they
// are where that is known.
func verdictSentence(v rig.Verdict) string {
	name := v.Source
	if name == "" {
		name = "this rig"
	}
	because := strings.TrimSuffix(v.Because, ".")
	switch v.Kind {
	case rig.UseAsIs:
		return fmt.Sprintf("Use the watts of %s as they are: the error at threshold is %s.", name, errorWords(v.Error))
	case rig.UseCorrected:
		return fmt.Sprintf("Use the watts of %s corrected: uncorrected, the error at threshold is %s.", name, errorWords(v.Error))
	case rig.DoNotUse:
		return fmt.Sprintf("Do not use the watts of %s: %s.", name, because)
	}
	return fmt.Sprintf("What the watts of %s are worth cannot be said, because %s.", name, strings.TrimPrefix(because, "because "))
}

// errorWords is an error as people say it: "2.1 % too high, give or take 0.8".
func errorWords(e estimate.Estimate) string {
	size := fmt.Sprintf("%.1f %%", 100*math.Abs(e.Mean))
	way := " too high"
	if e.Mean < 0 {
		way = " too low"
	}
	if math.Abs(e.Mean) < 0.0005 {
		size, way = "nought", ""
	}
	return fmt.Sprintf("%s%s, give or take %.1f (19 times in 20)", size, way, 100*z95*e.SD)
}

func findingOf(f rig.Finding) CheckFinding {
	out := CheckFinding{Subject: string(f.Subject), Source: f.Source, Against: f.Against, What: f.What, Sure: finite(f.Sure), Prior: f.Prior,
		Size:  CheckValue{finite(f.Size.Mean), finite(f.Low95), finite(f.High95), unitOf(f.Subject)},
		Watts: valueOf(f.Watts, "W"), Do: append([]string{}, f.Do...), Readings: f.Readings}
	if p := f.Plot; len(p.Points)+len(p.Lines) > 0 {
		out.Plot = &CheckPlot{Title: p.Title, X: p.X, Y: p.Y, Points: finitePairs(p.Points), Names: p.Names}
		for _, l := range p.Lines {
			out.Plot.Lines = append(out.Plot.Lines, finitePairs(l))
		}
	}
	return out
}

func finitePairs(p [][2]float64) [][2]float64 {
	out := make([][2]float64, 0, len(p))
	for _, x := range p {
		if finite(x[0]) == x[0] && finite(x[1]) == x[1] {
			out = append(out, x)
		}
	}
	return out
}

// Words are a value and its interval as people read them: "+2.1 % (1.4 to 2.8)".
func (v CheckValue) Words() string {
	switch v.Unit {
	case "fraction":
		return fmt.Sprintf("%s %% (%s to %s)", signed(100*v.Mean), signed(100*v.Low), signed(100*v.High))
	case "number":
		if v.Low == v.High {
			return fmt.Sprintf("%.0f", v.Mean)
		}
		return fmt.Sprintf("%.0f (%.0f to %.0f)", v.Mean, v.Low, v.High)
	case "":
		return ""
	}
	return fmt.Sprintf("%s %s (%s to %s)", signed(v.Mean), v.Unit, signed(v.Low), signed(v.High))
}

// signed is a number with its sign and as many digits as say something.
func signed(v float64) string {
	digits := 1
	if math.Abs(v) < 1 {
		digits = 2
	}
	s := fmt.Sprintf("%.*f", digits, v)
	return strings.Replace(strings.TrimPrefix(s, "+"), "-", "−", 1)
}

// SureWords say how sure a finding is.
func (f CheckFinding) SureWords() string {
	switch {
	case f.Sure >= 0.995:
		return "as good as certain"
	case f.Sure >= 0.5:
		return fmt.Sprintf("%.0f in 100 that it is there", 100*f.Sure)
	case f.Sure > 0:
		return fmt.Sprintf("perhaps: %.0f in 100 that it is there", 100*f.Sure)
	}
	return ""
}

// Correct is the correction as a ride applies it.
func (c CheckCorrection) Correct() ride.Correction {
	return ride.Correction{Gain: 1 / c.Gain, Offset: -c.OffsetW / c.Gain}
}

// Words say what a correction does.
func (c CheckCorrection) Words() string {
	if math.Abs(c.OffsetW) < 0.5 {
		return fmt.Sprintf("watts shown, divided by %.3f", c.Gain)
	}
	if c.OffsetW < 0 {
		return fmt.Sprintf("watts shown and %.0f W, divided by %.3f", -c.OffsetW, c.Gain)
	}
	return fmt.Sprintf("watts shown less %.0f W, divided by %.3f", c.OffsetW, c.Gain)
}
