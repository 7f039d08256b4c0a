package service

import (
	"context"
	"errors"
	"fmt"
	"io"
	"maps"
	"math"
	"slices"
	"strings"
	"time"

	"chainline/brief"
	"chainline/capacity"
	"chainline/debrief"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/physics"
	"chainline/recording"
	"chainline/room"
)

// DebriefSchema names the form of a DebriefSheet as JSON.
const DebriefSchema = "chainline.debrief/1"

// DebriefRequest is what a person asks of rides that were ridden.
type DebriefRequest struct {
	Files []string // recordings, archives of them, folders
	// Brief says who rode, on what, and by which course. Its Date is not looked
	// at: what a ride is laid against is the brief of its own day.
	Brief      BriefRequest
	Harder     string   // no, little, much; empty: not asked
	Source     string   // of power; empty: as the ride went by it
	Alone      bool     // nobody was near enough to give shelter
	AsRecorded bool     // nothing is cleaned
	Without    []string // heart_rate, mass, name: left out of everything that is handed over

	// Weighed is what the scales said before and after, kg, and what was drunk
	// between, l; nil: nobody stood on them.
	Weighed *[3]float64
	// Single names the flag, if there is one, that means something of one ride
	// only.
	Single string

	// keep tells which of what cleaning finds is done; nil: all.
	keep func(recording.Change) bool

	Each     func(DebriefSheet) error // is handed one after the other, in the order of time
	Progress func(string)             // may be nil
}

// DebriefSheet is one ride's debrief and what it was made from.
type DebriefSheet struct {
	Schema string `json:"schema"`
	ID     string `json:"ride,omitempty"` // of a ride that is kept
	File   string `json:"file"`
	Kind   string `json:"kind"`   // FIT, GPX, CSV or stored
	Number int    `json:"number"` // of the ride in its file, from 1
	Date   string `json:"date,omitempty"`
	Rider  string `json:"rider,omitempty"`
	Harder string `json:"could_have_gone_harder,omitempty"`

	Losses  []string           `json:"losses,omitempty"` // of reading the file
	Cleaned bool               `json:"cleaned"`          // whether it was looked for what to clean
	Changes []recording.Change `json:"changes,omitempty"`
	Notes   []string           `json:"notes,omitempty"` // what was assumed, one sentence each

	Debrief debrief.Debrief `json:"debrief"`

	Recording *recording.Recording `json:"-"` // as it was looked at

	found []recording.Change // by cleaning, those that were taken back among them
}

// debriefed is what is carried from one ride to the next.
type debriefed struct {
	q       DebriefRequest
	harder  capacity.Harder
	learnt  []capacity.Evidence
	rode    []int // days of the rides so far, rising
	numbers []debrief.Moved
	loads   map[int]float64 // th by day
	best    debrief.Season
	days    []string // of the rides, as best.Ride counts them
	files   []string
	last    brief.Request // of the last ride

	ids    []string // as files, of rides that are kept
	asOf   int      // the day the response is of; 0: that of the last ride
	events []debrief.Event
}

// Debrief reads rides and makes a debrief of each. What could not be used
// among several stands in the season. Errors are *problem.Error or ctx's.
func Debrief(ctx context.Context, q DebriefRequest) (DebriefSeason, error) {
	d := &debriefed{q: q, loads: map[int]float64{}}
	if err := d.check(); err != nil {
		return DebriefSeason{}, err
	}
	rides, out, err := takeIn(ctx, q)
	if err != nil {
		return DebriefSeason{}, err
	}
	if err := d.fits(rides); err != nil {
		return DebriefSeason{}, err
	}
	done := 0
	for _, group := range together(rides) {
		kept, repeats, err := withoutRepeats(group)
		if err != nil {
			return DebriefSeason{}, err
		}
		out = append(out, repeats...)
		done += len(repeats)
		for _, t := range kept {
			if done++; q.Progress != nil {
				q.Progress(fmt.Sprintf("ride %d of %d", done, len(rides)))
			}
			err := d.one(ctx, t)
			if bad, ok := errors.AsType[*unusable](err); ok && len(rides) > 1 {
				out = append(out, DebriefLeftOut{t.label(), bad.why})
				continue
			}
			if err != nil {
				return DebriefSeason{}, err
			}
		}
	}
	return d.season(out), nil
}

// unusable is a ride of which nothing can be said.
type unusable struct{ file, why string }

func (u *unusable) Error() string { return u.file + ": " + u.why }
func (u *unusable) Unwrap() error {
	return problem.Bad("%s: %s; expected a ride that was recorded", u.file, u.why)
}

// check finds what is wrong with a request before anything is read.
func (d *debriefed) check() error {
	q := d.q
	var ok bool
	if d.harder, ok = capacity.ParseHarder(q.Harder); !ok {
		return problem.Bad("--harder: found %q; expected no, little or much", q.Harder)
	}
	for _, w := range q.Without {
		if !slices.Contains(canLeaveOut, w) {
			return problem.Bad("--without: found %q; expected heart_rate, mass or name", w)
		}
	}
	switch {
	case len(q.Files) == 0:
		return problem.Bad("nothing to look at; expected recordings (FIT, GPX or CSV), an archive or a folder of them")
	case q.Each == nil:
		panic("service.Debrief: nobody to hand the debriefs to")
	case q.Brief.Rider == "":
		for name, given := range map[string]bool{"rig": q.Brief.Rig != "", "course": q.Brief.Course != "", "event": q.Brief.Event != "", "road": q.Brief.Road != "", "harder": q.Harder != "", "weighed": q.Weighed != nil} {
			if given {
				return problem.Bad("--%s: means something only of a rider; expected --rider FILE beside it", name)
			}
		}
		return nil
	case q.Brief.Event != "" && q.Brief.Course == "":
		return problem.Bad("--event: is laid against the ride along its course; expected --course FILE beside it")
	case q.Weighed != nil && q.Brief.Rig == "":
		return problem.Bad("--weighed: what is sweated depends on the room, which the rig tells; expected --rig FILE beside it")
	case q.Brief.Course != "" && q.Brief.Rig == "":
		return problem.Bad("--course: the brief of the ride needs a rig; expected --rig FILE beside it")
	}
	ask, _, err := q.ask(q.Brief.Today)
	if err == nil && q.Brief.Course != "" && ask.Way.Sketch != nil {
		return problem.Bad("%s: where its climbs stand is not known, so that no ride can be laid against it; expected a surveyed course", q.Brief.Course)
	}
	return err
}

// fits says whether so many rides can be asked about at once.
func (d *debriefed) fits(rides []taken) error {
	single := d.q.Single
	switch {
	case single != "":
	case d.q.Brief.Course != "":
		single = "course"
	case d.q.Harder != "":
		single = "harder"
	case d.q.Weighed != nil:
		single = "weighed"
	default:
		return nil
	}
	n := len(rides)
	if n <= heldRides { // else they cannot all be one
		n = 0
		for _, group := range together(rides) {
			kept, _, err := withoutRepeats(group)
			if err != nil {
				return err
			}
			n += len(kept)
		}
	}
	if n != 1 {
		return problem.Bad("--%s: belongs to a single ride; found %d rides, expected 1", single, n)
	}
	return nil
}

// assumedRig stands in where nobody says what was ridden on: the watts may be
// off as a usual trainer's, and no evidence was measured with it.
const assumedRig, assumedRigText = "\x00rig", "trainer: {kind: controllable}\n"

// ask is the brief's request as it would have been on the day of a ride, and
// how much evidence was not known before it.
func (q DebriefRequest) ask(day time.Time) (ask brief.Request, later int, err error) {
	b := q.Brief
	b.Date = day.Format(time.DateOnly)
	if b.Course == "" {
		flat, short := 0.0, 10000.0 // any course will do
		b.Sketch, b.Event = SketchRequest{Distance: &short, Ascent: &flat}, ""
	}
	if b.Rig == "" {
		b.Rig = assumedRig
		b.Open = func(name string) (io.ReadCloser, error) {
			if name == assumedRig {
				return io.NopCloser(strings.NewReader(assumedRigText)), nil
			}
			return q.Brief.open(name)
		}
	}
	if ask, err = b.request(); err != nil {
		return ask, 0, err
	}
	before := slices.DeleteFunc(slices.Clone(ask.Rider.Evidence), func(e capacity.Evidence) bool { return e.Date != "" && e.Age < 1 })
	later = len(ask.Rider.Evidence) - len(before)
	ask.Rider.Evidence = before
	return ask, later, nil
}

// one debriefs one ride, hands it over and remembers what it taught.
func (d *debriefed) one(ctx context.Context, t taken) error {
	if err := ctx.Err(); err != nil {
		return err
	}
	s := DebriefSheet{Schema: DebriefSchema, File: t.file, Kind: t.kind, Number: t.number, Losses: t.losses, Cleaned: !d.q.AsRecorded, Harder: d.q.Harder}
	rec := t.recording
	if s.Cleaned {
		s.found = suspects(rec)
		s.Changes = s.found
		if d.q.keep != nil {
			s.Changes = slices.DeleteFunc(slices.Clone(s.found), func(c recording.Change) bool { return !d.q.keep(c) })
		}
		rec = recording.Apply(rec, s.Changes)
	}
	if d.without("heart_rate") {
		rec = withoutHeart(rec)
		s.Changes = slices.DeleteFunc(s.Changes, func(c recording.Change) bool { return ofHeart(c.Quantity) })
	}
	if d.q.Source != "" && !slices.Contains(rec.Sources(recording.Power), d.q.Source) {
		return problem.Bad("--power-source: %s has no power from %q; expected one of %q", t.label(), d.q.Source, rec.Sources(recording.Power))
	}
	day, told := dayOf(rec)
	if told {
		s.Date = day.Format(time.DateOnly)
	} else {
		day = d.q.Brief.Today
		s.Notes = append(s.Notes, "The recording does not say when it was ridden: today is taken.")
	}
	s.Notes = append(s.Notes, companyNotes(rec)...)
	ask := debrief.Request{Ride: debrief.MeasureRequest{Recording: *rec, Source: d.q.Source, Seed: d.q.Brief.Seed}}
	if d.q.Brief.Rider != "" {
		if err := d.about(ctx, &ask, &s, day); err != nil {
			return err
		}
	}
	made, err := debrief.Make(ctx, ask)
	if err != nil {
		if ctx.Err() != nil {
			return ctx.Err()
		}
		return &unusable{t.label(), err.Error()}
	}
	s.Debrief, s.Recording = made, rec
	d.hide(&s)
	d.remember(s, dayNumber(day))
	return d.q.Each(s)
}

// canLeaveOut is what may be left out of what is handed over.
var canLeaveOut = []string{"heart_rate", "mass", "name"}

func (d *debriefed) without(what string) bool { return slices.Contains(d.q.Without, what) }

func ofHeart(q recording.Quantity) bool {
	return q == recording.HeartRate || q == recording.RRInterval
}

// withoutHeart is a recording without its heart rate and beats.
func withoutHeart(r *recording.Recording) *recording.Recording {
	out := *r
	out.Channels = slices.DeleteFunc(slices.Clone(r.Channels), func(c recording.Channel) bool { return ofHeart(c.Quantity) })
	out.Used = maps.Clone(r.Used)
	maps.DeleteFunc(out.Used, func(q recording.Quantity, _ string) bool { return ofHeart(q) })
	return &out
}

// hide takes out the name, and what the mass could be reckoned from: watts per
// kilogram and the road's fit, of which the mass is a part.
func (d *debriefed) hide(s *DebriefSheet) {
	if d.without("name") {
		s.Rider = ""
	}
	if !d.without("mass") {
		return
	}
	m := &s.Debrief.Measures
	m.Whole.WPerKg = 0
	for _, list := range [][]debrief.Stretch{m.Laps, m.Climbs} {
		for i := range list {
			list[i].WPerKg = 0
		}
	}
	s.Debrief.Road, s.Debrief.Weighed = nil, nil
}

// about fills in what is known of the rider before the ride.
func (d *debriefed) about(ctx context.Context, to *debrief.Request, s *DebriefSheet, day time.Time) error {
	ask, later, err := d.q.ask(day)
	if err != nil {
		return err
	}
	if later > 0 {
		s.Notes = append(s.Notes, fmt.Sprintf("What was known before the ride is asked: %d of the evidence is of its day or later and was left out.", later))
	}
	if d.q.Brief.Rig == "" {
		s.Notes = append(s.Notes, "No rig was named: the watts are taken for those of a usual trainer, which no evidence was measured with.")
	}
	for _, e := range d.learnt {
		if e.Age = daysBefore(day, e.Date); e.Age >= 1 {
			ask.Rider.Evidence = append(ask.Rider.Evidence, e)
		}
	}
	ask.Rider.Off = debrief.TimeOff(d.rode, dayNumber(day))
	rider, err := read(d.q.Brief, d.q.Brief.Rider, input.ReadRider)
	if err != nil {
		return err
	}
	d.last, s.Rider = ask, ask.Rider.Name
	sd, _ := ask.Rig.SourceSD()
	to.Ride.Rider, to.Ride.Recovery, to.Ride.RestHeart = ask.Rider, ask.Recovery, rider.RestingHeartRate.Or(0)
	to.Learn = &debrief.LearnRequest{Rider: ask.Rider, Source: capacity.Source{Name: ask.Rig.Source.Name, SD: sd}, Answer: d.harder,
		Recovery: ask.Recovery, Date: s.Date, Where: whereOf(&to.Ride.Recording), Seed: ask.Seed}
	to.Road = d.road(ask, &to.Ride.Recording, sd)
	if to.Weighing, err = d.weighing(ask, to.Ride); err != nil {
		return err
	}
	if d.q.Brief.Course == "" {
		c, _, _ := brief.Learn(ask)
		to.Ride.Capacity = &c
		return nil
	}
	if d.q.Progress != nil {
		d.q.Progress("making the brief as it would have been before the ride")
	}
	b, ridden, err := brief.MakeRide(ctx, ask)
	if stall, ok := errors.AsType[*physics.StallError](err); ok {
		return &problem.Error{Kind: problem.Failed, Message: "the brief of this ride cannot be made: " + stall.Error(), Err: err}
	}
	to.Planned = &debrief.Planned{Brief: b, From: ridden}
	return err
}

// weighing is what the scales said of a ride; the next one is planned for as
// the same effort again.
func (d *debriefed) weighing(ask brief.Request, ride debrief.MeasureRequest) (*debrief.Weighing, error) {
	if d.q.Weighed == nil {
		return nil, nil
	}
	all := ride.Recording.Totals(ride.Source)
	said := room.SweatMeasurement{BeforeKg: d.q.Weighed[0], AfterKg: d.q.Weighed[1], DrinkL: d.q.Weighed[2], Seconds: all.Elapsed}
	if _, err := room.SweatFromWeighing(said); err != nil {
		return nil, problem.Bad("--%v", strings.Replace(err.Error(), "weighing", "weighed", 1))
	}
	if math.IsNaN(all.MeanW) {
		return nil, problem.Bad("--weighed: sweat goes with the watts; expected a ride with power")
	}
	watts := all.MeanW
	if _, _, learnt := brief.Learn(ask); ask.ShowsWatts() {
		watts /= learnt.Scale.Mean
	}
	r := ask.Rider
	body := room.Body{Mass: r.Mass, Height: r.Height, Female: r.Sex == capacity.Female, SexKnown: r.Sex != capacity.SexUnknown, Acclimatised: ask.Acclimatised, SweatRate: ask.Weighed}
	return &debrief.Weighing{Room: ask.Room, Body: body, Scales: said, Next: room.Effort{Watts: watts, Seconds: all.Moving}}, nil
}

// Doubts of a road fit, standard deviations; our judgement.
const (
	debriefMassSD    = 0.5  // kg, of the rider: scales and a day's water
	debriefDensitySD = 0.01 // of the air, as a fraction
)

// road is what a fit has to know. Indoors the watts shown are those that move
// the rider along a road that is reckoned; outdoors the true ones do.
func (d *debriefed) road(ask brief.Request, rec *recording.Recording, sourceSD float64) *debrief.RoadRide {
	if _, grouped := rec.Company(); grouped {
		return nil // speeds are those of our own physics in shelter: they teach nothing of the road
	}
	indoors := whereOf(rec) == "indoor"
	r := debrief.RoadRide{Road: ask.Road.Road, RiderMass: ask.Rider.Mass, MassSD: math.Hypot(debriefMassSD, ask.Road.BikeSD), CrrSD: ask.Road.CrrSD,
		TimeTrial: d.q.Alone || ask.Occasion.Kind == brief.TimeTrial, StillAir: indoors}
	if !indoors {
		r.SourceSD, r.DensitySD = sourceSD, debriefDensitySD
	}
	return &r
}

// companyNotes say that a ride had the shelter of a live group, and help.
func companyNotes(rec *recording.Recording) []string {
	c, grouped := rec.Company()
	if !grouped {
		return nil
	}
	out := []string{fmt.Sprintf("Ridden in a live group: riders near left %.0f %% of the air drag on average. The brief reckons with a rider alone, so the time differs for that as well, and nothing is learnt of the road.", 100*c.Shelter)}
	if c.HelpedS > 0 {
		out = append(out, fmt.Sprintf("The group's host kept it together: for %s this ride had help that left %.0f %% of the remaining air drag on average.", minutes(c.HelpedS), 100*c.HelpShare))
	}
	if c.BroughtM > 0 {
		out = append(out, fmt.Sprintf("The group's host brought the rider up by %.0f m, which were not ridden and are not in the distance.", c.BroughtM))
	}
	return out
}

// minutes are seconds as 4:05 min.
func minutes(seconds float64) string {
	s := int(math.Round(seconds))
	return fmt.Sprintf("%d:%02d min", s/60, s%60)
}

// whereOf is "indoor", "outdoor" or, where the recording does not tell, empty.
func whereOf(r *recording.Recording) string {
	switch {
	case strings.HasPrefix(r.Sport, "indoor"):
		return "indoor"
	case r.Sport != "":
		return "outdoor"
	}
	return ""
}

// dayOf is the day on which a ride began where it was ridden; false: the
// recording does not tell.
func dayOf(r *recording.Recording) (time.Time, bool) {
	t := time.Unix(int64(r.StartUnix), 0).In(time.FixedZone("", r.ZoneSeconds))
	if t.Year() < 1990 || t.Year() > 2099 {
		return time.Time{}, false
	}
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC), true
}

// dayNumber counts days by ones.
func dayNumber(day time.Time) int {
	return int(time.Date(day.Year(), day.Month(), day.Day(), 0, 0, 0, 0, time.UTC).Unix() / 86400)
}
