package web

import (
	"fmt"
	"html/template"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chainline/debrief"
	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/recording"
)

// The debrief of one ride: one page, and one sheet of paper.

// DebriefPage is a ride's debrief.
type DebriefPage struct {
	Base
	ID       string // empty: opened from a share file and not kept
	About    string
	From     string
	Warn     []string // what was assumed, and what is not whole
	Heroes   []Hero
	Strip    template.HTML
	Power    template.HTML // where there is no plan
	Says     []string      // the picture in words
	Harder   *Form         // the one question; nil: it cannot be asked here
	Answer   Field
	Told     string // the answer as it stands
	Cues     []CueLine
	Why      template.HTML
	WhySays  []string
	Best     string
	Measured DebriefMeasures
	Taught   DebriefTaught
	Scales   DebriefScales
	Cleaning DebriefCleaning
	Unsaid   []string
	Of       *Form // whose ride it is; nil: it is known or cannot be changed here
	Assign   []Field
	Settled  bool // it is known whose it is
	Outs     []DebriefOut
	Share    *Form
	Leave    []Field // what is left out of the share file
	Season   string  // path
	Shared   []string
}

// Hero is a number that is set large.
type Hero struct{ Label, Value, Note string }

// CueLine is what became of a cue.
type CueLine struct {
	No                    int
	Name, Where           string
	Planned, OffW, Ridden string
	OffS                  string
	Ended                 bool
}

// DebriefMeasures are the measures of a ride.
type DebriefMeasures struct {
	Facts    [][2]string
	Bests    template.HTML
	BestSays []string
	Domains  []DomainLine
	Left     template.HTML
	LeftSays []string
	Heart    []string
	Climbs   []StretchLine
	Laps     []StretchLine
}

// DomainLine is the time in an intensity domain.
type DomainLine struct{ Name, Is, Time, Range string }

// StretchLine is a lap, step or climb.
type StretchLine struct{ Name, Time, Far, Watts, Heart, More string }

// DebriefTaught is what the ride taught of the rider and the road.
type DebriefTaught struct {
	Sentence string
	Numbers  []MovedLine
	Road     []string
}

// MovedLine is a number of the capacity before and after.
type MovedLine struct {
	Name, Before, BeforeRange, After, AfterRange string
	Picture                                      template.HTML
}

// DebriefScales are what was weighed.
type DebriefScales struct {
	Form    *Form
	Fields  []Field
	Says    string
	Caution string
}

// DebriefCleaning lists what was taken out of the recording.
type DebriefCleaning struct {
	Losses  []string
	Changes []ChangeLine
	More    int // that are not listed
}

// ChangeLine is one change of cleaning; it can be taken back and made again.
type ChangeLine struct {
	Number int
	Words  string
	Back   bool // it is taken back
	Fixed  bool // it cannot be changed here
}

// DebriefOut is a file of the ride.
type DebriefOut struct{ Path, Name string }

// Template names the page's template.
func (*DebriefPage) Template() string { return "debrief.html" }

func ridesBase(title string) Base { return Base{Title: title, Section: "/rides"} }

// NewDebriefPage is the page of a debrief.
func NewDebriefPage(s service.DebriefSheet, shape []float64, units form.Units) *DebriefPage {
	return newDebriefPage(s, shape, units, dates{})
}

// newDebriefPage lays out a debrief; shape is the ridden watts in equal pieces
// of the ride, for rides without a plan.
func newDebriefPage(s service.DebriefSheet, shape []float64, u form.Units, d dates) *DebriefPage {
	x := s.Debrief
	p := &DebriefPage{Base: ridesBase(debriefTitle(s, d)), Told: harderTold[s.Harder]}
	p.about(s, d)
	p.heroes(x, u)
	critical := 0.0
	if x.Measures.Domains != nil {
		critical = x.Measures.Domains.CriticalW.Mean
	}
	if a := x.Against; a != nil && len(a.Line) > 1 {
		p.Strip, p.Says = render.RiddenStrip(*a, critical), nil
		p.Cues = cueLines(*a, u)
		if a.Split != nil {
			p.Why, p.WhySays = render.SplitPicture(*a.Split), splitSays(*a.Split)
		}
		if a.Best != nil {
			p.Best = bestRideSays(*a.Best)
		}
	} else {
		p.Power = render.PowerPicture(shape, x.Measures.Whole.ToS-x.Measures.Whole.FromS, critical)
		p.Says = powerSays(shape, x.Measures.Whole)
	}
	p.Measured = measuresOf(x, critical, u)
	p.Taught = taughtOf(x)
	if w := x.Weighed; w != nil {
		p.Scales.Says, p.Scales.Caution = w.Sentence, w.Caution
	}
	p.cleaning(s)
	p.Unsaid = unsaidOf(x)
	return p
}

// mostChanges are listed of a recording's cleaning.
const mostChanges = 40

func (p *DebriefPage) cleaning(s service.DebriefSheet) {
	for _, l := range s.Losses {
		p.Cleaning.Losses = append(p.Cleaning.Losses, problem.OneLine(l))
	}
	for i, c := range s.Changes {
		if i == mostChanges {
			p.Cleaning.More = len(s.Changes) - i
			break
		}
		p.Cleaning.Changes = append(p.Cleaning.Changes, ChangeLine{Number: i, Words: ChangeWords(c), Fixed: true})
	}
}

func debriefTitle(s service.DebriefSheet, d dates) string {
	base := filepath.Base(s.File)
	if t := problem.OneLine(s.Debrief.Title); t != "" && t != strings.TrimSuffix(base, filepath.Ext(base)) {
		return t
	}
	if s.Date != "" {
		return "Ride of " + d.iso(s.Date)
	}
	return "Debrief of " + base
}

func (p *DebriefPage) about(s service.DebriefSheet, d dates) {
	x := s.Debrief
	var about []string
	if s.Rider != "" {
		about = append(about, problem.OneLine(s.Rider))
	}
	if s.Date != "" {
		began := time.Unix(int64(x.StartUnix), 0).In(time.FixedZone("", x.ZoneSeconds))
		about = append(about, d.day(began)+", "+d.clock(began))
	}
	p.About = strings.Join(about, ", ")
	p.From = "From " + problem.OneLine(filepath.Base(s.File))
	if s.Number > 1 {
		p.From += fmt.Sprintf(", its ride %d", s.Number)
	}
	if x.Source != "" && x.Source != "recorded" {
		p.From += "; power by " + problem.OneLine(x.Source)
	}
	if x.Recovered {
		p.Warn = append(p.Warn, "The recording is not whole: it was cut short or damaged, and read as far as it goes.")
	}
	p.Warn = append(p.Warn, s.Notes...)
}

// heroes are the four numbers one asks for first.
func (p *DebriefPage) heroes(x debrief.Debrief, u form.Units) {
	m := x.Measures
	add := func(label, value, note string) { p.Heroes = append(p.Heroes, Hero{label, value, note}) }
	if a := x.Against; a != nil {
		low, mid, high := render.ForecastClock(a.Low80S, a.ForecastS, a.High80S)
		if a.Finished {
			add("Ridden in", rideTime(a.RiddenS), fmt.Sprintf("%s s on the forecast; %.0f of 100 forecast rides were faster", signed(a.OffS), 100*a.Faster))
		} else {
			add("Ridden as far as", u.Distance(a.BehindAtM), "not to its end")
		}
		add("Forecast", mid, "four times out of five between "+low+" and "+high)
		if len(a.Line) > 0 {
			add("Off the plan", signed(a.MeanOffW)+"\u00a0W", "on average over the ridden time")
		}
	} else {
		add("Moving", rideTime(m.Whole.MovingS), wholeSays(m.Whole, u))
		if m.Whole.KnownS > 0 {
			add("Power on average", fmt.Sprintf("%.0f\u00a0W", m.Whole.MeanW), fmt.Sprintf("equivalent power %.0f\u00a0W", m.Whole.EquivalentW))
		}
		if m.ShareOfThreshold > 0 {
			add("Load", fmt.Sprintf("%.2f\u00a0th", m.LoadTh.Mean), fmt.Sprintf("%.0f\u00a0%% of threshold; as sure as the threshold: %.2f to %.2f", 100*m.ShareOfThreshold, m.LoadTh.Low80, m.LoadTh.High80))
		}
	}
	if w := m.Balance; w != nil && w.WPrime > 0 {
		note := "of W′, at " + rideTime(w.LowestAtS)
		if w.LowestAtM > 0 {
			note += ", " + u.Distance(w.LowestAtM)
		}
		add("Left at the lowest", fmt.Sprintf("%.0f\u00a0%%", 100*w.Lowest.Mean/w.WPrime), note)
	}
}

// wholeSays is what else there is of a whole ride.
func wholeSays(w debrief.Stretch, u form.Units) string {
	var parts []string
	if stood := w.ToS - w.FromS - w.MovingS; stood >= 60 {
		parts = append(parts, rideTime(stood)+" standing")
	}
	if way := w.ToM - w.FromM; way > 0 {
		parts = append(parts, u.Distance(way))
	}
	if w.AscentM >= 1 {
		parts = append(parts, u.Elevation(w.AscentM)+" up")
	}
	return strings.Join(parts, ", ")
}

func cueLines(a debrief.Against, u form.Units) (out []CueLine) {
	for _, c := range a.Cues {
		l := CueLine{No: c.Number, Name: problem.OneLine(c.Name), Where: u.Distance(c.FromM), Planned: fmt.Sprintf("%.0f", c.PlannedW), Ended: c.Ridden}
		if c.Ridden {
			l.Ridden, l.OffW, l.OffS = fmt.Sprintf("%.0f", c.RiddenW), signed(c.OffW), signed(c.OffS)
		}
		out = append(out, l)
	}
	return out
}

func splitSays(s debrief.Split) (out []string) {
	for _, p := range s.Parts {
		line := fmt.Sprintf("%s %s s", capital(p.Name), signed(p.Seconds))
		if p.CouldBeS >= 0.5 {
			line += fmt.Sprintf(" (one of them alone could make ±%.0f s)", p.CouldBeS)
		}
		out = append(out, line+": "+p.Why)
	}
	return out
}

func bestRideSays(x debrief.BestRide) string {
	shown := fmt.Sprintf("This ride showed %.0f W of critical power and %.1f kJ of W′, %.0f %% of what was thought possible.", x.CriticalPower, x.WPrime/1000, 100*x.Share)
	if x.SavedS < 0.5 {
		return shown + " With these it could not have been ridden faster."
	}
	return fmt.Sprintf("%s With these the course could have taken %s, %.0f s less; evenly at %.0f W it takes %s.", shown, rideTime(x.TimeS), x.SavedS, x.EvenW, rideTime(x.EvenS))
}

// powerSays is the power over time in words.
func powerSays(shape []float64, w debrief.Stretch) []string {
	if len(shape) < 2 {
		return nil
	}
	const parts = 6
	var words []string
	for i := range parts {
		from, to := i*len(shape)/parts, (i+1)*len(shape)/parts
		sum, n := 0.0, 0.0
		for _, v := range shape[from:to] {
			if !math.IsNaN(v) {
				sum, n = sum+v, n+1
			}
		}
		if n > 0 {
			words = append(words, fmt.Sprintf("%.0f", sum/n))
		}
	}
	return []string{fmt.Sprintf("Power over the ride, means of %d equal parts: %s W.", len(words), strings.Join(words, ", "))}
}

func unsaidOf(x debrief.Debrief) []string {
	list := slices.Clone(x.Measures.Unsaid)
	if x.Against != nil {
		list = append(list, x.Against.Unsaid...)
	}
	if x.Learnt != nil {
		list = append(list, x.Learnt.Unsaid...)
	}
	return list
}

// harderTold are the answers to the one question, in words.
var harderTold = map[string]string{"no": "You could not have gone harder.", "little": "You could have gone a little harder.", "much": "You could have gone much harder."}

// signed is a whole number with its sign.
func signed(v float64) string {
	switch n := math.Round(v); {
	case n > 0:
		return fmt.Sprintf("+%.0f", n)
	case n < 0:
		return fmt.Sprintf("−%.0f", -n)
	}
	return "±0"
}

// ChangeWords is one change of cleaning as a person would say it.
func ChangeWords(c recording.Change) string {
	at := "at " + rideTime(c.From)
	if c.To-c.From >= 1 {
		at = "from " + rideTime(c.From) + " to " + rideTime(c.To)
	}
	of := ""
	if c.Quantity != "" {
		of = ", " + strings.ReplaceAll(string(c.Quantity), "_", " ")
	}
	if c.Source != "" && c.Source != "recorded" {
		of += " of " + problem.OneLine(c.Source)
	}
	kind := map[recording.ChangeKind]string{recording.DropOut: "Drop-out taken out", recording.Spike: "Spike taken out", recording.Stuck: "Stuck value taken out", recording.Stopped: "Stop marked"}[c.Kind]
	if n := len(c.Was); n > 1 {
		of += fmt.Sprintf(", %d readings", n)
	}
	return kind + " " + at + of + ": " + c.Why
}

// AskHarder puts the one question on the page.
func (p *DebriefPage) AskHarder(action, answer string, errs map[string]string) {
	f := NewForm(action, map[string]string{"harder": answer}, errs)
	p.Answer = f.Field(Field{Name: "harder", Label: "Could you have gone harder?", Kind: "radio",
		Hint:    "One honest answer says more of you than the watts: ‘no’ makes this ride a measure of what you can do.",
		Options: []Option{{Value: "no", Label: "No"}, {Value: "little", Label: "A little"}, {Value: "much", Label: "Much"}}})
	p.Harder = f
}

// AskScales asks what the scales said.
func (p *DebriefPage) AskScales(action string, u form.Units, typed, errs map[string]string) {
	f := NewForm(action, typed, errs)
	unit, drunk := "kg", "l"
	if u == form.Imperial {
		unit = "lb"
	}
	p.Scales.Fields = []Field{
		f.Field(Field{Name: "before", Label: "Before, without clothes", Numeric: true, Unit: unit}),
		f.Field(Field{Name: "after", Label: "After, towelled dry", Numeric: true, Unit: unit}),
		f.Field(Field{Name: "drunk", Label: "Drunk between", Numeric: true, Unit: drunk})}
	p.Scales.Form = f
}

// OfferShare offers the share file, with what can be left out of it.
func (p *DebriefPage) OfferShare(action string) {
	f := NewForm(action, nil, nil)
	p.Leave = []Field{
		f.Field(Field{Name: "without-heart_rate", Label: "Leave out heart rate", Kind: "check"}),
		f.Field(Field{Name: "without-mass", Label: "Leave out my mass", Kind: "check", Hint: "And what it could be reckoned from; then not everything can be reckoned anew."}),
		f.Field(Field{Name: "without-name", Label: "Leave out my name", Kind: "check"})}
	p.Share = f
}

// AskWhose asks whose ride it is, on which rig and by which course and brief.
func (p *DebriefPage) AskWhose(action string, riders, rigs, courses, briefs []Option, typed, errs map[string]string) {
	f := NewForm(action, typed, errs)
	none := []Option{{Value: "", Label: "none"}}
	p.Assign = []Field{
		f.Field(Field{Name: "rider", Label: "Whose ride is it?", Kind: "select", Options: riders, Unknown: true}),
		f.Field(Field{Name: "rig", Label: "Ridden on", Kind: "select", Options: rigs, Unknown: true})}
	if len(courses) > 0 {
		p.Assign = append(p.Assign, f.Field(Field{Name: "course", Label: "Along a course", Kind: "select", Options: append(none, courses...)}))
	}
	if len(briefs) > 0 {
		p.Assign = append(p.Assign, f.Field(Field{Name: "brief", Label: "By a brief", Kind: "select", Options: append(none, briefs...)}))
	}
	p.Assign = append(p.Assign, f.Field(Field{Name: "alone", Label: "Nobody was near enough to give shelter", Kind: "check"}),
		f.Field(Field{Name: "left", Label: "Leave this ride out of what is learnt", Kind: "check"}))
	p.Of = f
}
