package web

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"net/http"
	"strconv"
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
	id, title, about, back string
	began                  time.Time
	stop                   context.CancelFunc
	done                   chan struct{}

	mu   sync.Mutex
	says string

	to  string // where it leads, once done
	err error
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
	x := &work{id: strings.ToLower(rand.Text()[:16]), title: title, about: about, back: back, began: s.now(), done: make(chan struct{})}
	ctx, stop := context.WithTimeout(context.WithoutCancel(r.Context()), workLongest)
	x.stop = stop
	if why := s.works.take(x); why != "" {
		stop()
		return s.see(w, r, back, why)
	}
	go s.runWork(ctx, x, do)
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

func (x *work) over() bool {
	select {
	case <-x.done:
		return true
	default:
		return false
	}
}

func (x *work) say(says string) {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.says = says
}

// progress is what it is doing, in words.
func (x *work) progress() string {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.says == "" {
		return "reading the course"
	}
	return x.says
}

func (s *Server) runWork(ctx context.Context, x *work, do func(context.Context, func(string)) (string, error)) {
	defer close(x.done)
	defer x.stop()
	defer func() { // nobody else would catch it here, and the program would end
		if v := recover(); v != nil {
			s.log.Error("work broke off", "about", x.about, "panic", v)
			x.err = fmt.Errorf("panic: %v", v)
		}
	}()
	x.to, x.err = do(ctx, x.say)
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
	since := strconv.Itoa(int(s.now().Sub(x.began).Seconds())) + " s"
	return s.show(w, r, http.StatusOK, &WorkingPage{Base: racesBase(x.title), ID: x.id, Doing: x.progress(), Since: since, Back: x.back})
}

func (s *Server) stopWork(w http.ResponseWriter, r *http.Request) error {
	x := s.works.get(r.PathValue("job"))
	if x == nil {
		return notFound("This is not being worked out any more.")
	}
	x.stop()
	return s.see(w, r, x.back, "Stopped. What was done is kept.")
}
