package web

import (
	"context"
	"errors"
	"fmt"
	"net/http"
	"sync"
	"time"

	"chainline/internal/problem"
	"chainline/internal/store"
)

// Briefs for all of a start list in one go: one after the other in the
// background, so that the pages stay quick.

// startListBriefs is how it stands, by event.
type startListBriefs struct {
	mu  sync.Mutex
	all map[string]*startListRun
}

type startListRun struct {
	total, done int
	failed      []string
	running     bool
}

// startListLongest is how long all of them may take.
const startListLongest = 20 * time.Minute

// says is how the briefs of an event stand, in words; empty if none were asked
// for.
func (b *startListBriefs) says(event string) (says string, failed []string, running bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	r := b.all[event]
	if r == nil {
		return "", nil, false
	}
	if r.running {
		return fmt.Sprintf("%d of %d briefs are made.", r.done, r.total), r.failed, true
	}
	return "", r.failed, false
}

// begin claims an event; false if its briefs are being made already.
func (b *startListBriefs) begin(event string, total int) (*startListRun, bool) {
	b.mu.Lock()
	defer b.mu.Unlock()
	if b.all == nil {
		b.all = map[string]*startListRun{}
	}
	for _, r := range b.all {
		if r.running {
			return nil, false // one list at a time is enough for one machine
		}
	}
	r := &startListRun{total: total, running: true}
	b.all[event] = r
	return r, true
}

func (b *startListBriefs) change(do func()) {
	b.mu.Lock()
	defer b.mu.Unlock()
	do()
}

// makeStartListBriefs begins to make the briefs that are missing.
func (s *Server) makeStartListBriefs(w http.ResponseWriter, r *http.Request) error {
	o, err := s.keptEvent(r)
	if err != nil {
		return err
	}
	course := r.PostFormValue("course")
	if c, err := s.store.Object(r.Context(), course); err != nil || c.Kind != store.Course {
		return s.see(w, r, "/events/"+o.ID+"/ready", "Choose the course that is ridden first.")
	}
	lines, _, err := s.readyLines(r.Context(), o, datesOf(r))
	if err != nil {
		return err
	}
	var asks []briefAsk
	var names []string
	for _, l := range lines {
		if l.Make != "" {
			asks, names = append(asks, briefAsk{Rider: l.riderID, Rig: l.rigID, Course: course, Event: o.ID}), append(names, l.Rider)
		}
	}
	if len(asks) == 0 {
		return s.see(w, r, "/events/"+o.ID+"/ready", "Everybody has a brief already.")
	}
	run, ok := s.startLists.begin(o.ID, len(asks))
	if !ok {
		return s.see(w, r, "/events/"+o.ID+"/ready", "Briefs are being made already; wait for them.")
	}
	ctx, stop := context.WithTimeout(context.WithoutCancel(r.Context()), startListLongest)
	go func() {
		defer stop()
		s.runStartList(ctx, run, asks, names)
	}()
	return s.see(w, r, "/events/"+o.ID+"/ready", "")
}

func (s *Server) runStartList(ctx context.Context, run *startListRun, asks []briefAsk, names []string) {
	defer s.startLists.change(func() { run.running = false })
	for i, ask := range asks {
		err := s.oneOfStartList(ctx, ask)
		if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
			s.startLists.change(func() { run.failed = append(run.failed, names[i]+": "+e.Message) })
		} else if err != nil {
			s.log.Error("a brief of a start list could not be made", "err", err)
			s.startLists.change(func() {
				run.failed = append(run.failed, names[i]+": it could not be made; the program's log says more")
			})
		}
		s.startLists.change(func() { run.done++ })
	}
}

func (s *Server) oneOfStartList(ctx context.Context, ask briefAsk) (err error) {
	defer func() { // nobody else would catch it here, and the program would end
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v", v)
		}
	}()
	p, err := s.parts(ctx, ask)
	if err != nil {
		return err
	}
	b, err := s.reckonBrief(ctx, p, briefDraws, nil)
	if err != nil {
		return err
	}
	_, err = s.keepBrief(ctx, p, b)
	return err
}
