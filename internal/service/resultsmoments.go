package service

import (
	"context"
	"fmt"
	"math"
	"slices"

	"chainline/capacity"
	"chainline/course"
	"chainline/internal/problem"
	"chainline/recording"
)

// ResultMoment is a stretch of the course and what it asked of me, in
// displayed watts.
type ResultMoment struct {
	What     string  `json:"what"`
	FromM    float64 `json:"from_m"`
	ToM      float64 `json:"to_m"`
	Gradient float64 `json:"gradient"` // fraction, mean
	Seconds  float64 `json:"seconds"`
	Watts    float64 `json:"watts"`
	// OfMean is Watts over the mean of the whole ride; OfPossible over what the
	// rider could have held for so long when fresh, 0 if no rider was given.
	OfMean     float64 `json:"of_mean"`
	OfPossible float64 `json:"of_possible,omitempty"`
	Hardest    bool    `json:"hardest,omitempty"`
}

const (
	openingS     = 300.0  // s, the start of a race
	finaleM      = 1000.0 // m before the line
	leastMomentS = 20.0   // s; shorter ones say little about watts
	lengthOff    = 0.06   // of the course's length, by which a recording may differ
)

// moments lays the recording along the course.
func (q ResultsRequest) moments(ctx context.Context, s *ResultsSheet) ([]ResultMoment, error) {
	if q.Course == "" {
		return nil, problem.Bad("--recording needs its course; expected --course FILE")
	}
	b := BriefRequest{Course: q.Course, Event: q.Event, Rider: q.Rider, Rig: q.Rig, Open: q.Open, Today: q.Now}
	way, err := Course(b)
	if err != nil {
		return nil, err
	}
	if way.Sketch != nil {
		return nil, problem.Bad("%s: a sketch has no places; expected a course file", q.Course)
	}
	rides, _, err := takeIn(ctx, DebriefRequest{Files: []string{q.Recording}, Brief: b})
	if err != nil {
		return nil, err
	}
	if len(rides) != 1 {
		return nil, problem.Bad("%s: holds %d rides; expected the one of the race", q.Recording, len(rides))
	}
	if err := rides[0].read(); err != nil {
		return nil, err
	}
	var can *capacity.Capacity
	if q.Rider != "" && q.Rig != "" {
		k, err := Learn(b)
		if err != nil {
			return nil, err
		}
		can = &k.Capacity
	}
	along, watts, note, err := alongCourse(rides[0].recording, way.Profile.Length())
	if err != nil {
		return nil, problem.Bad("%s: %s", q.Recording, err)
	}
	if note != "" {
		s.Notes = append(s.Notes, note)
	}
	s.Notes = append(s.Notes, "A list of results says nothing about where the race was decided: these are the stretches on which it usually is, and what they asked of you.")
	return momentsOf(way.Profile, along, watts, can), nil
}

// alongCourse is where the ride was at the end of each second and its watts.
func alongCourse(r *recording.Recording, length float64) (along, watts []float64, note string, err error) {
	t, err := r.Rows(1)
	if err != nil {
		return nil, nil, "", err
	}
	watts = t.Column(recording.Power)
	if watts == nil {
		return nil, nil, "", fmt.Errorf("has no power; expected a recording with watts")
	}
	if p := t.Column(recording.Position); p != nil {
		along = slices.Clone(p)
		for i := range along {
			if math.IsNaN(along[i]) && i > 0 {
				along[i] = along[i-1]
			}
		}
		return along, watts, "", nil
	}
	for _, kind := range []recording.Quantity{recording.Speed, recording.MachineSpeed, recording.WheelSpeed} {
		v := t.Column(kind)
		if v == nil {
			continue
		}
		at := 0.0
		for _, x := range v {
			if !math.IsNaN(x) && x > 0 {
				at += x
			}
			along = append(along, at)
		}
		if math.Abs(at/length-1) > lengthOff {
			return nil, nil, "", fmt.Errorf("is %.1f km long by its speed; expected the %.1f km of the course", at/1000, length/1000)
		}
		for i := range along {
			along[i] *= length / at
		}
		return along, watts, fmt.Sprintf("Where you were is reckoned from the recorded speed, scaled by %.1f %% to the length of the course.", 100*(length/at-1)), nil
	}
	return nil, nil, "", fmt.Errorf("has neither a place nor a speed; expected a recording that can be laid along the course")
}

// momentsOf are the opening, the climbs and the finale.
func momentsOf(p course.Profile, along, watts []float64, can *capacity.Capacity) []ResultMoment {
	mean, n := 0.0, 0
	for i, w := range watts {
		if !math.IsNaN(w) && along[i] < p.Length() {
			mean, n = mean+w, n+1
		}
	}
	if n == 0 {
		return nil
	}
	mean /= float64(n)
	var out []ResultMoment
	add := func(what string, from, to float64) {
		sum, n, seconds := 0.0, 0, 0.0
		for i := range along {
			if along[i] > from && along[i] <= to {
				if seconds++; !math.IsNaN(watts[i]) {
					sum, n = sum+watts[i], n+1
				}
			}
		}
		if seconds < leastMomentS || n*2 < int(seconds) {
			return
		}
		m := ResultMoment{What: what, FromM: math.Round(from), ToM: math.Round(to), Seconds: seconds, Watts: math.Round(10*sum/float64(n)) / 10,
			Gradient: (p.At(to) - p.At(from)) / (to - from)}
		m.OfMean = m.Watts / mean
		if can != nil {
			m.OfPossible = m.Watts / can.Power(seconds)
		}
		out = append(out, m)
	}
	if len(along) > int(openingS) {
		add("the first five minutes", 0, along[int(openingS)-1])
	}
	for i, c := range course.Climbs(p) {
		add(fmt.Sprintf("climb %d", i+1), c.Start, c.Start+c.Length)
	}
	if p.Length() > 2*finaleM {
		add("the last kilometre", p.Length()-finaleM, p.Length())
	}
	hardest := -1
	for i, m := range out {
		by := func(m ResultMoment) float64 {
			if can != nil {
				return m.OfPossible
			}
			return m.OfMean
		}
		if hardest < 0 || by(m) > by(out[hardest]) {
			hardest = i
		}
	}
	if hardest >= 0 {
		out[hardest].Hardest = true
	}
	return out
}
