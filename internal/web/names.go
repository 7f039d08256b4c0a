package web

import (
	"io"
	"strings"
	"sync"
	"time"

	"chainline/internal/problem"
	"chainline/internal/service"
)

// texts is a request about files that are at hand, named by what they are.
func (s *Server) texts(files map[string]string) service.BriefRequest {
	q := service.BriefRequest{Today: s.now(), Workers: s.workers, Seed: 1, Draws: 1}
	for kind, to := range map[string]*string{"rider": &q.Rider, "rig": &q.Rig, "road": &q.Road, "event": &q.Event} {
		if _, there := files[kind]; there {
			*to = kind
		}
	}
	q.Open = func(name string) (io.ReadCloser, error) {
		text, there := files[name]
		if !there {
			return nil, problem.Bad("%s: there is no such file", name)
		}
		return io.NopCloser(strings.NewReader(text)), nil
	}
	return q
}

// learntCache remembers what riders' pages say, by file, rig and day. The zero
// value is empty.
type learntCache struct {
	mu    sync.Mutex
	known map[string]service.Known
	told  map[string]RiderPage
}

// learntMost of each are remembered; then it starts afresh.
const learntMost = 200

// learn is what a rider's file comes to on a rig.
func (s *Server) learn(rider, rig string) (service.Known, error) {
	key := courseHashOf(rider, rig, s.now().Format(time.DateOnly))
	c := &s.learntCache
	c.mu.Lock()
	known, there := c.known[key]
	c.mu.Unlock()
	if there {
		return known, nil
	}
	known, err := service.Learn(s.texts(map[string]string{"rider": rider, "rig": rig}))
	if err != nil {
		return known, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known == nil || len(c.known) >= learntMost {
		c.known = map[string]service.Known{}
	}
	c.known[key] = known
	return known, nil
}

// told is what a page says of a rider's file on a rig.
func (s *Server) told(rider, rig string) RiderPage {
	key := courseHashOf(rider, rig, s.now().Format(time.DateOnly))
	c := &s.learntCache
	c.mu.Lock()
	p, there := c.told[key]
	c.mu.Unlock()
	if there {
		return p
	}
	if known, err := s.learn(rider, rig); err != nil {
		p.Wrong = err.Error()
	} else {
		p.tell(known, rider)
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.told == nil || len(c.told) >= learntMost {
		c.told = map[string]RiderPage{}
	}
	c.told[key] = p
	return p
}
