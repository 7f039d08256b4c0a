package web

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"net/url"
	"slices"
	"strings"
	"time"

	"chainline/brief"
	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Draws of a brief that is kept, and of one that answers a change at once. The
// plan is the same; only the forecast is coarser.
const (
	briefDraws  = 1000
	changeDraws = 200
)

// briefAsk is what a brief is made from; empty is not given. IDs are plain
// here; where it is kept they read "rider/ID" (see kept), so that an archive
// can be imported beside other things.
type briefAsk struct {
	Rider  string            `json:"rider"`
	Rig    string            `json:"rig"`
	Road   string            `json:"road,omitempty"`
	Course string            `json:"course"`
	Event  string            `json:"event,omitempty"`
	Date   string            `json:"date,omitempty"`
	Style  string            `json:"style,omitempty"`
	Change map[string]string `json:"change,omitempty"` // by name in briefChanges, as typed in metric units
}

// refs are the IDs by kind.
func (a *briefAsk) refs() map[store.Kind]*string {
	return map[store.Kind]*string{store.Rider: &a.Rider, store.Rig: &a.Rig, store.Road: &a.Road, store.Course: &a.Course, store.Event: &a.Event}
}

// kept is a request as the store wants it.
func (a briefAsk) kept() ([]byte, error) {
	for kind, id := range a.refs() {
		if *id != "" {
			*id = string(kind) + "/" + *id
		}
	}
	return json.Marshal(a)
}

// askedFor is what a kept brief was made from; ok is false if what it refers
// to is not there any more, or if it was asked for otherwise than by a page.
func askedFor(b store.Brief) (a briefAsk, ok bool) {
	d := json.NewDecoder(bytes.NewReader(b.Request))
	d.DisallowUnknownFields()
	if d.Decode(&a) != nil {
		return a, false
	}
	road, event := a.Road, a.Event
	a.Rider, a.Rig, a.Road, a.Course, a.Event = b.RiderID, b.RigID, b.RoadID, b.CourseID, b.EventID
	ok = a.Rider != "" && a.Rig != "" && a.Course != "" && (road == "") == (a.Road == "") && (event == "") == (a.Event == "")
	return a, ok
}

// briefParts are the texts a brief is made from: all fetched at one moment, so
// that nothing changes while it is reckoned.
type briefParts struct {
	ask    briefAsk
	files  map[string]string // by name in the request
	names  map[store.Kind]string
	demo   bool
	since  []store.Object  // all of them
	taught *service.Taught // by rides that are kept
}

// parts fetches what a request is about.
func (s *Server) parts(ctx context.Context, a briefAsk) (briefParts, error) {
	p := briefParts{ask: a, files: map[string]string{}, names: map[store.Kind]string{}}
	for kind, id := range a.refs() {
		if *id == "" {
			continue
		}
		o, err := s.store.Object(ctx, *id)
		if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != kind {
			return p, problem.Bad("the %s that was chosen is not there any more", kind)
		}
		if err != nil {
			return p, err
		}
		p.since = append(p.since, o)
		name, text := briefFile(o)
		p.names[kind], p.files[name] = name, text
		p.demo = p.demo || kind == store.Rider && o.Demo
	}
	if s.library != nil {
		var err error
		if p.taught, err = s.library.Taught(ctx, a.Rider); err != nil {
			return p, err
		}
	}
	return p, s.checked(ctx, &p)
}

// newer are the names of what was changed after a time, in a sentence; empty
// if nothing was.
func (p briefParts) newer(than time.Time) string {
	var names []string
	for _, o := range p.since {
		if o.Updated.After(than) {
			names = append(names, o.Name)
		}
	}
	slices.Sort(names)
	return strings.Join(names, " and ")
}

// again is the form for a brief with the same answers.
func (a briefAsk) again() string {
	q := url.Values{}
	for kind, id := range a.refs() {
		if *id != "" {
			q.Set(string(kind), *id)
		}
	}
	if a.Date != "" {
		q.Set("date", a.Date)
	}
	if a.Style != "" {
		q.Set("style", a.Style)
	}
	return "/briefs/new?" + q.Encode()
}

// briefFile is the object's file; a sketch, which may have its name only where
// it is kept, is given it.
func briefFile(o store.Object) (name, text string) {
	name, text = o.File()
	if o.Kind == store.Course && o.Original == nil {
		if named, errs := form.Change(form.Course, text, map[string]string{"name": o.Name}, asFiled); len(errs) == 0 {
			text = named
		}
	}
	return name, text
}

// change puts changes into the texts of rider and rig; errs are by name of the
// change. Metric is what the changes of a kept brief are in.
func (p *briefParts) change(values map[string]string, units form.Units) (errs map[string]string) {
	errs = map[string]string{}
	for _, kind := range []store.Kind{store.Rider, store.Rig} {
		name := p.names[kind]
		typed := map[string]string{}
		for _, c := range briefChanges {
			if v, ok := values[c.name]; ok && c.kind == kind {
				if c.name == "fans" {
					p.clearFans(v)
				}
				typed[c.path] = v
			}
		}
		if len(typed) == 0 || name == "" {
			continue
		}
		text, wrong := form.Change(string(kind), p.files[name], typed, units)
		for path, says := range wrong {
			errs[changeOf(kind, path)] = says
		}
		if len(wrong) == 0 {
			p.files[name] = text
		}
	}
	return errs
}

// clearFans takes the fans out of the rig, and a measured airflow, which would
// count instead of them: a sentence takes their place.
func (p *briefParts) clearFans(string) {
	name := p.names[store.Rig]
	values, err := form.Values(form.Rig, p.files[name])
	if err != nil {
		return // form.Change says it
	}
	values = form.Without(values, "room.airflow_m_s")
	for range 8 {
		values = form.Without(values, "room.fans.0")
	}
	values = form.Without(values, "room.fans")
	if text, errs := form.YAML(form.Rig, values, asFiled); len(errs) == 0 {
		p.files[name] = text
	}
}

// key tells apart everything that leads to another brief.
func (p briefParts) key(today string) string {
	parts := []string{p.ask.Date, p.ask.Style, today, p.taught.Sum()}
	for _, kind := range store.Kinds {
		parts = append(parts, p.names[kind], p.files[p.names[kind]])
	}
	return courseHashOf(parts...)
}

// reckon makes the brief.
func (s *Server) reckonBrief(ctx context.Context, p briefParts, draws int, progress func(string)) (brief.Brief, error) {
	n := p.names
	q := service.BriefRequest{Rider: n[store.Rider], Rig: n[store.Rig], Road: n[store.Road], Course: n[store.Course], Event: n[store.Event],
		Date: p.ask.Date, Style: p.ask.Style, Today: s.now(), Seed: 1, Draws: draws, Workers: s.workers, Progress: progress,
		Taught: p.taught, Open: service.Texts(p.files)}
	return service.Brief(ctx, q)
}

// keepBrief writes a brief with its faces.
func (s *Server) keepBrief(ctx context.Context, p briefParts, b brief.Brief) (store.Brief, error) {
	var result, page bytes.Buffer
	if err := render.JSON(&result, b); err != nil {
		return store.Brief{}, err
	}
	if err := render.HTML(&page, b); err != nil {
		return store.Brief{}, err
	}
	request, err := p.ask.kept()
	if err != nil {
		return store.Brief{}, err
	}
	title := problem.OneLine(b.Title)
	if r := []rune(title); len(r) > 200 {
		title = string(r[:199]) + "…"
	}
	if title == "" {
		title = "A ride"
	}
	a := p.ask
	return s.store.PutBrief(ctx, store.Brief{Title: title, RiderID: a.Rider, RigID: a.Rig, RoadID: a.Road, CourseID: a.Course, EventID: a.Event,
		Request: request, Result: result.Bytes(), Page: page.Bytes(), Demo: p.demo})
}
