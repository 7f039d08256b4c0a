package fitfile

import (
	"fmt"
	"io"
	"math"
	"slices"
	"time"

	"github.com/muktihari/fit/encoder"
	"github.com/muktihari/fit/profile/mesgdef"
	"github.com/muktihari/fit/profile/typedef"
	"github.com/muktihari/fit/proto"

	"chainline/recording"
)

// Options is what can be chosen of an activity.
type Options struct {
	// Source is the one whose power the file shows; empty: as the ride went.
	// All other sources stand in developer fields named after them.
	Source string
}

const (
	fitEpoch  = 631065600 // 1989-12-31 00:00 UTC, Unix seconds
	maxLaps   = 4095      // a message index has twelve bits
	precision = 1e-9      // s, of a row's end
)

// Activity writes a recording as a FIT activity: one record a second, the
// timer stopped in pauses, laps as marked, beats, a session. What was not
// measured is not in it. FIT has whole seconds: the start is rounded to one,
// and records stand at the end of the second they speak of. The error is for
// an invalid or empty recording, an unknown source, a time FIT cannot say, or
// the writer's.
func Activity(w io.Writer, rec *recording.Recording, o Options) error {
	if err := rec.Validate(); err != nil {
		return fmt.Errorf("FIT activity: %w", err)
	}
	if o.Source != "" && !slices.Contains(rec.Sources(recording.Power), o.Source) {
		return fmt.Errorf("FIT activity: no power was recorded from %q; there is %q", o.Source, rec.Sources(recording.Power))
	}
	if rec.StartUnix < fitEpoch {
		return fmt.Errorf("FIT activity: the ride starts before 1990, which the format cannot say")
	}
	rows, err := rec.Rows(1)
	if err != nil {
		return fmt.Errorf("FIT activity: %w", err)
	}
	if len(rows.Seconds) == 0 {
		return fmt.Errorf("FIT activity: nothing was recorded")
	}
	a := &activity{rec: rec, rows: rows, start: int64(math.Round(rec.StartUnix)), options: o}
	fit := proto.FIT{}
	if fit.Messages, err = a.messages(); err != nil {
		return fmt.Errorf("FIT activity: %w", err)
	}
	// Local message types save space; compressed timestamps are not used, for
	// some readers refuse them or read other times.
	enc := encoder.New(w, encoder.WithProtocolVersion(proto.V2), encoder.WithHeaderOption(encoder.HeaderOptionNormal, 15))
	if err := enc.Encode(&fit); err != nil {
		return fmt.Errorf("FIT activity: %w", err)
	}
	return nil
}

type activity struct {
	rec     *recording.Recording
	rows    *recording.Table
	start   int64 // Unix, s
	options Options
}

// timed is a message at its place in time; rank orders those of one instant.
type timed struct {
	at   float64
	rank int
	mesg proto.Message
}

// The order of messages of one instant.
const (
	atStart = iota
	atRecord
	atBeats
	atStop
	atLap
)

func (a *activity) time(seconds float64) time.Time {
	return time.Unix(a.start+int64(math.Round(seconds)), 0).UTC()
}

func (a *activity) messages() ([]proto.Message, error) {
	total := a.rec.Totals(a.options.Source)
	laps := a.rec.Laps(a.options.Source)
	if len(laps) > maxLaps {
		return nil, fmt.Errorf("%d laps; the format has room for %d", len(laps), maxLaps)
	}
	begin := a.time(0)
	out := []proto.Message{mesgdef.NewFileId(nil).
		SetType(typedef.FileActivity).
		SetManufacturer(typedef.ManufacturerDevelopment).
		SetProduct(0).
		SetSerialNumber(uint32(a.start - fitEpoch)). // not a device's: there is none
		SetTimeCreated(begin).
		SetProductName("Chainline").ToMesg(nil)}
	fields, extra := a.developerFields()
	out = append(out, fields...)
	out = append(out, mesgdef.NewDeviceInfo(nil).
		SetTimestamp(begin).
		SetDeviceIndex(typedef.DeviceIndexCreator).
		SetManufacturer(typedef.ManufacturerDevelopment).
		SetProduct(0).
		SetProductName("Chainline").ToMesg(nil))

	middle := a.timer(total.To)
	middle = append(middle, a.records(extra)...)
	middle = append(middle, a.beats()...)
	for i := range laps {
		middle = append(middle, timed{laps[i].To, atLap, a.lap(i, &laps[i], i == len(laps)-1)})
	}
	slices.SortStableFunc(middle, func(x, y timed) int {
		switch {
		case x.at < y.at:
			return -1
		case x.at > y.at:
			return 1
		}
		return x.rank - y.rank
	})
	for _, m := range middle {
		out = append(out, m.mesg)
	}
	end := a.time(total.To)
	return append(out, a.session(&total, len(laps)), mesgdef.NewActivity(nil).
		SetTimestamp(end).
		SetLocalTimestamp(end.Add(time.Duration(a.rec.ZoneSeconds)*time.Second)).
		SetTotalTimerTime(milli(total.Moving)).
		SetNumSessions(1).
		SetType(typedef.ActivityManual).
		SetEvent(typedef.EventActivity).
		SetEventType(typedef.EventTypeStop).ToMesg(nil)), nil
}

// timer is the timer's starts and stops; the last stop is the ride's end.
func (a *activity) timer(end float64) []timed {
	var out []timed
	event := func(at float64, rank int, kind typedef.EventType) {
		out = append(out, timed{at, rank, mesgdef.NewEvent(nil).
			SetTimestamp(a.time(at)).
			SetEvent(typedef.EventTimer).
			SetEventType(kind).
			SetEventGroup(0).ToMesg(nil)})
	}
	event(0, atStart, typedef.EventTypeStart)
	running := true
	for _, m := range a.rec.Marks {
		switch {
		case m.Kind == recording.Pause && running:
			event(m.Seconds, atStop, typedef.EventTypeStopAll)
			running = false
		case m.Kind == recording.Resume && !running:
			event(m.Seconds, atStart, typedef.EventTypeStart)
			running = true
		}
	}
	if running {
		event(end, atStop, typedef.EventTypeStopAll)
	}
	return out
}

// beats are R-R intervals, up to five in a message, behind the record of the
// second they arrived in.
func (a *activity) beats() []timed {
	c, _ := a.rec.Signal(recording.RRInterval, "")
	var out []timed
	for i := 0; i < len(c.Values); {
		second := math.Ceil(c.Seconds[i] - precision)
		group := slices.Repeat([]uint16{math.MaxUint16}, 5)
		n := 0
		for ; i < len(c.Values) && n < 5 && math.Ceil(c.Seconds[i]-precision) == second; i++ {
			if ms := c.Values[i] * 1000; ms > 0 && ms < math.MaxUint16 {
				group[n] = uint16(math.Round(ms))
				n++
			}
		}
		if n > 0 {
			out = append(out, timed{second, atBeats, mesgdef.NewHrv(nil).SetTime(group).ToMesg(nil)})
		}
	}
	return out
}

func (a *activity) sport() (typedef.Sport, typedef.SubSport) {
	switch a.rec.Sport {
	case "road cycling":
		return typedef.SportCycling, typedef.SubSportRoad
	default:
		return typedef.SportCycling, typedef.SubSportIndoorCycling
	}
}
