package service

import (
	"slices"
	"time"

	"chainline/capacity"
	"chainline/debrief"
)

// DebriefSeasonSchema names the form of a DebriefSeason as JSON.
const DebriefSeasonSchema = "chainline.debriefs/1"

// DebriefSeason is what several rides come to.
type DebriefSeason struct {
	Schema  string           `json:"schema"`
	Rides   int              `json:"rides"`
	From    string           `json:"from,omitempty"` // the first ride's day
	To      string           `json:"to,omitempty"`
	LeftOut []DebriefLeftOut `json:"left_out,omitempty"`
	Bests   []SeasonBest     `json:"bests,omitempty"`
	// Numbers are the capacity before the first ride and after the last.
	Numbers  []debrief.Moved   `json:"numbers,omitempty"`
	Response *debrief.Calendar `json:"response,omitempty"` // as of the last ride's day, of rides that are kept as of the day asked for; days since 1970-01-01
	Unsaid   []string          `json:"unsaid,omitempty"`

	// What follows is of rides that are kept.
	Timeline []SeasonPoint      `json:"timeline,omitempty"` // the threshold before each ride
	Places   string             `json:"indoors_and_outdoors,omitempty"`
	Foretold []debrief.Foretold `json:"foretold,omitempty"` // finish times, s
	Record   *debrief.Record    `json:"forecast_record,omitempty"`
	Strays   *debrief.Strays    `json:"strays,omitempty"`

	// MeanMax is the best of every duration, whole; IDs are the rides' by its
	// Ride, empty if they are not kept. Bests has some of it.
	MeanMax debrief.Season `json:"-"`
	IDs     []string       `json:"-"`
	Days    []string       `json:"-"` // of the rides, in the same order
}

// SeasonBest is the highest mean power of a duration over all rides.
type SeasonBest struct {
	Seconds int     `json:"seconds"`
	Watts   float64 `json:"watts"`
	Date    string  `json:"date,omitempty"`
	File    string  `json:"file"`
	RideID  string  `json:"ride,omitempty"` // if it is kept
}

// remember keeps what the next ride and the season need.
func (d *debriefed) remember(s DebriefSheet, day int) {
	d.rode = append(d.rode, day)
	d.days, d.files = append(d.days, s.Date), append(d.files, s.File)
	m := s.Debrief.Measures
	d.loads[day] += m.LoadTh.Mean
	if m.Best != nil {
		d.bests(*m.Best)
	}
	if l := s.Debrief.Learnt; l != nil {
		if s.Date != "" {
			d.learnt = telling(append(d.learnt, l.Added...))
		}
		if d.numbers == nil {
			d.numbers = slices.Clone(l.Numbers)
		}
		for i := range d.numbers {
			d.numbers[i].After = l.Numbers[i].After
		}
	}
}

// tellingFor is how long an effort is carried on beside a stronger, older one,
// days, and mostTelling how many are. Our judgement: what was held months ago
// says little, and many efforts that say the same cost time and tell no more.
const tellingFor, mostTelling = 42, 24

// telling leaves out efforts, in the order of time, that say nothing beside
// another: without an answer each says only 'at least this', which a later one,
// or one of the weeks before, that is as long and as strong says too.
func telling(all []capacity.Evidence) (out []capacity.Evidence) {
	for i, e := range all {
		said := slices.ContainsFunc(all[i+1:], func(x capacity.Evidence) bool {
			return x.Duration >= e.Duration && x.Watts >= e.Watts && x.Harder == e.Harder
		}) || slices.ContainsFunc(out, func(x capacity.Evidence) bool {
			at, err := time.Parse(time.DateOnly, e.Date)
			return err == nil && x.Duration >= e.Duration && x.Watts >= e.Watts && x.Harder == e.Harder && daysBefore(at, x.Date) <= tellingFor
		})
		if !said || e.Harder != capacity.HarderUnknown {
			out = append(out, e)
		}
	}
	return out[max(0, len(out)-mostTelling):]
}

// bests keeps the best of every duration and whose it is.
func (d *debriefed) bests(m debrief.MeanMax) { d.bestOf(m, len(d.files)-1) }

func (d *debriefed) bestOf(m debrief.MeanMax, is int) {
	both := debrief.BestOver([]debrief.MeanMax{d.best.MeanMax, m})
	for i, r := range both.Ride {
		if r == 1 {
			both.Ride[i] = is
		} else {
			both.Ride[i] = d.best.Ride[i]
		}
	}
	d.best = both
}

// leastSeason is how many days of rides say something of the response to them:
// as long as what is taken for usual.
const leastSeason = 28

func (d *debriefed) season(out []DebriefLeftOut) DebriefSeason {
	s := DebriefSeason{Schema: DebriefSeasonSchema, Rides: len(d.rode), LeftOut: out, Numbers: d.numbers}
	for _, day := range d.days {
		if day != "" && s.From == "" {
			s.From = day
		}
		if day != "" {
			s.To = day
		}
	}
	for _, n := range SeasonGrid(len(d.best.Watts)) {
		of := d.best.Ride[n-1]
		b := SeasonBest{Seconds: n, Watts: d.best.Watts[n-1], Date: d.days[of], File: d.files[of]}
		if d.ids != nil {
			b.RideID = d.ids[of]
		}
		s.Bests = append(s.Bests, b)
	}
	s.MeanMax, s.IDs, s.Days = d.best, d.ids, d.days
	d.response(&s)
	return s
}

// response lays the loads out by days.
func (d *debriefed) response(s *DebriefSeason) {
	if d.q.Brief.Rider == "" || len(d.rode) < 2 || s.From == "" {
		return
	}
	first, last := slices.Min(d.rode), max(slices.Max(d.rode), d.asOf)
	if last-first < leastSeason {
		s.Unsaid = append(s.Unsaid, "The response to the rides: cannot say, because they span less than four weeks.")
		return
	}
	loads := make([]float64, last-first+1)
	for day, load := range d.loads {
		loads[day-first] += load
	}
	calendar := debrief.Training{First: first, Loads: loads, Events: d.events, Seed: d.q.Brief.Seed}.Respond()
	if d.last.EasyOnly {
		calendar.Next = nil
		s.Unsaid = append(s.Unsaid, "No days ahead are suggested, because the health questions say easy riding only for now.")
	}
	s.Response = &calendar
}

// Day is a day of the response as a date.
func (s DebriefSeason) Day(n int) time.Time { return time.Unix(int64(n)*86400, 0).UTC() }
