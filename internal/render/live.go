package render

import (
	"fmt"
	"math"
	"strings"

	"chainline/internal/ride"
)

// LiveText is one instant of a ride for a terminal: lines of at most width
// columns (at least 40), what to do first. It computes nothing about riding.
func LiveText(s ride.Snapshot, width int) []string {
	width = max(40, width)
	l := liveLines{width: width}
	l.both(s.Title, liveClock(s))
	if s.Stop != "" {
		l.add("!! " + s.Stop)
	}
	l.instruction(s)
	l.you(s)
	l.add("left " + bar(s.Left.Share, 20) + fmt.Sprintf(" %3.0f %%  %s", 100*s.Left.Share, s.Left.Words))
	if c := s.Course; c != nil {
		l.add(fmt.Sprintf("%.2f of %.1f km, slope %+.1f %%; finish in %s (%s to %s)", c.AtM/1000, c.LengthM/1000, 100*c.Gradient,
			clock(c.FinishS), clock(c.Low80), clock(c.High80)))
		l.add(bar(c.AtM/c.LengthM, min(60, width-2)))
		if c.Affordable != "" {
			l.add(c.Affordable)
		}
	}
	if s.Step != nil {
		l.add(stepLine(s, width))
	}
	for _, line := range GroupText(s.Group) {
		l.add(line)
	}
	l.sensors(s)
	if s.Said != "" {
		l.add("» " + s.Said)
	}
	for _, n := range s.Notices[max(0, len(s.Notices)-2):] {
		mark := "· "
		if n.Urgent {
			mark = "! "
		}
		l.add(mark + n.Words)
	}
	return l.lines
}

type liveLines struct {
	width int
	lines []string
}

func (l *liveLines) add(s string) {
	if s = clean(s); s != "" {
		l.lines = append(l.lines, cut(s, l.width))
	}
}

// both sets one text left and one right.
func (l *liveLines) both(left, right string) {
	left, right = clean(left), clean(right)
	space := l.width - len([]rune(left)) - len([]rune(right))
	if space < 2 {
		l.add(left)
		l.add(right)
		return
	}
	l.lines = append(l.lines, left+strings.Repeat(" ", space)+right)
}

func liveClock(s ride.Snapshot) string {
	words := clock(s.ClockS)
	switch s.Stage {
	case ride.Waiting:
		words = "pedal to begin"
		if g := s.Group; g != nil && !(g.GunSet && g.ClockS > 0) {
			words = "waits for the gun"
		}
		if s.GunInS > 0 {
			words = "begins in " + clock(s.GunInS)
		}
	case ride.Paused:
		words = "paused at " + words
	case ride.Ending, ride.Ended:
		words = "ended at " + words
	}
	if s.Bench {
		words += ", simulated rig"
	}
	return words
}

func (l *liveLines) instruction(s ride.Snapshot) {
	now := s.Now.Words
	if s.Now.Say != "" {
		now += ": " + s.Now.Say
	}
	still := s.Now.Ends
	if s.Now.InS > 0 {
		still = "still " + clock(s.Now.InS)
	}
	l.both(now, still)
	hold := ""
	switch {
	case s.Now.HeartLow > 0 && s.Now.Watts == 0:
		hold = fmt.Sprintf("heart %.0f to %.0f", s.Now.HeartLow, s.Now.HeartHigh)
	case s.Now.Watts > 0:
		hold = fmt.Sprintf("%.0f W", s.Now.Watts)
		if s.Now.WheelKmh > 0 && s.Way == ride.Showing {
			hold += fmt.Sprintf(", wheel at %.1f km/h %s", s.Now.WheelKmh, s.Now.Gear)
		}
	default:
		hold = s.Now.Feel
	}
	then := ""
	if t := s.Then; t != nil {
		then = "then " + t.Words
		if t.Watts > 0 {
			then = fmt.Sprintf("then %.0f W", t.Watts)
		}
		if t.InS > 0 {
			then += " in " + clock(t.InS)
		}
	}
	l.both("   "+hold, then)
}

func (l *liveLines) you(s ride.Snapshot) {
	words := fmt.Sprintf("you  %.0f W  %.1f W/kg", s.You.Watts, s.You.WPerKg)
	switch s.You.State {
	case ride.Coasting:
		words = "you  no watts heard: coasting"
	case ride.NoPower:
		words = "you  no watts yet"
	}
	if s.You.Cadence != nil {
		words += fmt.Sprintf("  %.0f rpm", *s.You.Cadence)
	}
	if s.You.Heart != nil {
		words += fmt.Sprintf("  heart %.0f", *s.You.Heart)
	}
	if s.You.WheelMS != nil && s.Way == ride.Showing {
		words += fmt.Sprintf("  wheel %.1f km/h", 3.6**s.You.WheelMS)
	}
	l.both(words, gauge(s))
}

// gauge is where the rider is around what is asked: a dot on a line, brackets
// around what counts as on target.
func gauge(s ride.Snapshot) string {
	if s.Now.Watts == 0 || s.Stage != ride.Riding || s.Now.HighW <= s.Now.LowW {
		return ""
	}
	const cells = 21
	span := math.Max(60, 3*(s.Now.HighW-s.Now.LowW))
	at := func(w float64) int {
		return min(cells-1, max(0, int(math.Round((w-s.Now.Watts)/span*(cells-1)))+cells/2))
	}
	line := []rune(strings.Repeat("─", cells))
	line[at(s.Now.LowW)], line[at(s.Now.HighW)] = '[', ']'
	line[at(s.You.Watts)] = '●'
	return string(line)
}

func stepLine(s ride.Snapshot, width int) string {
	words := fmt.Sprintf("step %d of %d", s.Step.Index+1, s.Step.Of)
	if s.Step.Turns != "" {
		words += ", turn " + s.Step.Turns
	}
	if s.Step.LengthS > 0 {
		words += "  " + bar(s.Step.IntoS/s.Step.LengthS, min(30, width-40))
	}
	return words
}

// sensors are said while the ride waits, and afterwards only those that are
// not well.
func (l *liveLines) sensors(s ride.Snapshot) {
	for _, d := range s.Sensors {
		if s.Stage == ride.Waiting || d.Health != "well" {
			words := d.Words
			if d.Health == "late" {
				words = d.Name + " is silent."
			}
			l.add(words)
		}
	}
	if s.Stage == ride.Waiting {
		l.add(s.Brake)
	}
}
