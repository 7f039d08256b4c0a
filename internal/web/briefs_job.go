package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"strings"
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
	id    string
	began time.Time
	typed map[string]string // to show the form again
	stop  context.CancelFunc
	watch *time.Timer
	done  chan struct{}

	mu   sync.Mutex
	says string

	brief string // its ID, once done
	err   error
}

// startBrief begins to make a brief.
func (s *Server) startBrief(ctx context.Context, p briefParts, typed map[string]string) (*briefJob, error) {
	j := &briefJob{id: strings.ToLower(rand.Text()[:16]), began: s.now(), typed: typed, done: make(chan struct{})}
	jobs := &s.briefJobs
	jobs.mu.Lock()
	defer jobs.mu.Unlock()
	running := 0
	for _, other := range jobs.all {
		select {
		case <-other.done:
		default:
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
	go s.runBrief(work, j, p)
	return j, nil
}

func (s *Server) runBrief(ctx context.Context, j *briefJob, p briefParts) {
	defer close(j.done)
	defer j.stop()
	defer func() { // nobody else would catch it here, and the program would end
		if v := recover(); v != nil {
			s.log.Error("a brief could not be made", "panic", v)
			j.err = fmt.Errorf("panic: %v", v)
		}
	}()
	b, err := s.reckonBrief(ctx, p, briefDraws, func(says string) {
		j.mu.Lock()
		defer j.mu.Unlock()
		j.says = says
	})
	if err == nil {
		kept, wrong := s.keepBrief(ctx, p, b)
		j.brief, err = kept.ID, wrong
	}
	j.err = err
}

// progress is what it is doing, in words.
func (j *briefJob) progress() string {
	j.mu.Lock()
	defer j.mu.Unlock()
	if j.says == "" {
		return "reading the course"
	}
	return j.says
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
