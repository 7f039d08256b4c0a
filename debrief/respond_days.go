package debrief

import (
	"fmt"
	"math"
	"slices"

	"chainline/estimate"
)

// The calendar: what every day cost, how the rider answers to it, a caution
// when the load rises fast, and what would fit the days ahead.

// Training is a rider's loads by day. Days are counted by any calendar that
// counts by ones; the first load is that of day First.
type Training struct {
	First  int
	Loads  []float64 // th of every day, up to today; without a ride 0
	Events []Event   // past ones are not read
	Seed   uint64
}

// Event is something to be fit for.
type Event struct {
	Day  int
	Name string
	Load float64 // th it is expected to cost; 0 unknown
}

// Calendar is what loads come to. Before the first day the rider is taken to
// have ridden what the first four weeks average: what is not known there fades
// from the picture within months.
type Calendar struct {
	Days    []CalendarDay `json:"days"`
	Weeks   []Week        `json:"weeks"` // of seven days, the last ends today
	Caution string        `json:"caution,omitempty"`
	Next    []Suggestion  `json:"next"`
	Basis   string        `json:"basis"` // what the numbers rest on
}

// CalendarDay is one day: fitness and fatigue are the steady loads a day (th)
// that would give them, net response is their difference. They are those of the
// day's morning.
type CalendarDay struct {
	Day     int      `json:"day"`
	Load    float64  `json:"load_th"`
	Fitness Interval `json:"fitness_th"`
	Fatigue Interval `json:"fatigue_th"`
	Net     Interval `json:"net_th"`
}

// Week is seven days.
type Week struct {
	FirstDay int     `json:"first_day"`
	Load     float64 `json:"load_th"`
}

// Suggestion is what would fit one day.
type Suggestion struct {
	Day    int     `json:"day"`
	Kind   string  `json:"kind"` // rest, easy, steady, hard, event
	Load   float64 `json:"load_th"`
	Reason string  `json:"reason"`
}

// The rules, all our judgement but for the taper: two weeks with volume down
// by 41 to 60 % and intensity kept did best (Bosquet, Montpetit, Arvisais,
// Mujika 2007, MSSE 39:1358; abstract only).
const (
	usualDays  = 28
	riseTo     = 1.3  // this week over the mean of the four before: beyond it a caution
	riseFrom   = 0.8  // th; smaller weeks rise as they like
	easyShare  = 0.5  // of the usual day
	hardShare  = 1.6  //
	hardFrom   = 1.4  // of the usual day: a day that asks for an easy one after it
	taperDays  = 14   // before an event
	taperShare = 0.5  // of the usual day
	bigEvent   = 1.5  // of the usual day: an event worth a taper
	aheadDays  = 7    // that are suggested
	leastUsual = 0.15 // th a day, for who has hardly ridden
)

const basis = "Banister's impulse-response model with the constants of nine swimmers (38 and 19 days; Hellard et al. 2006) and as wide as theirs differed; what it says of a single rider is rough. Suggestions and the caution are our judgement, not a treatment: what you feel comes first."

// Respond to a rider's training: the whole calendar up to today.
func (t Training) Respond() Calendar {
	c := Calendar{Basis: basis}
	if len(t.Loads) == 0 {
		return c
	}
	start := meanLoad(t.Loads[:min(usualDays, len(t.Loads))])
	bands := Bands(t.Loads, start, estimate.Stream(t.Seed, 0))
	for i, load := range t.Loads {
		b := bands[i]
		c.Days = append(c.Days, CalendarDay{t.First + i, load, interval(b.Fitness), interval(b.Fatigue), interval(b.Net)})
	}
	for end := len(t.Loads); end > 0; end -= 7 {
		from := max(0, end-7)
		c.Weeks = append(c.Weeks, Week{t.First + from, sum(t.Loads[from:end])})
	}
	slices.Reverse(c.Weeks)
	if rise, before, ok := weeklyRise(t.Loads); ok && rise > riseTo {
		c.Caution = fmt.Sprintf("The last seven days came to %.1f th, %.0f %% more than a week of the four before (%.1f th). No limit is known that holds for everybody; more than about a third at once is where we would slow down.", rise*before, 100*(rise-1), before)
	}
	c.Next = t.suggest(bands[len(bands)-1])
	return c
}

func sum(v []float64) (s float64) {
	for _, x := range v {
		s += x
	}
	return s
}

func meanLoad(v []float64) float64 { return sum(v) / math.Max(1, float64(len(v))) }

// weeklyRise is the last seven days over the mean week of the four before
// (th); false: there is too little to compare.
func weeklyRise(loads []float64) (rise, before float64, ok bool) {
	n := len(loads)
	if n < 7+usualDays {
		return 0, 0, false
	}
	last := sum(loads[n-7:])
	before = sum(loads[n-7-usualDays:n-7]) / 4
	return last / before, before, before > 0 && last >= riseFrom
}

// suggest is what would fit each of the next days, by the rules, in order; a
// day's suggestion counts as ridden for the next.
func (t Training) suggest(now Band) []Suggestion {
	loads := slices.Clone(t.Loads)
	usual := math.Max(leastUsual, meanLoad(loads[max(0, len(loads)-usualDays):]))
	if idle := idleDays(loads); idle >= 7 && len(loads) > idle { // what was usual before the break
		active := loads[:len(loads)-idle]
		usual = math.Max(leastUsual, meanLoad(active[max(0, len(active)-usualDays):]))
	}
	var out []Suggestion
	for range aheadDays {
		s := t.day(loads, usual, now)
		out = append(out, s)
		loads = append(loads, s.Load)
	}
	return out
}

// idleDays is how many of the last days had no ride.
func idleDays(loads []float64) int {
	n := 0
	for n < len(loads) && loads[len(loads)-1-n] == 0 {
		n++
	}
	return n
}

// day is the suggestion for the day after these loads: the first rule that
// holds.
func (t Training) day(loads []float64, usual float64, now Band) Suggestion {
	day := t.First + len(loads)
	is := func(kind string, share float64, reason string) Suggestion {
		return Suggestion{day, kind, math.Round(20*share*usual) / 20, reason}
	}
	next, ahead := t.next(day)
	yesterday := loads[len(loads)-1]
	rise, _, known := weeklyRise(append(slices.Clone(loads), usual))
	switch idle, streak := idleDays(loads), streakOf(loads); {
	case ahead == 0:
		return Suggestion{day, "event", eventLoad(next, usual), next.Name}
	case ahead == 1:
		return is("easy", 0.4, fmt.Sprintf("%s is tomorrow: a short easy ride with a few quick minutes, or rest.", next.Name))
	case ahead == 2 && eventLoad(next, usual) >= bigEvent*usual:
		return is("rest", 0, fmt.Sprintf("%s is in two days: rest now, so that the day before can be short.", next.Name))
	case idle >= 7:
		return is("easy", easyShare, fmt.Sprintf("%d days without a ride: begin with half of what was usual.", idle))
	case yesterday >= hardFrom*usual && t.raced(day-1):
		return is("rest", 0, "The day after an event: rest, or turn the legs.")
	case yesterday >= hardFrom*usual:
		return is("easy", easyShare, "Yesterday was hard.")
	case streak >= 6:
		return is("rest", 0, "Six days in a row were ridden: one without a ride.")
	case known && rise > riseTo:
		return is("easy", easyShare, "The week has risen fast: easy until it is in line with the weeks before.")
	case now.Net.High80 < 0 && len(loads) < len(t.Loads)+2:
		return is("easy", easyShare, "Fatigue stands above fitness, however the constants are taken.")
	case ahead > 0 && ahead <= taperDays && eventLoad(next, usual) >= bigEvent*usual:
		return is("steady", taperShare, fmt.Sprintf("%s is in %d days: about half the load, with short hard pieces kept, so that fatigue goes and fitness stays.", next.Name, ahead))
	case cameBack(loads):
		return is("steady", 0.7, "Back after a break: a week of building up before hard work.")
	case len(loads) >= 2 && yesterday < hardFrom*usual && loads[len(loads)-2] < hardFrom*usual:
		return is("hard", hardShare, "Two days without a hard one: a good day for hard work.")
	default:
		return is("steady", 1, "A usual day.")
	}
}

// cameBack tells whether a week or more without a ride ended in the last seven
// days.
func cameBack(loads []float64) bool {
	for k := 1; k < 7 && k < len(loads); k++ {
		if idleDays(loads[:len(loads)-k]) >= 7 {
			return true
		}
	}
	return false
}

// next is the next event from a day on, and in how many days it is; −1: none.
func (t Training) next(day int) (e Event, ahead int) {
	ahead = -1
	for _, x := range t.Events {
		if d := x.Day - day; d >= 0 && (ahead < 0 || d < ahead) {
			e, ahead = x, d
		}
	}
	return e, ahead
}

// raced tells whether an event was on a day.
func (t Training) raced(day int) bool {
	return slices.ContainsFunc(t.Events, func(e Event) bool { return e.Day == day })
}

// eventLoad is what an event is expected to cost; unknown, twice a usual day.
func eventLoad(e Event, usual float64) float64 {
	if e.Load > 0 {
		return e.Load
	}
	return 2 * usual
}

// streakOf is how many of the last days in a row had a ride.
func streakOf(loads []float64) int {
	n := 0
	for n < len(loads) && loads[len(loads)-1-n] > 0 {
		n++
	}
	return n
}
