package course

import (
	"fmt"
	"math"
)

// Sketch is what is known of a course when its shape is not: the line a route
// list shows. Metres. Zero means unknown, except for LeadIn and, where neither
// ascent is given, for Ascent: a course without ascent is flat.
type Sketch struct {
	Distance     float64 // whole course, lead-in and all laps included
	Ascent       float64 // whole course
	Laps         int     // 0 or 1: no laps
	LapLength    float64
	LapAscent    float64
	LeadIn       float64 // level road before the first lap, ridden once
	Climb        *SketchClimb
	SummitFinish bool // the course ends at the top of its last climb
}

// SketchClimb is the main climb of a sketch; with laps it comes in every lap.
// Of length and ascent one may be unknown (zero).
type SketchClimb struct {
	Length float64 // m
	Ascent float64 // m, gained from foot to top without losing any on the way
	Start  float64 // m from the start of the course, in the first lap; UnknownStart if unknown
}

// UnknownStart, or anything below zero, is the start of a climb nobody knows.
const UnknownStart = -1.0

// Limits of a sketch, our judgement.
const (
	sketchShortest  = 500.0 // m, a lap
	sketchSlope     = 0.12  // the mean gradient of everything that is not the main climb never needs more
	sketchClimbMean = 0.15  // mean gradient of the main climb at most
	sketchSteepest  = 0.16  // no stretch of a drawn profile is steeper
	sketchAgreement = 0.05  // how far two statements about one thing may differ
	sketchLevel     = 200.0 // m, what is left beside a climb and shorter than this is drawn level
	sketchMostLaps  = 1000
)

// lap is a sketch resolved: a single lap, its lengths in metres from the lap's start.
type lap struct {
	laps        int
	length      float64
	ascent      float64
	climb       bool
	climbLength float64 // 0 unknown
	climbAscent float64 // 0 unknown
	climbStart  float64 // < 0 unknown
	summit      bool
}

// resolve settles what follows from what. Where distance and laps disagree a
// little (Check refuses more than 5 %), the whole course is right and the lap
// gives way.
func (s Sketch) resolve() lap {
	l := lap{laps: max(1, s.Laps), length: s.LapLength, ascent: s.LapAscent, summit: s.SummitFinish, climbStart: UnknownStart}
	if s.Distance > 0 {
		l.length = (s.Distance - s.LeadIn) / float64(l.laps)
	}
	if s.Ascent > 0 {
		l.ascent = s.Ascent / float64(l.laps)
	}
	if c := s.Climb; c != nil {
		l.climb, l.climbLength, l.climbAscent = true, c.Length, c.Ascent
		if c.Start >= 0 {
			l.climbStart = c.Start - s.LeadIn
		}
		if l.summit && c.Start >= 0 && c.Length == 0 {
			l.climbLength = math.Max(0, l.length-l.climbStart)
		}
		if l.summit && c.Start < 0 && c.Length > 0 {
			l.climbStart = math.Max(0, l.length-c.Length)
		}
	}
	return l
}

// Totals are the length and ascent of the whole course as the sketch means
// them, in metres; every profile Draw makes has exactly these.
func (s Sketch) Totals() (distance, ascent float64) {
	l := s.resolve()
	return s.LeadIn + float64(l.laps)*l.length, float64(l.laps) * l.ascent
}

// Check says in one sentence what is impossible or contradictory about a
// sketch; nil means that Draw can draw it.
func (s Sketch) Check() error {
	if err := s.checkNumbers(); err != nil {
		return err
	}
	l := s.resolve()
	if s.LeadIn > 0 && s.Distance > 0 && s.LeadIn >= s.Distance {
		return fmt.Errorf("the lead-in of %s is not shorter than the course of %s", kilometres(s.LeadIn), kilometres(s.Distance))
	}
	if s.Distance > 0 && s.LapLength > 0 {
		laps := s.LeadIn + float64(l.laps)*s.LapLength
		if !agree(laps, s.Distance) {
			return fmt.Errorf("%s of %s and a lead-in of %s are %s, but the distance is %s; expected them to agree within 5 %%",
				count(l.laps, "lap"), kilometres(s.LapLength), kilometres(s.LeadIn), kilometres(laps), kilometres(s.Distance))
		}
	}
	if s.Ascent > 0 && s.LapAscent > 0 {
		if laps := float64(l.laps) * s.LapAscent; !agree(laps, s.Ascent) {
			return fmt.Errorf("%s of %.0f m ascent are %.0f m, but the ascent is %.0f m; expected them to agree within 5 %%",
				count(l.laps, "lap"), s.LapAscent, laps, s.Ascent)
		}
	}
	if l.length < sketchShortest {
		return fmt.Errorf("a lap of %.0f m; expected at least %.0f m", l.length, sketchShortest)
	}
	if total, _ := s.Totals(); total > MaxDistance {
		return fmt.Errorf("a course of %s; expected at most %s", kilometres(total), kilometres(MaxDistance))
	}
	if s.SummitFinish && l.laps > 1 {
		return fmt.Errorf("a summit finish and %d laps; expected one or the other, as a lap ends where it starts", l.laps)
	}
	if s.SummitFinish && l.ascent == 0 {
		return fmt.Errorf("a summit finish on a course without ascent; expected an ascent")
	}
	if l.climb {
		if s.Climb.Start >= 0 && s.Climb.Start < s.LeadIn {
			return fmt.Errorf("the main climb starts at %s, in the lead-in; expected it after %s", kilometres(s.Climb.Start), kilometres(s.LeadIn))
		}
		if err := l.checkClimb(); err != nil {
			return err
		}
	}
	return l.checkSlope()
}

func (s Sketch) checkNumbers() error {
	named := []struct {
		name  string
		value float64
	}{
		{"distance", s.Distance}, {"ascent", s.Ascent}, {"lap length", s.LapLength},
		{"lap ascent", s.LapAscent}, {"lead-in", s.LeadIn},
	}
	if s.Climb != nil {
		named = append(named, []struct {
			name  string
			value float64
		}{{"main climb's length", s.Climb.Length}, {"main climb's ascent", s.Climb.Ascent}}...)
		if math.IsNaN(s.Climb.Start) || math.IsInf(s.Climb.Start, 0) {
			return fmt.Errorf("the main climb's start is %g; expected metres from the start of the course", s.Climb.Start)
		}
	}
	for _, n := range named {
		if !(n.value >= 0) || math.IsInf(n.value, 0) {
			return fmt.Errorf("the %s is %g m; expected a number that is not negative", n.name, n.value)
		}
	}
	switch {
	case s.Laps < 0 || s.Laps > sketchMostLaps:
		return fmt.Errorf("%d laps; expected 1 to %d", s.Laps, sketchMostLaps)
	case s.Distance == 0 && s.LapLength == 0:
		return fmt.Errorf("neither distance nor lap length is given; expected at least one")
	}
	return nil
}

func agree(a, b float64) bool { return math.Abs(a-b) <= sketchAgreement*math.Max(a, b) }

func kilometres(m float64) string { return fmt.Sprintf("%.1f km", m/1000) }

func (l lap) checkClimb() error {
	where := "the course"
	if l.laps > 1 {
		where = "the lap"
	}
	switch {
	case l.climbLength == 0 && l.climbAscent == 0:
		return fmt.Errorf("the main climb has neither length nor ascent; expected at least one")
	case l.climbLength > l.length:
		return fmt.Errorf("the main climb of %s is longer than %s of %s", kilometres(l.climbLength), where, kilometres(l.length))
	case l.climbAscent > l.ascent:
		return fmt.Errorf("the main climb gains %.0f m, but %s only %.0f m", l.climbAscent, where, l.ascent)
	case l.ascent == 0:
		return fmt.Errorf("a main climb, but %s has no ascent; expected an ascent", where)
	case l.climbLength > 0 && l.climbAscent > sketchClimbMean*l.climbLength:
		return fmt.Errorf("the main climb gains %.0f m in %s, %.0f %% on average; expected at most %.0f %%",
			l.climbAscent, kilometres(l.climbLength), 100*l.climbAscent/l.climbLength, 100*sketchClimbMean)
	case l.climbStart+math.Max(l.climbLength, l.climbAscent/sketchClimbMean) > l.length*(1+1e-9):
		return fmt.Errorf("the main climb starts at %s and does not fit into %s of %s", kilometres(l.climbStart), where, kilometres(l.length))
	case l.summit && l.climbStart >= 0 && l.climbAscent == l.ascent && l.length-l.climbStart-l.climbLength >= sketchLevel:
		return fmt.Errorf("a summit finish, but the main climb has all of the ascent and ends %s before the finish",
			kilometres(l.length-l.climbStart-l.climbLength))
	}
	return nil
}

// checkSlope refuses a sketch when nothing that Draw may choose leaves room for
// its ascent at 12 % on average beside the main climb.
func (l lap) checkSlope() error {
	if !l.climb {
		rise := l.mustRiseAndFall(0)
		if rise > sketchSlope*l.length {
			return l.tooSteep()
		}
		return nil
	}
	low, high := l.climbLengths()
	if low > high {
		return l.tooSteep()
	}
	if l.climbLength > 0 {
		low, high := l.climbAscents(l.climbLength)
		if low > high {
			return l.tooSteep()
		}
	}
	return nil
}

func (l lap) tooSteep() error {
	return fmt.Errorf("%.0f m of ascent do not fit into %s, even at %.0f %% everywhere; expected less ascent or more distance",
		l.ascent, kilometres(l.length), 100*sketchSlope)
}

// mustRiseAndFall is the rise and fall in metres that the road beside a main
// climb of the given ascent cannot do without.
func (l lap) mustRiseAndFall(climbAscent float64) float64 {
	if l.summit {
		return l.ascent - climbAscent
	}
	return 2*l.ascent - climbAscent
}

// room is the length of road beside a main climb of the given length that may
// have hills: the two stretches before and after, each unless it is short.
func (l lap) room(climbLength float64) float64 {
	if l.climbStart < 0 {
		return hilly(l.length - climbLength)
	}
	return hilly(l.climbStart) + hilly(l.length-l.climbStart-climbLength)
}

func hilly(length float64) float64 {
	if length < sketchLevel {
		return 0
	}
	return length
}

// climbLengths is the range a main climb's length may be drawn from, metres;
// low above high means that nothing fits.
func (l lap) climbLengths() (low, high float64) {
	if l.climbLength > 0 {
		return l.climbLength, l.climbLength
	}
	before := math.Max(0, l.climbStart)
	need := l.mustRiseAndFall(l.climbAscent)/sketchSlope - hilly(before)
	high = l.length - before
	if need > 0 {
		high -= math.Max(sketchLevel, need)
	}
	return l.climbAscent / sketchClimbMean, high
}

// climbAscents is the range the ascent of a main climb of the given length may
// be drawn from, metres; low above high means that nothing fits.
func (l lap) climbAscents(length float64) (low, high float64) {
	low = math.Max(0, l.mustRiseAndFall(0)-sketchSlope*l.room(length))
	high = math.Min(l.ascent, sketchClimbMean*length)
	if l.summit && l.climbStart >= 0 && l.length-l.climbStart-length >= sketchLevel {
		high = math.Min(high, 0.9*l.ascent) // the last hill needs some
	}
	if l.climbAscent > 0 {
		low = math.Max(low, l.climbAscent)
		high = l.climbAscent
	}
	return low, high
}
