package service

import "time"

// Dates write days and times of day into sentences for whoever reads them. The
// zero value writes them as commands do.
type Dates struct{ Day, Clock func(time.Time) string }

// usualDay is a day in a sentence of a command.
const usualDay = "2 January 2006"

func (d Dates) day(t time.Time, usual string) string {
	if d.Day == nil {
		return t.Format(usual)
	}
	return d.Day(t)
}

func (d Dates) clock(t time.Time) string {
	if d.Clock == nil {
		return t.Format("15:04")
	}
	return d.Clock(t)
}
