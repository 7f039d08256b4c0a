package web

import (
	"context"
	"fmt"
	"net/http"
	"sync"
	"time"

	"chainline/brief"
)

// A change that takes longer than briefBox is reckoned behind its page, which
// says how far it is, asks again by itself, and offers to stop. It is given up
// when nobody asks any more: the page was closed, or another change typed.

// briefMoves are the changes that are being reckoned. The zero value has none.
type briefMoves struct {
	mu  sync.Mutex
	all map[string]*briefMove // by what they are made from
}

type briefMove struct {
	effort
	watch         *time.Timer
	waiting       int         // who waits for it now; under effort's lock
	before, after brief.Brief // once done
}

// BriefMoving is how far a change is.
type BriefMoving struct{ Job, Doing, Since string }

// startMove begins to reckon a change, unless that goes on already.
func (s *Server) startMove(ctx context.Context, base, next briefParts) (*briefMove, error) {
	today := s.now().Format(time.DateOnly)
	key := base.key(today) + next.key(today)
	moves := &s.briefMoves
	moves.mu.Lock()
	defer moves.mu.Unlock()
	if j := moves.all[key]; j != nil {
		return j, nil
	}
	running := 0
	for _, j := range moves.all {
		if !j.over() {
			running++
		}
	}
	if running >= mostBriefJobs {
		return nil, refuse(http.StatusServiceUnavailable, fmt.Sprintf("%d changes are being reckoned already. Wait for one of them.", running))
	}
	work, stop := context.WithTimeout(context.WithoutCancel(ctx), briefLongest)
	j := &briefMove{effort: newEffort(s.now())}
	j.stop = stop
	j.watch = time.AfterFunc(briefPatience, func() {
		stop()
		moves.forget(j)
	})
	if moves.all == nil {
		moves.all = map[string]*briefMove{}
	}
	moves.all[key] = j
	go j.run(s.log, "a change of a brief", func() (err error) {
		j.before, j.after, err = s.both(work, base, next, j.say)
		return err
	})
	return j, nil
}

// wait is whether it is done within a time. Whoever breaks the asking off, as
// a page does when something else is typed, wants no answer: without anybody
// else who waits it is stopped.
func (s *Server) waitMove(ctx context.Context, j *briefMove, most time.Duration) bool {
	j.watch.Reset(briefPatience)
	j.mu.Lock()
	j.waiting++
	j.mu.Unlock()
	box := time.NewTimer(most)
	defer box.Stop()
	done := false
	select {
	case <-j.done:
		done = true
	case <-box.C:
	case <-ctx.Done():
	}
	j.mu.Lock()
	j.waiting--
	alone := j.waiting == 0
	j.mu.Unlock()
	if !done && alone && ctx.Err() != nil {
		j.stop()
		s.briefMoves.forget(j)
	}
	return done
}

// moving is how far it is, for the page.
func (s *Server) moving(j *briefMove) *BriefMoving {
	return &BriefMoving{Job: j.id, Doing: j.progress(), Since: j.since(s.now())}
}

func (m *briefMoves) forget(gone *briefMove) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for key, j := range m.all {
		if j == gone {
			delete(m.all, key)
		}
	}
}

// stopMove ends a change that is being reckoned, and shows the brief as it is.
func (s *Server) stopMove(w http.ResponseWriter, r *http.Request) error {
	id := r.PostFormValue("job")
	m := &s.briefMoves
	m.mu.Lock()
	for key, j := range m.all {
		if j.id == id {
			j.stop()
			delete(m.all, key)
		}
	}
	m.mu.Unlock()
	return s.see(w, r, briefPath(r.PathValue("id")), "Stopped. The brief is as it was.")
}
