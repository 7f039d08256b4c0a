package service

import (
	"fmt"
	"time"

	"chainline/internal/calendar"
	"chainline/internal/input"
	"chainline/internal/problem"
)

// What decides whether an event fits. All of it is our judgement.
const (
	warmUpRace  = 15.0 // min before an event that is ridden hard
	warmUpRide  = 5.0  // min before any other
	coolDown    = 5.0  // min afterwards
	thinSD      = 0.06 // of critical power, as a fraction: what a rider can hold is hardly known
	freshHours  = 48.0 // between two hard efforts
	hardMinutes = 2.0  // min, the shortest all-out effort that counts as one
)

// riderState is what of a rider decides about events.
type riderState struct {
	known    bool
	easyOnly bool
	isNew    bool
	thin     bool
	sd       float64   // of critical power, as a fraction
	lastHard time.Time // day of the last all-out effort; zero: none is known
}

// hard is whether an event is ridden hard.
func (e *CalendarEvent) hard() bool {
	return e.Kind == "mass" || e.Kind == "time-trial" || e.Kind == "handicap"
}

func (q CalendarRequest) state(s *CalendarSheet) (riderState, error) {
	var st riderState
	if q.Rider == "" && q.Rig == "" {
		return st, nil
	}
	if q.Rider == "" || q.Rig == "" {
		return st, problem.Bad("a rider's state needs a rider and a rig; expected --rider FILE and --rig FILE")
	}
	b := BriefRequest{Rider: q.Rider, Rig: q.Rig, Today: q.Now, Open: q.Open}
	rider, err := read(b, q.Rider, input.ReadRider)
	if err != nil {
		return st, err
	}
	k, err := Learn(b)
	if err != nil {
		return st, err
	}
	st.known, st.easyOnly, st.isNew = true, rider.EasyOnly, rider.Level == "new"
	s.Rider = rider.Name
	if cp := k.Capacity.CriticalPower; cp > 0 {
		st.sd = k.Capacity.SD()[0] / cp
	}
	st.thin = st.sd > thinSD
	for _, e := range rider.Evidence {
		day, err := time.Parse(time.DateOnly, e.Date)
		if err == nil && !e.LeftOut && (e.Kind == "test" || e.Kind == "best") && e.Duration >= 60*hardMinutes && day.After(st.lastHard) && !day.After(q.Now) {
			st.lastHard = day
		}
	}
	if st.thin {
		s.State = append(s.State, fmt.Sprintf("What you can hold is known to ±%.0f %% only; a test narrows it.", 100*st.sd))
	} else {
		s.State = append(s.State, fmt.Sprintf("What you can hold is known to ±%.0f %%.", 100*st.sd))
	}
	if st.easyOnly {
		s.State = append(s.State, "By the health questions only easy riding is right for now.")
	}
	if !st.lastHard.IsZero() {
		s.State = append(s.State, "The last all-out effort that is known of was on "+q.Dates.day(st.lastHard, usualDay)+".")
	}
	if q.Form != nil {
		s.State = append(s.State, q.Form.words())
	}
	return st, nil
}

// judge says whether an event fits time and state, with reasons.
func (e *CalendarEvent) judge(o calendar.Occurrence, q CalendarRequest, st riderState) {
	verdict := 0 // 1 perhaps, 2 no
	say := func(weight int, format string, args ...any) {
		verdict = max(verdict, weight)
		e.Why = append(e.Why, fmt.Sprintf(format, args...))
	}
	if !e.AllDay && e.Start.Before(q.Now) {
		say(2, "It has begun already.")
	}
	if q.Minutes > 0 {
		around := warmUpRide + coolDown
		if e.hard() {
			around = warmUpRace + coolDown
		}
		switch need := e.Minutes + around; {
		case e.AllDay:
			say(1, "It has no time of day.")
		case e.Minutes == 0:
			say(1, "Nobody says how long it takes.")
		case need > q.Minutes:
			say(2, "It takes %.0f min with %.0f min around it, %.0f min more than there are.", e.Minutes, around, need-q.Minutes)
		default:
			say(0, "It takes %.0f min with %.0f min around it: %.0f min are left.", e.Minutes, around, q.Minutes-need)
		}
	}
	if st.known {
		e.judgeState(st, say)
		e.judgeForm(q.Form, q.Now, say)
	}
	if len(e.Clashes) > 0 {
		say(1, "It clashes with %s.", e.Clashes[0])
	}
	e.Fits = []string{"yes", "perhaps", "no"}[verdict]
}

func (e *CalendarEvent) judgeState(st riderState, say func(int, string, ...any)) {
	switch {
	case e.Kind == "" && (st.easyOnly || st.isNew):
		say(1, "Whether it is ridden hard is not known.")
	case !e.hard():
		return
	case st.easyOnly:
		say(2, "It is ridden hard, and by the health questions only easy riding is right for now.")
		return
	case st.isNew:
		say(1, "It is ridden hard; a ride together is the friendlier start.")
	}
	if st.thin && e.hard() {
		say(1, "What you can hold is hardly known, so a forecast for it is wide.")
	}
	if since := e.Start.Sub(st.lastHard).Hours(); !st.lastHard.IsZero() && e.hard() && since >= 0 && since < freshHours {
		say(1, "It comes %.0f hours or less after an all-out effort.", freshHours)
	}
}

// closeOnes points out hard events that follow each other closely.
func closeOnes(all []CalendarEvent) {
	last := -1
	for i := range all {
		if !all[i].hard() || all[i].AllDay {
			continue
		}
		if last >= 0 && all[i].Start.Sub(all[last].Start).Hours() < freshHours {
			all[i].Why = append(all[i].Why, fmt.Sprintf("It comes within %.0f hours of %s; only one of two will be ridden fresh.", freshHours, all[last].Name))
			if all[i].Fits == "yes" {
				all[i].Fits = "perhaps"
			}
		}
		last = i
	}
}
