package web

import (
	"sync"
	"time"

	"chainline/internal/service"
)

// nextDoubts remembers how much is known of riders, by file, rig and day. The
// zero value is empty.
type nextDoubts struct {
	mu  sync.Mutex
	all map[string]float64
}

const nextDoubtsMost = 500 // answers in memory; then it starts afresh

// doubt is the standard deviation of a rider's threshold as a share of it; 0
// if the files cannot be read.
func (s *Server) doubt(rider, rig string) float64 {
	key := courseHashOf(rider, rig, s.now().Format(time.DateOnly))
	c := &s.nextDoubts
	c.mu.Lock()
	share, there := c.all[key]
	c.mu.Unlock()
	if there {
		return share
	}
	if known, err := service.Learn(s.texts(map[string]string{"rider": rider, "rig": rig})); err == nil {
		if t := known.Capacity.ThresholdEstimate(""); t.Mean > 0 {
			share = t.SD / t.Mean
		}
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all == nil || len(c.all) >= nextDoubtsMost {
		c.all = map[string]float64{}
	}
	c.all[key] = share
	return share
}
