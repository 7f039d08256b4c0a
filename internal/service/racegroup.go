package service

import (
	"context"
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"chainline/capacity"
	"chainline/estimate"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/physics"
	"chainline/race"
)

// Groups: a handicap start, and a ride together.

// GroupRequest is riders on a way.
type GroupRequest struct {
	Riders  []string // rider files
	Names   []string // what each is called; nil: as the files say
	Courses []string // one for a handicap; several are compared for a ride together
	Road    string
	Event   string
	Laps    int
	Today   time.Time
	Seed    uint64
	Workers int
	Open    func(name string) (io.ReadCloser, error)

	// Accuracy is the sd of what each one's power source shows, as a fraction;
	// 0: two percent.
	Accuracy float64

	// Handicap.
	Bunches, Races int
	Arrivals       string // CSV: name,time of a ride by this start list
	// ArrivedS is the same as numbers, one for each rider: s after the first
	// start, NaN for who did not come home. Before is what earlier arrivals
	// taught of each, shares of power; nil: nothing.
	ArrivedS, Before []float64

	// Together.
	Hours    float64 // how long there is; 0: no limit
	Ease     float64 // share of critical power; 0: the usual
	Progress func(string)
}

const usualAccuracy = 0.02

// MostRiders are how many one group may have.
const MostRiders = 60

// HandicapSheet is a start list.
type HandicapSheet struct {
	Schema   string          `json:"schema"`
	Course   string          `json:"course"`
	LengthM  float64         `json:"length_m"`
	Bunches  []HandicapBunch `json:"bunches"`
	SpreadS  float64         `json:"spread_s"` // sd of arrivals to expect
	Fair     float64         `json:"fair_chance"`
	FairSE   float64         `json:"fair_chance_se"`
	Changes  []HandicapWord  `json:"changes,omitempty"` // what arrivals taught
	Taught   []float64       `json:"taught,omitempty"`  // shares of power by all arrivals so far, one for each rider given
	Notes    []string        `json:"notes,omitempty"`
	Unproved string          `json:"unproved"`
	Seed     uint64          `json:"seed"`
}

// HandicapBunch leaves together.
type HandicapBunch struct {
	GapS   float64         `json:"start_gap_s"`
	Riders []HandicapStart `json:"riders"`
}

// HandicapStart is one rider's.
type HandicapStart struct {
	Name    string    `json:"name"`
	Number  int       `json:"number"` // in the order the riders were given, from 1
	Chance  float64   `json:"chance_of_first"`
	SE      float64   `json:"chance_se"`
	Arrives RaceRange `json:"arrives_s"` // after the first start
	AloneS  float64   `json:"alone_s"`
}

// HandicapWord is what a result says about a rider.
type HandicapWord struct {
	Name  string  `json:"name"`
	Share float64 `json:"power_share"` // of critical power, within ± 0.02
	Why   string  `json:"why"`
}

// Handicap makes a start list; with arrivals, the one for next time.
func Handicap(ctx context.Context, q GroupRequest) (HandicapSheet, error) {
	if q.Races < 20 || q.Races > mostRaces {
		return HandicapSheet{}, problem.Bad("--races: found %d; expected 20 to %d", q.Races, mostRaces)
	}
	if q.Bunches < 0 || q.Bunches > 20 {
		return HandicapSheet{}, problem.Bad("--bunches: found %d; expected 1 to 20", q.Bunches)
	}
	if len(q.Courses) != 1 {
		return HandicapSheet{}, problem.Bad("found %d courses; expected one --course", len(q.Courses))
	}
	g, err := q.group(2)
	if err != nil {
		return HandicapSheet{}, err
	}
	ask := race.HandicapAsk{Way: g.ways[0], Road: g.road, Entrants: g.riders, Bunches: q.Bunches, Tactics: race.Homeward, Races: q.Races, Seed: q.Seed, Workers: q.Workers}
	sheet := HandicapSheet{Schema: "chainline/handicap/1", Course: g.names[0], LengthM: g.ways[0].Length(), Notes: g.notes, Unproved: race.Unproved, Seed: q.Seed}
	if err := q.before(&ask, &sheet); err != nil {
		return sheet, err
	}
	q.say("moving start gaps")
	list, err := race.Handicap(ctx, ask)
	if err != nil {
		return sheet, err
	}
	if q.Arrivals != "" || q.ArrivedS != nil {
		arrivals := q.ArrivedS
		if q.Arrivals != "" {
			if arrivals, err = q.arrivals(list); err != nil {
				return sheet, err
			}
		}
		if len(arrivals) != len(list.Starts) {
			return sheet, problem.Bad("found %d arrivals; expected one for each of %d riders", len(arrivals), len(list.Starts))
		}
		if sheet.Taught == nil {
			sheet.Taught = make([]float64, len(arrivals))
		}
		for i, c := range list.Rehandicap(arrivals) {
			sheet.Changes = append(sheet.Changes, HandicapWord{c.Name, c.Share, c.Why})
			ask.Entrants[i] = ask.Entrants[i].Changed(c)
			sheet.Taught[i] = (1+sheet.Taught[i])*(1+c.Share) - 1
		}
		q.say("moving start gaps for next time")
		if list, err = race.Handicap(ctx, ask); err != nil {
			return sheet, err
		}
	}
	sheet.fill(list)
	return sheet, nil
}

// before puts in what earlier arrivals taught.
func (q GroupRequest) before(ask *race.HandicapAsk, sheet *HandicapSheet) error {
	if q.Before == nil {
		return nil
	}
	if len(q.Before) != len(ask.Entrants) {
		return problem.Bad("found %d earlier changes; expected one for each of %d riders", len(q.Before), len(ask.Entrants))
	}
	for i, share := range q.Before {
		if !(share > -0.5 && share < 0.5) {
			return problem.Bad("found an earlier change of %g; expected a share between -0.5 and 0.5", share)
		}
		ask.Entrants[i] = ask.Entrants[i].Changed(race.Change{Share: share})
	}
	sheet.Taught = slices.Clone(q.Before)
	return nil
}

func (s *HandicapSheet) fill(list race.StartList) {
	s.SpreadS, s.FairSE, s.Fair = list.SpreadS, list.FairSE, 1/float64(len(list.Starts))
	byGap := map[float64]int{}
	for _, gap := range list.Gaps {
		if _, there := byGap[gap]; !there {
			byGap[gap] = 0
		}
	}
	for len(byGap) > 0 { // earliest first; bunches that ended on one gap are one
		least := math.Inf(1)
		for gap := range byGap {
			least = math.Min(least, gap)
		}
		delete(byGap, least)
		b := HandicapBunch{GapS: least}
		for i, x := range list.Starts {
			if x.GapS == least {
				b.Riders = append(b.Riders, HandicapStart{x.Name, i + 1, x.Chance, x.SE, *rangeOf(x.ArriveS), x.AloneS})
			}
		}
		s.Bunches = append(s.Bunches, b)
	}
}

// arrivals reads who came when: name and seconds after the first start, or
// minutes:seconds. Who is missing did not finish.
func (q GroupRequest) arrivals(list race.StartList) ([]float64, error) {
	f, err := (BriefRequest{Open: q.Open}).open(q.Arrivals)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	r := csv.NewReader(io.LimitReader(f, 1<<20))
	r.FieldsPerRecord, r.TrimLeadingSpace = -1, true
	out := make([]float64, len(list.Starts))
	for i := range out {
		out[i] = math.NaN()
	}
	for {
		cells, err := r.Read()
		if err == io.EOF {
			return out, nil
		}
		line, _ := r.FieldPos(0)
		if err != nil || len(cells) != 2 {
			return nil, problem.Bad("%s:%d: expected two columns, name and time", q.Arrivals, line)
		}
		seconds, ok := clockOf(cells[1])
		if !ok {
			if line == 1 {
				continue // a header
			}
			return nil, problem.Bad("%s:%d: found %q; expected seconds or minutes:seconds after the first start", q.Arrivals, line, cells[1])
		}
		at := -1
		for i, s := range list.Starts {
			if strings.EqualFold(s.Name, strings.TrimSpace(cells[0])) {
				at = i
			}
		}
		if at < 0 {
			return nil, problem.Bad("%s:%d: %q is not on the start list; expected the name of a rider given", q.Arrivals, line, cells[0])
		}
		out[at] = seconds
	}
}

// ArrivalSeconds reads seconds, m:ss or h:mm:ss.
func ArrivalSeconds(s string) (float64, bool) { return clockOf(s) }

// clockOf reads seconds, m:ss or h:mm:ss.
func clockOf(s string) (float64, bool) {
	total := 0.0
	parts := strings.Split(strings.TrimSpace(s), ":")
	if len(parts) > 3 {
		return 0, false
	}
	for _, p := range parts {
		v, err := strconv.ParseFloat(p, 64)
		if err != nil || !(v >= 0 && v < 1e6) {
			return 0, false
		}
		total = 60*total + v
	}
	return total, true
}

func (q GroupRequest) say(what string) {
	if q.Progress != nil {
		q.Progress(what)
	}
}

// groupRead is a group read from its files.
type groupRead struct {
	riders []race.Me
	ways   []*race.Way
	names  []string
	road   physics.Road
	notes  []string
}

// group reads riders, courses and road. The road's drag area is that of 75 kg.
func (q GroupRequest) group(least int) (g groupRead, err error) {
	if len(q.Riders) < least || len(q.Riders) > MostRiders {
		return g, problem.Bad("found %d riders; expected %d to %d, each as --rider FILE", len(q.Riders), least, MostRiders)
	}
	files := BriefRequest{Road: q.Road, Event: q.Event, Laps: q.Laps, Today: q.Today, Open: q.Open}
	event, err := files.event()
	if err != nil {
		return g, err
	}
	day, err := files.day(event)
	if err != nil {
		return g, err
	}
	for _, name := range q.Courses {
		files.Course = name
		way, err := files.way(event)
		if err != nil {
			return g, err
		}
		g.ways, g.names = append(g.ways, race.NewWay(profileOf(way, q.Seed))), append(g.names, way.Name)
	}
	road := input.RoadFile{}
	if q.Road != "" {
		if road, err = read(files, q.Road, input.ReadRoad); err != nil {
			return g, err
		}
	}
	known := roadOf(road, input.RiderFile{}, g.ways[0].Profile)
	g.road = known.Road
	for i, name := range q.Riders {
		me, err := q.one(files, name, i, day)
		if err != nil {
			return g, err
		}
		g.riders = append(g.riders, me)
		if me.EasyOnly {
			g.notes = append(g.notes, fmt.Sprintf("%s may not ride hard for now, by the health questions: ask a doctor first.", orThis(me.Name)))
		}
	}
	return g, nil
}

func (q GroupRequest) one(files BriefRequest, name string, i int, day time.Time) (race.Me, error) {
	f, err := read(files, name, input.ReadRider)
	if err != nil {
		return race.Me{}, err
	}
	r := riderOf(f, day)
	if r.Mass <= 0 {
		return race.Me{}, problem.Bad("%s: mass_kg is not known; expected a mass, for speed", name)
	}
	accuracy := q.Accuracy
	if accuracy <= 0 {
		accuracy = usualAccuracy
	}
	source := capacity.Source{Name: "own", SD: accuracy}
	for k := range r.Evidence {
		if e := &r.Evidence[k]; e.Kind != capacity.HillTime {
			e.Source = source.Name // each rides on what their evidence came from
		}
	}
	learnt, _ := capacity.Infer(r, source, estimate.Stream(q.Seed, raceStream+i))
	label := r.Name
	if i < len(q.Names) {
		label = q.Names[i]
	}
	if label == "" {
		label = fmt.Sprintf("rider %d", i+1)
	}
	return race.Me{Name: label, Capacity: learnt.Displayed, Mass: r.Mass, MassSD: 0.5, Age: r.Age, Sex: r.Sex, New: r.Level == capacity.New, EasyOnly: f.EasyOnly}, nil
}

// TogetherSheet is a group ride.
type TogetherSheet struct {
	Schema  string           `json:"schema"`
	Best    string           `json:"longest_that_suits,omitempty"`
	Courses []TogetherCourse `json:"courses"`
	Notes   []string         `json:"notes,omitempty"`
	Seed    uint64           `json:"seed"`
}

// TogetherCourse is the group on one course.
type TogetherCourse struct {
	Course  string            `json:"course"`
	LengthM float64           `json:"length_m"`
	Suits   bool              `json:"suits"`
	Why     string            `json:"why"`
	Seconds float64           `json:"seconds"`
	SpeedMS float64           `json:"speed_m_s"`
	Pace    string            `json:"sets_the_pace"`
	Riders  []TogetherRider   `json:"riders"`
	Regroup []TogetherRegroup `json:"regroup,omitempty"`
}

// TogetherRider is one rider's targets.
type TogetherRider struct {
	Name    string            `json:"name"`
	Leads   bool              `json:"takes_turns"`
	HoldsMS float64           `json:"holds_m_s"` // the common speed this rider could hold
	Share   float64           `json:"share_of_critical_power"`
	Lowest  float64           `json:"least_w_prime_share"`
	LevelW  float64           `json:"level_w"`
	FrontW  float64           `json:"front_w"`
	ClimbW  float64           `json:"climb_w,omitempty"`
	NeverW  float64           `json:"never_above_w"`
	Over    []TogetherStretch `json:"above_critical_power,omitempty"`
}

// TogetherStretch is where somebody goes over critical power.
type TogetherStretch struct {
	FromM float64 `json:"from_m"`
	ToM   float64 `json:"to_m"`
	OverW float64 `json:"over_w"`
}

// TogetherRegroup is where to wait.
type TogetherRegroup struct {
	AtM   float64 `json:"at_m"`
	WaitS float64 `json:"wait_s"`
	Last  string  `json:"last"`
}

// Together says what a mixed group can ride as one.
func Together(ctx context.Context, q GroupRequest) (TogetherSheet, error) {
	if len(q.Courses) == 0 {
		return TogetherSheet{}, problem.Bad("no course given; expected --course FILE, several to compare")
	}
	if !(q.Hours >= 0 && q.Hours <= 24) {
		return TogetherSheet{}, problem.Bad("--hours: found %g; expected 0 to 24", q.Hours)
	}
	if q.Ease != 0 && !(q.Ease >= 0.3 && q.Ease <= 1) {
		return TogetherSheet{}, problem.Bad("--ease: found %g; expected 0.3 to 1, a share of critical power", q.Ease)
	}
	g, err := q.group(1)
	if err != nil {
		return TogetherSheet{}, err
	}
	ask := race.TogetherAsk{Road: g.road, Members: g.riders, Ease: q.Ease}
	best, rides := ask.Longest(g.ways, 3600*q.Hours)
	sheet := TogetherSheet{Schema: "chainline/together/1", Notes: g.notes, Seed: q.Seed}
	if best >= 0 {
		sheet.Best = g.names[best]
	}
	for i, r := range rides {
		sheet.Courses = append(sheet.Courses, togetherOn(g.names[i], g.ways[i], r))
	}
	return sheet, ctx.Err()
}

func togetherOn(name string, way *race.Way, r race.GroupRide) TogetherCourse {
	c := TogetherCourse{Course: name, LengthM: way.Length(), Suits: r.Suits, Why: r.Why, Seconds: r.Seconds, SpeedMS: r.SpeedMS, Pace: r.Limit}
	for _, m := range r.Members {
		t := TogetherRider{Name: m.Name, Leads: m.Leads, HoldsMS: m.HoldsMS, Share: m.Share, Lowest: m.Lowest, LevelW: m.LevelW, FrontW: m.FrontW, ClimbW: m.ClimbW, NeverW: m.NeverW}
		for _, s := range m.Over {
			t.Over = append(t.Over, TogetherStretch{s.FromM, s.ToM, s.SavedW})
		}
		c.Riders = append(c.Riders, t)
	}
	for _, g := range r.Regroup {
		c.Regroup = append(c.Regroup, TogetherRegroup{g.AtM, g.WaitS, g.Last})
	}
	return c
}
