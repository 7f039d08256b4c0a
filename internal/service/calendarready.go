package service

import (
	"encoding/json"
	"fmt"
	"io"
	"math"
	"time"

	"chainline/internal/input"
	"chainline/internal/problem"
)

// ReadyRequest asks who of a start list is ready.
type ReadyRequest struct {
	Event    string
	Starters []Starter
	Open     func(name string) (io.ReadCloser, error)
	Now      time.Time
	Dates    Dates // of the sentences
}

// Starter is one of a start list. Checked and Brief are when the rig was
// checked and the brief made, if the caller knows; zero else.
type Starter struct {
	Rider, Rig     string
	Report         string // of a rig check, a file; empty: Checked counts
	Checked, Brief time.Time
}

// ReadySheet is the table for the host of an event.
type ReadySheet struct {
	Schema string     `json:"schema"`
	Event  string     `json:"event"`
	Ready  int        `json:"ready"`
	Riders []ReadyRow `json:"riders"`
}

// ReadyRow is one rider of the table, in words.
type ReadyRow struct {
	Rider    string   `json:"rider"`
	Ready    bool     `json:"is_ready"`
	Checked  string   `json:"rig_checked"`
	Evidence string   `json:"evidence"`
	SDShare  float64  `json:"critical_power_sd_share"`
	Fan      string   `json:"fan"`
	Brief    string   `json:"brief"`
	Missing  []string `json:"missing,omitempty"` // what to do, one sentence each
}

// checkHolds is how many days a rig check is taken to hold. Our judgement:
// zero offsets and belts drift, and a check takes half an hour.
const checkHolds = 60

// Ready makes the table. A rider whose files cannot be read is an error, so
// that the host asks for others.
func Ready(q ReadyRequest) (ReadySheet, error) {
	if len(q.Starters) == 0 {
		return ReadySheet{}, problem.Bad("nobody is on the start list; expected --starter RIDER,RIG for each")
	}
	b := BriefRequest{Today: q.Now, Open: q.Open}
	event, err := read(b, q.Event, input.ReadEvent)
	if err != nil {
		return ReadySheet{}, err
	}
	sheet := ReadySheet{Schema: "chainline.ready/1", Event: event.Name}
	day := q.Now
	if event.Start.Known {
		day = event.Start.Value
	}
	for _, s := range q.Starters {
		row, err := q.row(s, event, day)
		if err != nil {
			return sheet, err
		}
		if row.Ready {
			sheet.Ready++
		}
		sheet.Riders = append(sheet.Riders, row)
	}
	return sheet, nil
}

func (q ReadyRequest) row(s Starter, event input.EventFile, day time.Time) (ReadyRow, error) {
	b := BriefRequest{Rider: s.Rider, Rig: s.Rig, Today: q.Now, Open: q.Open}
	rider, err := read(b, s.Rider, input.ReadRider)
	if err != nil {
		return ReadyRow{}, err
	}
	set, err := read(b, s.Rig, input.ReadRig)
	if err != nil {
		return ReadyRow{}, err
	}
	k, err := Learn(b)
	if err != nil {
		return ReadyRow{}, err
	}
	row := ReadyRow{Rider: rider.Name}
	if row.Rider == "" {
		row.Rider = s.Rider
	}
	miss := func(format string, args ...any) { row.Missing = append(row.Missing, fmt.Sprintf(format, args...)) }
	if s.Report != "" {
		if s.Checked, err = reportDay(b, s.Report); err != nil {
			return row, err
		}
	}
	switch days := day.Sub(s.Checked).Hours() / 24; {
	case s.Checked.IsZero():
		row.Checked = "never checked"
		miss("The rig was never checked; a check takes half an hour.")
	case days > checkHolds:
		row.Checked = fmt.Sprintf("checked on %s, %.0f days before the event", q.Dates.day(s.Checked, time.DateOnly), days)
		miss("The rig check is older than %d days by then; a zero offset and a short check will do.", checkHolds)
	default:
		row.Checked = "checked on " + q.Dates.day(s.Checked, time.DateOnly)
	}
	if cp := k.Capacity.CriticalPower; cp > 0 {
		row.SDShare = math.Round(1000*k.Capacity.SD()[0]/cp) / 1000
	}
	row.Evidence = fmt.Sprintf("fine: critical power to ±%.0f %%", 100*row.SDShare)
	if row.SDShare > thinSD {
		row.Evidence = fmt.Sprintf("thin: critical power to ±%.0f %%", 100*row.SDShare)
		miss("What this rider can hold is hardly known; a test of a few minutes narrows it most.")
	}
	row.fan(set, miss)
	switch {
	case s.Brief.IsZero():
		row.Brief = "none yet"
		miss("There is no brief for this event yet.")
	default:
		row.Brief = "made on " + q.Dates.day(s.Brief, time.DateOnly)
	}
	if rider.EasyOnly && event.Kind != "group" {
		miss("By the health questions only easy riding is right for now.")
	}
	row.Ready = len(row.Missing) == 0
	return row, nil
}

func (row *ReadyRow) fan(set input.RigFile, miss func(string, ...any)) {
	switch {
	case set.Room.AirflowKnown || len(set.Room.Fans) > 0:
		row.Fan = "there is one"
	case set.Room.Fans == nil:
		row.Fan = "not known"
		miss("Whether a fan blows is not known; indoors it decides how long a rider stays cool.")
	default:
		row.Fan = "there is none"
		miss("There is no fan.")
	}
}

// reportDay is when a rig check was made, by its report.
func reportDay(b BriefRequest, name string) (time.Time, error) {
	f, err := b.open(name)
	if err != nil {
		return time.Time{}, err
	}
	defer f.Close()
	var report struct {
		Made time.Time `json:"made"`
	}
	if err := json.NewDecoder(io.LimitReader(f, 16<<20)).Decode(&report); err != nil || report.Made.IsZero() {
		return time.Time{}, problem.Bad("%s: is no report of a rig check; expected what 'chainline check --json' printed", name)
	}
	return report.Made, nil
}
