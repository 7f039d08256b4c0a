package web

import (
	"context"
	"fmt"
	"sync"
	"time"
)

// A brief that takes longer than briefBox is made behind a page that says how
// far it is and asks again by itself. It is given up when nobody has asked for
// briefPatience: the page was closed. Our judgement.
const (
	briefBox      = 300 * time.Millisecond
	briefAsking   = time.Second // how long an asking waits for the end
	briefPatience = 20 * time.Second
	briefLongest  = 3 * time.Minute
	mostBriefJobs = 4
)

// briefJobs are the briefs that are being made. The zero value has none.
type briefJobs struct {
	mu  sync.Mutex
	all map[string]*briefJob
}

type briefJob struct {
	effort
	typed map[string]string // to show the form again
	watch *time.Timer
	brief string // its ID, once done
}

// startBrief begins to make a brief.
func (s *Server) startBrief(ctx context.Context, p briefParts, typed map[string]string) (*briefJob, error) {
	j := &briefJob{effort: newEffort(s.now()), typed: typed}
	jobs := &s.briefJobs
	jobs.mu.Lock()
	defer jobs.mu.Unlock()
	running := 0
	for _, other := range jobs.all {
		if !other.over() {
			running++
		}
	}
	if running >= mostBriefJobs {
		return nil, refuse(503, fmt.Sprintf("%d briefs are being made already. Wait for one of them.", running))
	}
	work, stop := context.WithTimeout(context.WithoutCancel(ctx), briefLongest)
	j.stop = stop
	j.watch = time.AfterFunc(briefPatience, func() {
		stop()
		jobs.forget(j.id)
	})
	if jobs.all == nil {
		jobs.all = map[string]*briefJob{}
	}
	jobs.all[j.id] = j
	go j.run(s.log, "a brief", func() error {
		b, err := s.reckonBrief(work, p, briefDraws, j.say)
		if err != nil {
			return err
		}
		kept, err := s.keepBrief(work, p, b)
		j.brief = kept.ID
		return err
	})
	return j, nil
}

// wait is whether it is done within a time; whoever waits is there.
func (j *briefJob) wait(ctx context.Context, most time.Duration) bool {
	j.watch.Reset(briefPatience)
	box := time.NewTimer(most)
	defer box.Stop()
	select {
	case <-j.done:
		return true
	case <-box.C:
	case <-ctx.Done():
	}
	return false
}

func (jobs *briefJobs) get(id string) *briefJob {
	jobs.mu.Lock()
	defer jobs.mu.Unlock()
	return jobs.all[id]
}

func (jobs *briefJobs) forget(id string) {
	jobs.mu.Lock()
	defer jobs.mu.Unlock()
	delete(jobs.all, id)
}
