package web

import (
	"context"
	"net/http"
	"time"

	"chainline/internal/service"
	"chainline/internal/store"
)

// Pages whose numbers were never reckoned take a tenth of a second or two the
// first time. So they are asked for ahead, by the program itself, while the
// person reads the page they came to: once after the start, and again after
// something was kept. What is reckoned is remembered by what it is made from,
// so this is never wrong, only sometimes in vain. Nothing is reckoned ahead
// while somebody rides.

// Bounds of it. Our judgement.
const (
	warmMost    = 20 // riders, and events
	warmRides   = 5
	warmPause   = 150 * time.Millisecond
	warmLongest = time.Minute
)

type aheadKey struct{}

// ahead is whether a request is the program's own: nobody reads its answer, and
// what goes wrong is said to whoever asks themselves.
func ahead(r *http.Request) bool { return r.Context().Value(aheadKey{}) != nil }

// warm asks for the slow pages in the background, unless that goes on already;
// then it is done once more.
func (s *Server) warm() {
	if !s.warms || !s.warmWanted.CompareAndSwap(false, true) {
		return
	}
	if !s.warming.CompareAndSwap(false, true) {
		return
	}
	go func() {
		defer s.warming.Store(false)
		for s.warmWanted.Swap(false) {
			time.Sleep(warmPause) // the page that was asked for comes first
			s.askAhead()
		}
	}()
}

func (s *Server) askAhead() {
	ctx, stop := context.WithTimeout(context.WithValue(context.Background(), aheadKey{}, true), warmLongest)
	defer stop()
	for _, path := range s.slowPages(ctx) {
		if s.live != nil && len(s.live.Rides()) > 0 || ctx.Err() != nil {
			return
		}
		r, err := http.NewRequestWithContext(ctx, http.MethodGet, path, nil)
		if err != nil {
			return
		}
		s.askOne(r)
	}
}

// askOne asks for one page; nothing of it goes anywhere.
func (s *Server) askOne(r *http.Request) {
	defer func() {
		if v := recover(); v != nil { // whoever asks for the page hears of it
			s.log.Debug("a page could not be reckoned ahead", "path", r.URL.Path, "panic", v)
		}
	}()
	s.mux.ServeHTTP(nowhere{http.Header{}}, r)
}

// slowPages are the pages that reckon.
func (s *Server) slowPages(ctx context.Context) []string {
	paths := []string{"/", "/courses"}
	add := func(kind store.Kind, before, after string) {
		all, err := s.store.Objects(ctx, kind)
		if err != nil {
			return
		}
		for _, o := range all[:min(len(all), warmMost)] {
			paths = append(paths, before+o.ID+after)
		}
	}
	add(store.Rider, "/riders/", "")
	paths = append(paths, "/ride", "/rides")
	add(store.Event, "/events/", "/ready")
	if s.library != nil {
		paths = append(paths, "/coach")
		if rows, err := s.library.Rides(ctx, "", service.RideFilter{}); err == nil {
			for _, row := range rows[:min(len(rows), warmRides)] { // the newest first
				paths = append(paths, "/rides/"+row.ID)
			}
		}
	}
	return paths
}

// nowhere takes an answer that nobody reads.
type nowhere struct{ head http.Header }

func (n nowhere) Header() http.Header         { return n.head }
func (n nowhere) Write(b []byte) (int, error) { return len(b), nil }
func (n nowhere) WriteHeader(int)             {}
