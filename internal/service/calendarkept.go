package service

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"path/filepath"
	"strconv"
	"strings"
	"time"
	"unicode"

	"chainline/internal/calendar"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/store"
)

// What pages and programs ask about calendars and results that are kept.

// NamedEvent is an event's file with its name in it, which the store keeps
// apart.
func NamedEvent(name, text string) string {
	f, err := input.ReadEvent("event", strings.NewReader(text))
	if err != nil || f.Name != "" {
		return text
	}
	return "name: " + strconv.Quote(name) + "\n" + text
}

// CalendarName is a file's name fit for sentences. What looks like an event
// file must not be taken for one.
func CalendarName(sent string) string {
	name := strings.TrimSpace(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) || r == '/' || r == '\\' {
			return '-'
		}
		return r
	}, strings.ToValidUTF8(filepath.Base(sent), "")))
	if len(name) > 100 {
		name = strings.ToValidUTF8(name[len(name)-100:], "")
	}
	if ending := strings.ToLower(filepath.Ext(name)); name == "" || ending == ".yaml" || ending == ".yml" || name == "rider" || name == "rig" {
		name += ".calendar"
	}
	return name
}

// CheckCalendar says how many events a file has, each counted once; the error
// says why it cannot be kept.
func CheckCalendar(name string, data []byte, now time.Time) (events int, err error) {
	f, err := calendar.Read(name, bytes.NewReader(data), now.Location())
	if err == nil && f.Len() == 0 {
		err = problem.Bad("%s: has no event; expected at least one", name)
	}
	if err == nil { // a rule without end must not stop a page later
		_, err = f.Between(now, now.AddDate(3, 0, 0), now.Location())
	}
	return f.Len(), err
}

// WriteICalendar writes what fits or may fit, or all, as iCalendar.
func (s CalendarSheet) WriteICalendar(w io.Writer, all bool, made time.Time) error {
	return calendar.Write(w, "Chainline", s.Fitting(all), made)
}

// Learnable are the lines of result lists that the fields of a forecast on a
// course are learnt from.
func Learnable(kept []store.RaceResults, courseID string) ([]ResultRow, error) {
	var rows []ResultRow
	for _, k := range kept {
		var sheet ResultsSheet
		if err := json.Unmarshal(k.Sheet, &sheet); err != nil {
			return nil, err
		}
		if sheet.CourseID == courseID && courseID != "" {
			rows = append(rows, sheet.Learnable()...)
		}
	}
	return rows, nil
}

// RiderForm is a rider's net response today, fitness minus fatigue, as steady
// loads a day (threshold-hours); the interval is how riders differ.
type RiderForm struct {
	Fitness, Net, Low80, High80 float64
}

// Seasons says what a rider's rides come to; *App does.
type Seasons interface {
	Season(ctx context.Context, riderID string, asOf time.Time) (DebriefSeason, error)
}

// FormOf is the form by the rides that are kept; nil if they say nothing of
// today.
func FormOf(ctx context.Context, of Seasons, riderID string, now time.Time) (*RiderForm, error) {
	s, err := of.Season(ctx, riderID, time.Time{})
	if err != nil || s.Response == nil || len(s.Response.Days) < leastFormDays {
		return nil, err
	}
	d := s.Response.Days[len(s.Response.Days)-1]
	if d.Day < dayNumber(now)-1 || !(d.Fitness.Mean > 0) {
		return nil, nil
	}
	return &RiderForm{d.Fitness.Mean, d.Net.Mean, d.Net.Low80, d.Net.High80}, nil
}

// Of how a rider's form decides about events. Our judgement.
const (
	leastFormDays = 28   // of rides, below which the model says nothing of a rider
	tiredShare    = 0.15 // of fitness by which fatigue exceeds it, from which a hard event is doubted
	formHolds     = 72.0 // h for which today's form says something of an event
)

// words say the form with its uncertainty.
func (f RiderForm) words() string {
	return fmt.Sprintf("By the rides kept, fitness minus fatigue stands at %+.2f th a day this morning (four times out of five %+.2f to %+.2f, fitness %.2f); for a single rider the model is rough.", f.Net, f.Low80, f.High80, f.Fitness)
}

// judgeForm doubts hard events that follow soon while fatigue outweighs
// fitness.
func (e *CalendarEvent) judgeForm(f *RiderForm, now time.Time, say func(int, string, ...any)) {
	ahead := e.Start.Sub(now).Hours()
	if f == nil || !e.hard() || ahead > formHolds || ahead < -24 {
		return
	}
	switch share := f.Net / f.Fitness; {
	case share >= -tiredShare:
		say(0, "Fatigue does not outweigh fitness much (%+.0f %% of it).", 100*share)
	case f.High80 < 0:
		say(1, "Fatigue outweighs fitness by %.0f %%, and that much is fairly sure: you would not ride it fresh.", math.Abs(100*share))
	default:
		say(1, "Fatigue may outweigh fitness by %.0f %%, though the model is not sure of it.", math.Abs(100*share))
	}
}
