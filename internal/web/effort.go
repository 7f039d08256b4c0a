package web

import (
	"context"
	"crypto/rand"
	"fmt"
	"log/slog"
	"strconv"
	"strings"
	"sync"
	"time"
)

// effort is something that is worked out behind a page: it says how far it is,
// can be stopped, and what breaks it off does not end the program.
type effort struct {
	id    string
	began time.Time
	stop  context.CancelFunc
	done  chan struct{}
	err   error // once done

	mu   sync.Mutex
	says string
}

func newEffort(began time.Time) effort {
	return effort{id: strings.ToLower(rand.Text()[:16]), began: began, done: make(chan struct{})}
}

// run does the work and notes what came of it.
func (e *effort) run(log *slog.Logger, what string, do func() error) {
	defer close(e.done)
	defer e.stop()
	defer func() { // nobody else would catch it here, and the program would end
		if v := recover(); v != nil {
			log.Error(what+" broke off", "panic", v)
			e.err = fmt.Errorf("panic: %v", v)
		}
	}()
	e.err = do()
}

func (e *effort) say(says string) {
	e.mu.Lock()
	defer e.mu.Unlock()
	e.says = says
}

// progress is what it is doing, in words.
func (e *effort) progress() string {
	e.mu.Lock()
	defer e.mu.Unlock()
	if e.says == "" {
		return "reading the course"
	}
	return e.says
}

// since is how long it has been going on, in words.
func (e *effort) since(now time.Time) string {
	return strconv.Itoa(int(now.Sub(e.began).Seconds())) + " s"
}

func (e *effort) over() bool {
	select {
	case <-e.done:
		return true
	default:
		return false
	}
}
