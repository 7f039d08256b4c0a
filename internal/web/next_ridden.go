package web

import (
	"slices"
	"time"

	"chainline/internal/service"
	"chainline/session"
)

// What of a newcomer's path is done by rides that were ridden and kept. All
// bounds are our judgement.
const (
	easyLeastS  = 20 * 60 // s moving, of half an hour that is asked for
	easyShare   = 0.75    // of threshold, as equivalent power: talking is no effort
	testLeastS  = 12 * 60 // s moving: a warm-up and the first steps
	groupLeastS = 10 * 60 // s among others
)

// gentleTests are the tests of the library that are not all-out.
var gentleTests = []string{"test-talk", "test-half-hour"}

// easySessions are those of the library that are easy throughout.
var easySessions = []string{"easy-baseline", "easy-spin", "test-easy-heart-rate"}

// riddenFirst are the first kept rides of each kind on a newcomer's path.
type riddenFirst struct{ easy, test, group firstDone }

// firstDone is when something was first done; a zero day: nobody knows.
type firstDone struct {
	did bool
	day time.Time
}

// add takes what was done into account: of two days the earlier, and one that
// is known rather than one that is not.
func (f *firstDone) add(day time.Time) {
	if !f.did || f.day.IsZero() || !day.IsZero() && day.Before(f.day) {
		f.day = day
	}
	f.did = true
}

// or is the day it was done, planned if it was not; the zero day if nobody
// knows.
func (f firstDone) or(planned time.Time) time.Time {
	if f.did {
		return f.day
	}
	return planned
}

// riddenFirstOf looks through rides. Those left out on purpose, ridden on a
// simulated rig, or recorded twice do not count.
func riddenFirstOf(rows []service.RideRow) (f riddenFirst) {
	for _, row := range rows {
		if row.Left || row.Bench || row.Repeats != "" {
			continue
		}
		var day time.Time
		if row.Dated {
			day = time.Date(row.Start.Year(), row.Start.Month(), row.Start.Day(), 0, 0, 0, 0, time.UTC)
		}
		if wasEasy(row) {
			f.easy.add(day)
		}
		if row.Seconds >= testLeastS && isSession(row.Title, gentleTests) {
			f.test.add(day)
		}
		if row.GroupS >= groupLeastS {
			f.group.add(day)
		}
	}
	return f
}

// wasEasy goes by the watts where there are some to go by, else by what was to
// be ridden or what the rider said of it.
func wasEasy(row service.RideRow) bool {
	switch {
	case row.Seconds < easyLeastS:
		return false
	case row.Share > 0:
		return row.Share <= easyShare
	}
	return row.Answer == "much" || row.Answer == "" && isSession(row.Title, easySessions)
}

// isSession is whether a ride bears the name of one of these sessions.
func isSession(title string, ids []string) bool {
	return title != "" && slices.ContainsFunc(ids, func(id string) bool {
		x, there := session.Find(id)
		return there && x.Session().Name == title
	})
}
