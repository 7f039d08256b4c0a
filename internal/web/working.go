package web

import (
	"context"
	"errors"
	"net/http"
	"strings"
	"sync"
	"time"

	"chainline/internal/problem"
)

// Work that takes longer than a page should: races that are simulated, start
// gaps that are moved. It goes on whether somebody looks or not, since what it
// comes to is kept; a page says how far it is and has a button to stop it.
// Limits are our judgement.
const (
	workBox     = 250 * time.Millisecond // until it is done at once
	workAsking  = time.Second            // how long an asking waits for the end
	workLongest = 20 * time.Minute
	mostWork    = 2
	workKept    = 50 // works that are done and may still be asked for
)

// works are what goes on. The zero value has none.
type works struct {
	mu    sync.Mutex
	all   map[string]*work
	order []string
}

type work struct {
	effort
	title, about, back string
	to                 string // where it leads, once done
}

// WorkingPage says how far something is. It asks again by itself.
type WorkingPage struct {
	Base
	ID, Doing, Since, Back string
}

// Template names the page's template.
func (*WorkingPage) Template() string { return "working.html" }

func (s *Server) workRoutes() {
	s.get("/working/{job}", s.working)
	s.post("/working/{job}/stop", s.stopWork)
}

// startWork begins something about an object and leads to it, or to how far it
// is. do says how far it is and returns the path of what it came to. A second
// work about the same is refused.
func (s *Server) startWork(w http.ResponseWriter, r *http.Request, title, about, back string, do func(ctx context.Context, say func(string)) (string, error)) error {
	x := &work{effort: newEffort(s.now()), title: title, about: about, back: back}
	ctx, stop := context.WithTimeout(context.WithoutCancel(r.Context()), workLongest)
	x.stop = stop
	if why := s.works.take(x); why != "" {
		stop()
		return s.see(w, r, back, why)
	}
	go x.run(s.log, about, func() (err error) {
		x.to, err = do(ctx, x.say)
		return err
	})
	select {
	case <-x.done:
		return s.workDone(w, r, x)
	case <-time.After(workBox):
	}
	return s.see(w, r, "/working/"+x.id, "")
}

// take claims a place; why not is a sentence.
func (ws *works) take(x *work) (why string) {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	running := 0
	for _, other := range ws.all {
		if other.over() {
			continue
		}
		running++
		if other.about == x.about {
			return "That is being worked out already."
		}
	}
	if running >= mostWork {
		return "Other things are being worked out; wait for one of them."
	}
	if ws.all == nil {
		ws.all = map[string]*work{}
	}
	ws.all[x.id] = x
	ws.order = append(ws.order, x.id)
	for len(ws.order) > workKept && ws.all[ws.order[0]].over() {
		delete(ws.all, ws.order[0])
		ws.order = ws.order[1:]
	}
	return ""
}

func (ws *works) get(id string) *work {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	return ws.all[id]
}

// on is the work about something that goes on, nil if there is none.
func (ws *works) on(about string) *work {
	ws.mu.Lock()
	defer ws.mu.Unlock()
	for _, x := range ws.all {
		if x.about == about && !x.over() {
			return x
		}
	}
	return nil
}

func (s *Server) workDone(w http.ResponseWriter, r *http.Request, x *work) error {
	switch e, ok := errors.AsType[*problem.Error](x.err); {
	case errors.Is(x.err, context.Canceled):
		return s.see(w, r, x.back, "Stopped. What was done is kept.")
	case errors.Is(x.err, context.DeadlineExceeded):
		return s.see(w, r, x.back, "It took too long and was stopped. What was done is kept.")
	case ok:
		message, hint := problem.ForPerson(e)
		return s.see(w, r, x.back, strings.TrimSpace(message+" "+hint))
	case x.err != nil:
		return x.err
	}
	return s.see(w, r, x.to, "")
}

// working waits a little for work that goes on. The page asks again by itself,
// by a header that needs no script.
func (s *Server) working(w http.ResponseWriter, r *http.Request) error {
	x := s.works.get(r.PathValue("job"))
	if x == nil {
		return notFound("This is not being worked out any more.")
	}
	select {
	case <-x.done:
		return s.workDone(w, r, x)
	case <-time.After(workAsking):
	case <-r.Context().Done():
		return r.Context().Err()
	}
	w.Header().Set("Refresh", "0")
	return s.show(w, r, http.StatusOK, &WorkingPage{Base: racesBase(x.title), ID: x.id, Doing: x.progress(), Since: x.since(s.now()), Back: x.back})
}

func (s *Server) stopWork(w http.ResponseWriter, r *http.Request) error {
	x := s.works.get(r.PathValue("job"))
	if x == nil {
		return notFound("This is not being worked out any more.")
	}
	x.stop()
	return s.see(w, r, x.back, "Stopped. What was done is kept.")
}
