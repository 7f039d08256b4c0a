package web

import (
	"context"
	"fmt"
	"html/template"
	"math"
	"net/url"
	"slices"
	"strings"
	"time"
	"unicode"
	"unicode/utf8"

	"chainline/internal/input"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/rig"
)

// thinShare is the doubt about the threshold, as a share, above which more
// should be known first. Our judgement; briefs recommend tests by the same.
const thinShare = 0.06

// NextStep is something to do.
type NextStep struct {
	Says, Why  string
	Path, Link string // may be empty
	Done       bool
	Demo       bool // done by what is invented
	Number     int  // of a step
}

// NextEvent is what is coming.
type NextEvent struct {
	Name, When, Away string
	Path             string // of the event
	Brief            NextStep
}

// NextWorth is one thing that is worth doing.
type NextWorth struct{ Gain, What, Why string }

// NextRide is one ride of a newcomer's path.
type NextRide struct {
	Number          int
	Name, When, Why string
	Path, Link      string // to ride it with the program
	Told, TellLink  string // to enter what came of it, ridden elsewhere; empty where that would ask for watts that nothing shows
	Says, SaysPath  string // what to send, and where, to say that it was ridden; empty where that is not asked
	Unsay           bool   // it was said, and can be taken back
	State           string // "done", "next" or "later"
}

// nextView is what the page is told from: one moment of what is kept.
type nextView struct {
	now    time.Time
	dates  dates
	kept   map[store.Kind][]store.Object
	briefs []store.Brief
	rider  store.Object
	file   input.RiderFile
	event  *datedEvent
	group  *datedEvent  // the nearest ride together
	brief  *store.Brief // for the event, else the rider's latest
	rig    *store.Object

	checked    time.Time // when the rig was last checked
	wasChecked bool

	taught *service.Taught // by rides that are kept
	ridden riddenFirst     // of a newcomer
}

// look gathers what there is, for a rider that was chosen or stands to reason.
func (s *Server) look(ctx context.Context, chosen string, d dates) (v nextView, err error) {
	v = nextView{now: s.now(), dates: d, kept: map[store.Kind][]store.Object{}}
	for _, kind := range store.Kinds {
		if v.kept[kind], err = s.store.Objects(ctx, kind); err != nil {
			return v, err
		}
	}
	if v.briefs, err = s.store.Briefs(ctx, ""); err != nil {
		return v, err
	}
	v.chooseRider(chosen)
	if v.rider.ID == "" {
		return v, nil
	}
	v.file, err = input.ReadRider("rider", strings.NewReader(v.rider.Text))
	if err != nil {
		v.file = input.RiderFile{}
	}
	v.nearest()
	v.briefs = slices.DeleteFunc(v.briefs, func(b store.Brief) bool { return b.RiderID != v.rider.ID })
	for i, b := range v.briefs {
		if v.brief == nil && (v.event == nil || b.EventID == v.event.row.ID) {
			v.brief = &v.briefs[i]
		}
	}
	v.chooseRig()
	v.taught = s.taught(ctx, v.rider.ID)
	if s.library != nil && v.file.Level == "new" {
		rows, err := s.library.Rides(ctx, v.rider.ID, service.RideFilter{})
		if err != nil {
			return v, err
		}
		v.ridden = riddenFirstOf(rows)
	}
	if v.rig != nil {
		all, err := s.store.RigChecks(ctx, v.rig.ID)
		if err != nil {
			return v, err
		}
		if len(all) > 0 {
			v.checked, v.wasChecked = all[0].Made, true
		}
	}
	return v, nil
}

// checkPath is where the rig of the view is checked.
func (v nextView) checkPath() string {
	if v.rig == nil {
		return "/check"
	}
	return checkAgain(v.rider.ID, v.rig.ID)
}

// chooseRider takes the one asked for, else whoever had a brief last, else the
// first who is not invented.
func (v *nextView) chooseRider(chosen string) {
	riders := v.kept[store.Rider]
	if len(riders) == 0 {
		return
	}
	if chosen == "" && len(v.briefs) > 0 {
		chosen = v.briefs[0].RiderID
	}
	at := slices.IndexFunc(riders, func(o store.Object) bool { return o.ID == chosen })
	if at < 0 {
		at = slices.IndexFunc(riders, func(o store.Object) bool { return !o.Demo })
	}
	v.rider = riders[max(0, at)]
}

// nearest is the event that comes first.
func (v *nextView) nearest() {
	for _, o := range v.kept[store.Event] {
		e := eventRow(o, v.now, asFiled, v.dates)
		if e.dated && !e.over && (v.event == nil || e.start.Before(v.event.start)) {
			v.event = &e
		}
		if e.dated && !e.over && e.row.Kind == eventLabel("group") && (v.group == nil || e.start.Before(v.group.start)) {
			v.group = &e
		}
	}
}

func eventLabel(kind string) string {
	at := slices.IndexFunc(eventKinds, func(o Option) bool { return o.Value == kind })
	return eventKinds[at].Label
}

// chooseRig takes the one of the latest brief, else the only one.
func (v *nextView) chooseRig() {
	rigs := v.kept[store.Rig]
	if len(v.briefs) > 0 {
		for i := range rigs {
			if rigs[i].ID == v.briefs[0].RigID {
				v.rig = &rigs[i]
				return
			}
		}
	}
	own := slices.DeleteFunc(slices.Clone(rigs), func(o store.Object) bool { return o.Demo != v.rider.Demo })
	if len(own) == 1 {
		v.rig = &own[0]
	} else if len(rigs) == 1 {
		v.rig = &rigs[0]
	}
}

// first are the steps from nothing to a first brief.
func (v nextView) first() []NextStep {
	steps := []NextStep{
		{Says: "You", Why: "What you weigh and how you ride: two answers, and your name if you like.", Path: "/riders/new", Link: "Add yourself"},
		{Says: "What you ride on", Why: "You are asked what you can see, not what it is called.", Path: "/rigs/new", Link: "Add what you ride on"},
		{Says: "Where", Why: "A GPX or CSV file, or the length and climbing that a route list shows.", Path: "/courses/new", Link: "Add a course"},
		{Says: "Your brief", Why: "What to hold where, and when you are likely home.", Path: "/briefs/new", Link: "Make the brief", Done: len(v.briefs) > 0},
	}
	for i, kind := range []store.Kind{store.Rider, store.Rig, store.Course} {
		all := v.kept[kind]
		steps[i].Done = len(all) > 0
		steps[i].Demo = len(all) > 0 && !slices.ContainsFunc(all, func(o store.Object) bool { return !o.Demo })
	}
	for i := range steps {
		steps[i].Number = i + 1
	}
	return steps
}

// missing are what should be known or done before the ride.
func (s *Server) missing(v nextView) []NextStep {
	var all []NextStep
	rider := "/riders/" + v.rider.ID
	if v.file.Screened == "" && !v.file.Screening.Known {
		all = append(all, NextStep{Says: "The health questions are not answered.", Why: "Until they are, no all-out test is suggested. A brief still plans a hard ride.", Path: rider + "/health", Link: "Answer them"})
	}
	if v.rig == nil && len(v.kept[store.Rig]) == 0 {
		return append(all, NextStep{Says: "What you ride on is not known.", Path: "/rigs/new", Link: "Add a rig"})
	}
	if v.rig == nil {
		return all
	}
	if doubt := s.doubt(v.rider.Text, v.rig.Text, v.taught); doubt > thinShare {
		all = append(all, NextStep{Says: fmt.Sprintf("Little is known of your power yet: what you could hold for about an hour may be %.0f %% more or less.", math.Round(100*doubt)),
			Why: "A hill you know, an easy ride with a pulse, or a test narrows it.", Path: rider + "/evidence/new", Link: "Add something you know"})
	}
	if !v.wasChecked && !v.nothingToCheck() {
		all = append(all, NextStep{Says: "Whether this rig's numbers can be trusted is not known.", Why: "Half an hour of easy riding says what they are worth.", Path: v.checkPath(), Link: "Check the rig"})
	}
	file, err := input.ReadRig("rig", strings.NewReader(v.rig.Text))
	switch {
	case err != nil || file.Room.AirflowKnown:
	case file.Room.Fans == nil:
		all = append(all, NextStep{Says: "Whether a fan blows at you is not known.", Why: "Indoors it decides how long you stay cool.", Path: "/rigs/" + v.rig.ID, Link: "Say which fan there is"})
	case len(file.Room.Fans) == 0:
		all = append(all, NextStep{Says: "There is no fan in the room.", Why: "Without one the heat stays with you; a fan is the cheapest help there is.", Path: "/rigs/" + v.rig.ID, Link: "Add one when you have it"})
	}
	return all
}

// worthOf are the things that are worth doing, by a kept brief.
func worthOf(k briefKept) []NextWorth {
	var all []NextWorth
	for _, w := range k.Worth {
		switch {
		case w.Done:
		case w.Seconds >= 1:
			all = append(all, NextWorth{clock(w.Seconds), capital(w.What), capital(w.Why) + "."})
		case w.From > 0 && w.To < w.From:
			all = append(all, NextWorth{"surer", capital(w.What), fmt.Sprintf("The finish would be known to within %s instead of %s.", clock(w.To), clock(w.From))})
		}
	}
	return all
}

// capital begins a sentence.
func capital(s string) string {
	if s == "" {
		return ""
	}
	r, n := utf8.DecodeRuneInString(s)
	return strings.TrimRight(string(unicode.ToUpper(r))+s[n:], ".")
}

// Days between the first rides: rest before the next one. Our judgement.
const (
	daysToTest  = 3
	daysToGroup = 4
)

// pathStep is a ride of the path in the making.
type pathStep struct {
	NextRide
	done      firstDone
	key, said string // in the rider's file, and the day that stands there; no key: it is not asked for
	hard      bool   // not for who may only ride easily
}

// firstRides are a newcomer's path. Its dates follow from what was done and
// when: they are never in the past.
func (v nextView) firstRides() []NextRide {
	if v.file.Level != "new" || v.rider.ID == "" {
		return nil
	}
	today := time.Date(v.now.Year(), v.now.Month(), v.now.Day(), 0, 0, 0, 0, time.UTC)
	said := v.file.FirstRides
	easy := v.whenFirst(v.ridden.easy, said.Easy, "heart_rate", "talk")
	test := v.whenFirst(v.ridden.test, said.Test, "talk", "test", "threshold")
	group := v.whenFirst(v.ridden.group, said.Group)
	testDay := later(today, easy.or(today).AddDate(0, 0, daysToTest))
	groupDay := later(today, test.or(testDay).AddDate(0, 0, daysToGroup))
	steps := []pathStep{
		{done: easy, key: "easy", said: said.Easy, NextRide: NextRide{Name: "An easy ride", When: v.rideDay(easy, today, today),
			Why: "Half an hour so easy that you could talk all the time.", Path: v.ridePath("easy-baseline"), Link: "Ride it"}},
		{done: firstDone{v.wasChecked, v.checked}, NextRide: NextRide{Name: "A check of the rig", When: v.rideDay(firstDone{v.wasChecked, v.checked}, today, today),
			Why: "Whether its numbers can be trusted: half an hour of easy riding, one instruction at a time.", Path: v.checkPath(), Link: "Check the rig"}},
		{done: test, key: "test", said: said.Test, hard: true, NextRide: NextRide{Name: "A test that is not all-out", When: v.rideDay(test, testDay, today),
			Why: "A little harder every few minutes, until speaking in sentences just stops being comfortable; then stop.", Path: v.ridePath("test-talk"), Link: "Ride it"}},
		{done: group, key: "group", said: said.Group, hard: true, NextRide: NextRide{Name: "A first ride in a group", When: v.rideDay(group, groupDay, today),
			Why: "Find one that says it is easy, and start at the back."}},
	}
	if v.showsWatts() {
		for i, why := range map[int]string{0: " Note the watts and your pulse at its end.", 2: " Note the watts at which it did."} {
			steps[i].Why += why
			steps[i].Told, steps[i].TellLink = "/riders/"+v.rider.ID+"/evidence/new", "Enter what came of it"
		}
	}
	if v.group != nil && !group.did && !v.group.start.Before(testDay) {
		steps[3].When, steps[3].Why = v.group.row.When, v.group.row.Name+". Start at the back, and let those go who go."
	}
	if !v.wasChecked && v.nothingToCheck() {
		steps = slices.Delete(steps, 1, 2)
	}
	return v.marked(steps)
}

// marked are the rides with what each is now: the first that is neither done
// nor forbidden by the health questions is the next.
func (v nextView) marked(steps []pathStep) (all []NextRide) {
	next := true
	for i, x := range steps {
		r := x.NextRide
		r.Number, r.State, r.Unsay = i+1, "later", x.said != ""
		switch {
		case x.done.did:
			r.State = "done"
		case x.hard && v.file.EasyOnly:
			r.When, r.Why = "", "By the health questions only easy riding is right for now."
		case next:
			r.State, next = "next", false
		}
		if r.State != "next" {
			r.Path, r.Told = "", ""
		}
		if x.key != "" && (r.State == "next" || r.State == "done" && r.Unsay) {
			r.Says, r.SaysPath = x.key, "/riders/"+v.rider.ID+"/first-rides"
		}
		all = append(all, r)
	}
	return all
}

// whenFirst is when something was first done: by rides that are kept, by evidence
// of some kinds, or because the rider says so.
func (v nextView) whenFirst(ridden firstDone, said string, kinds ...string) firstDone {
	if day, typed := v.latest(kinds...); typed {
		ridden.add(day)
	}
	if day, err := time.Parse(time.DateOnly, said); err == nil {
		ridden.add(day)
	}
	return ridden
}

// nothingToCheck is whether the rig shows no number that a check could look at.
func (v nextView) nothingToCheck() bool {
	r, ok := v.rigRead()
	return ok && r.Source.Kind == rig.SourceNone && !r.SpeedSensor && !r.CadenceSensor && !r.HeartRate
}

// showsWatts is whether something on the rig shows watts; where that is not
// known, nothing does.
func (v nextView) showsWatts() bool {
	r, ok := v.rigRead()
	return ok && r.Source.Kind != rig.SourceNone
}

func (v nextView) rigRead() (rig.Rig, bool) {
	if v.rig == nil {
		return rig.Rig{}, false
	}
	file, err := input.ReadRig("rig", strings.NewReader(v.rig.Text))
	return file.Rig, err == nil
}

// ridePath is where the rider rides a session of the library, on what is in
// the room.
func (v nextView) ridePath(session string) string {
	q := url.Values{"what": {"session"}, "session": {session}, "rider": {v.rider.ID}, "devices": {"radio"}}
	if v.rig != nil {
		q.Set("rig", v.rig.ID)
	}
	return "/ride?" + q.Encode()
}

// latest is the last day of evidence of some kinds; one without a date counts
// as done long ago.
func (v nextView) latest(kinds ...string) (day time.Time, did bool) {
	for _, e := range v.file.Evidence {
		if !slices.Contains(kinds, e.Kind) {
			continue
		}
		did = true
		if t, err := time.Parse(time.DateOnly, e.Date); err == nil && t.After(day) {
			day = t
		}
	}
	return day, did
}

// later is the later of two days.
func later(a, b time.Time) time.Time {
	if b.After(a) {
		return b
	}
	return a
}

func (v nextView) rideDay(done firstDone, planned, today time.Time) string {
	switch {
	case done.did && done.day.IsZero():
		return "done"
	case done.did:
		return "done on " + v.dates.day(done.day)
	case planned.Equal(today):
		return "today, or when you feel like it"
	}
	return "from " + v.dates.near(planned) + " on"
}

// PathPicture draws the path as beads on a line; the list beside it says the
// same.
func PathPicture(rides []NextRide) template.HTML {
	if len(rides) == 0 {
		return ""
	}
	var out strings.Builder
	out.WriteString(`<svg class="path" viewBox="0 0 640 40" aria-hidden="true">`)
	step := 600.0 / float64(max(1, len(rides)-1))
	out.WriteString(`<path class="line" d="M20 20H620"/>`)
	for i, r := range rides {
		fmt.Fprintf(&out, `<circle class="bead %s" cx="%.0f" cy="20" r="9"/>`, r.State, 20+step*float64(i))
	}
	out.WriteString(`</svg>`)
	return template.HTML(out.String())
}
