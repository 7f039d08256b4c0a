package web

import (
	"context"
	"sync"
	"time"

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
	q.Open = service.Texts(files)
	return q
}

// remembered are answers by what they are made from, so that nothing in it can
// be out of date. The zero value is empty.
type remembered[V any] struct {
	mu  sync.Mutex
	all map[string]V
}

// rememberedMost answers are kept in memory; then it starts afresh.
const rememberedMost = 200

// of is the answer to a key, reckoned if it is not remembered. What failed is
// not remembered.
func (m *remembered[V]) of(key string, reckon func() (V, error)) (V, error) {
	m.mu.Lock()
	v, there := m.all[key]
	m.mu.Unlock()
	if there {
		return v, nil
	}
	v, err := reckon()
	if err != nil {
		return v, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.all == nil || len(m.all) >= rememberedMost {
		m.all = map[string]V{}
	}
	m.all[key] = v
	return v, nil
}

func (s *Server) learntKey(rider, rig string) string {
	return courseHashOf(rider, rig, s.now().Format(time.DateOnly))
}

// taught is what a rider's rides teach; nil: nothing, or nothing can be said
// now, which the pages of the rides say.
func (s *Server) taught(ctx context.Context, riderID string) *service.Taught {
	if s.library == nil {
		return nil
	}
	t, err := s.library.Taught(ctx, riderID)
	if err != nil {
		s.log.Warn("what rides taught is left out", "rider", riderID, "error", err)
		return nil
	}
	return t
}

// learn is what a rider's file and rides come to on a rig.
func (s *Server) learn(rider, rig string, t *service.Taught) (service.Known, error) {
	return s.learnt.of(s.learntKey(rider, rig)+t.Sum(), func() (service.Known, error) {
		q := s.texts(map[string]string{"rider": rider, "rig": rig})
		q.Taught = t
		return service.Learn(q)
	})
}

// told is what a page says of a rider's file on a rig.
func (s *Server) told(rider, rig string, t *service.Taught) RiderPage {
	p, err := s.riderPages.of(s.learntKey(rider, rig)+t.Sum(), func() (p RiderPage, err error) {
		known, err := s.learn(rider, rig, t)
		if err == nil {
			p.tell(known, rider, s.now())
		}
		return p, err
	})
	if err != nil {
		p.Wrong = err.Error()
	}
	return p
}

// doubt is the standard deviation of a rider's threshold as a share of it; 0
// if the files cannot be read.
func (s *Server) doubt(rider, rig string, taught *service.Taught) float64 {
	known, err := s.learn(rider, rig, taught)
	if err != nil {
		return 0
	}
	t := known.Capacity.ThresholdEstimate("")
	if t.Mean <= 0 {
		return 0
	}
	return t.SD / t.Mean
}
