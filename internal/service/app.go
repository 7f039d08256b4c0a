package service

import (
	"context"
	"io"
	"strings"

	"chainline/brief"
	"chainline/capacity"
	"chainline/internal/input"
	"chainline/internal/problem"
)

// What the app asks beyond a whole brief.

// Known is what is known of a rider on a rig.
type Known struct {
	LeftOut  []capacity.Evidence // in the file and not used
	Rider    capacity.Rider
	Capacity capacity.Capacity // displayed watts; true ones where the rig shows none
	Learnt   capacity.Learnt
	Account  capacity.Account
	Shown    bool     // the rig shows watts that mean something
	Health   []string // what follows from the health screening, in sentences
}

// Learn reads rider and rig of a request and says what the evidence comes to.
func Learn(q BriefRequest) (Known, error) {
	q.Sketch.Distance, q.Sketch.Ascent = new(float64), new(float64) // any course will do
	*q.Sketch.Distance = 10000
	q.Course, q.Event, q.Plan = "", "", ""
	if q.Draws == 0 {
		q.Draws = 1
	}
	ask, err := q.request()
	if err != nil {
		return Known{}, err
	}
	k := Known{Rider: ask.Rider, Health: ask.Health, Shown: ask.ShowsWatts()}
	k.Capacity, k.Account, k.Learnt = brief.Learn(ask)
	rider, err := read(q, q.Rider, input.ReadRider)
	if err != nil {
		return Known{}, err
	}
	k.LeftOut = evidenceOf(rider, q.Today, true)
	return k, nil
}

// Glance is what a course would be like for a rider, at a glance: one even
// effort, no heat, few draws.
func Glance(ctx context.Context, q BriefRequest) (brief.Quick, error) {
	if q.Draws == 0 {
		q.Draws = 1
	}
	ask, err := q.request()
	if err != nil {
		return brief.Quick{}, err
	}
	return brief.Glance(ctx, ask)
}

// Course is the way of a request: read, smoothed, with its notes.
func Course(q BriefRequest) (brief.Way, error) {
	event, err := q.event()
	if err != nil {
		return brief.Way{}, err
	}
	return q.way(event)
}

// Texts opens files that are at hand, by name.
func Texts(files map[string]string) func(name string) (io.ReadCloser, error) {
	return func(name string) (io.ReadCloser, error) {
		text, there := files[name]
		if !there {
			return nil, problem.Bad("%s: there is no such file", name)
		}
		return io.NopCloser(strings.NewReader(text)), nil
	}
}

// Check tells what is wrong with something that is to be kept: the YAML text of
// a rider, rig, road, event or sketch of a course, or a course's own file.
func Check(kind, text string, original []byte) error {
	if kind == "course" && original != nil {
		_, err := Course(BriefRequest{Course: kind, Open: Texts(map[string]string{kind: string(original)})})
		return err
	}
	return input.Check(kind, text)
}
