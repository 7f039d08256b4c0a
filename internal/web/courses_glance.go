package web

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"html/template"
	"strings"
	"sync"
	"time"

	"chainline/brief"
	"chainline/course"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// courseBox is how long a list waits for what is not known yet; the rest is
// reckoned while the person reads. Our judgement.
const courseBox = 350 * time.Millisecond

// Bounds of what goes on behind a list.
const (
	courseFillLimit = 2 * time.Minute
	courseKeptMost  = 5000 // answers in memory; then it starts afresh
)

// sameForAll stands for the rig of a person who has none yet.
const sameForAll = "trainer: {kind: controllable}\n"

// courseFacts is what a list says of a course, whoever rides it.
type courseFacts struct {
	Distance, Ascent float64 // m
	Sketch           bool
	Thumb            template.HTML
	Wrong            string // why it cannot be read
}

// courseQuick is what a list says of a course for one rider.
type courseQuick struct {
	brief.Quick
	Wrong string
}

// courseCache remembers both by what they are made from, so that nothing in
// it can be out of date. The zero value is empty.
type courseCache struct {
	mu    sync.Mutex
	facts map[string]courseFacts // by the course's hash
	quick map[string]courseQuick
	fill  *courseFill // the latest; an older one is stopped
}

type courseFill struct {
	key  string
	done chan struct{}
	stop context.CancelFunc
}

// courseAsk is for whom a list is reckoned. Rider is empty if there is none.
type courseAsk struct {
	Rider, Rig string // texts of their files
	Today      time.Time
}

func (a courseAsk) key(courseHash string) string {
	return courseHashOf(a.Rider, a.Rig, a.Today.Format(time.DateOnly), courseHash)
}

func courseHashOf(parts ...string) string {
	h := sha256.New()
	for _, p := range parts {
		one := sha256.Sum256([]byte(p))
		h.Write(one[:])
	}
	return hex.EncodeToString(h.Sum(nil))
}

func courseHash(o store.Object) string {
	if o.Original != nil {
		return courseHashOf("original", o.Original.SHA256)
	}
	return courseHashOf("text", o.Text)
}

// known is what is remembered of a course.
func (c *courseCache) known(a courseAsk, o store.Object) (f courseFacts, hasFacts bool, q courseQuick, hasQuick bool) {
	hash := courseHash(o)
	c.mu.Lock()
	defer c.mu.Unlock()
	f, hasFacts = c.facts[hash]
	q, hasQuick = c.quick[a.key(hash)]
	return f, hasFacts, q, hasQuick || a.Rider == "" || f.Wrong != ""
}

// reckon finds out what is not remembered, for as long as the time box lasts;
// what is not ready by then goes on in the background.
func (s *Server) reckon(ctx context.Context, a courseAsk, all []store.Object) {
	var missing []store.Object
	key := courseHashOf(a.Rider, a.Rig, a.Today.Format(time.DateOnly))
	for _, o := range all {
		if _, facts, _, quick := s.courseCache.known(a, o); !facts || !quick {
			missing = append(missing, o)
			key = courseHashOf(key, courseHash(o))
		}
	}
	if len(missing) == 0 {
		return
	}
	f := s.startFill(ctx, key, a, missing)
	box := time.NewTimer(courseBox)
	defer box.Stop()
	select {
	case <-f.done:
	case <-box.C:
	case <-ctx.Done():
	}
}

// startFill begins the work unless it is going on already. A list for another
// rider stops the one before: nobody reads that any more.
func (s *Server) startFill(ctx context.Context, key string, a courseAsk, missing []store.Object) *courseFill {
	c := &s.courseCache
	c.mu.Lock()
	defer c.mu.Unlock()
	if f := c.fill; f != nil {
		select {
		case <-f.done:
		default:
			if f.key == key {
				return f
			}
			f.stop()
		}
	}
	work, stop := context.WithTimeout(context.WithoutCancel(ctx), courseFillLimit)
	f := &courseFill{key: key, done: make(chan struct{}), stop: stop}
	c.fill = f
	go func() {
		defer close(f.done)
		defer stop()
		defer func() { // nobody else would catch it here, and the program would end
			if p := recover(); p != nil {
				s.log.Error("a list of courses could not be reckoned", "panic", p)
			}
		}()
		for _, o := range missing {
			if s.fillOne(work, a, o) != nil {
				return
			}
		}
	}()
	return f
}

// fillOne reckons one course; an error means that there is no sense in going
// on.
func (s *Server) fillOne(ctx context.Context, a courseAsk, o store.Object) error {
	whole, err := s.store.Object(ctx, o.ID)
	if errors.Is(err, store.ErrNotFound) {
		return nil
	}
	if err != nil {
		return err
	}
	hash := courseHash(whole)
	facts, _, _, _ := s.courseCache.known(a, whole)
	if facts.Thumb == "" && facts.Wrong == "" {
		facts = factsOf(whole)
	}
	var quick courseQuick
	if a.Rider != "" && facts.Wrong == "" {
		if quick.Quick, err = service.Glance(ctx, a.request(whole, s.workers)); ctx.Err() != nil {
			return ctx.Err()
		} else if err != nil {
			quick.Wrong, _ = problem.ForPerson(err)
		}
	}
	c := &s.courseCache
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.facts == nil || len(c.facts) > courseKeptMost || len(c.quick) > courseKeptMost {
		c.facts, c.quick = map[string]courseFacts{}, map[string]courseQuick{}
	}
	c.facts[hash] = facts
	if a.Rider != "" {
		c.quick[a.key(hash)] = quick
	}
	return nil
}

// request asks for a course at a glance.
func (a courseAsk) request(o store.Object, workers int) service.BriefRequest {
	name, data := courseFile(o)
	kept := map[string]string{"rider.yaml": a.Rider, "rig.yaml": a.Rig, name: string(data)}
	return service.BriefRequest{Rider: "rider.yaml", Rig: "rig.yaml", Course: name, Today: a.Today, Seed: 1, Workers: workers,
		Open: service.Texts(kept)}
}

// courseFile is the file that a course is kept as, with the name that errors
// call it.
func courseFile(o store.Object) (name string, data []byte) {
	if o.Original != nil {
		return o.Original.Filename, o.Original.Bytes
	}
	return "course.yaml", []byte(o.Text)
}

// courseWay reads a course that is kept.
func courseWay(o store.Object) (brief.Way, error) {
	name, data := courseFile(o)
	return readCourse(name, data)
}

func readCourse(name string, data []byte) (brief.Way, error) {
	return service.Course(service.BriefRequest{Course: name, Open: service.Texts(map[string]string{name: string(data)})})
}

func factsOf(o store.Object) courseFacts {
	w, err := courseWay(o)
	if err != nil {
		message, _ := problem.ForPerson(err)
		return courseFacts{Wrong: message}
	}
	f := courseFacts{Sketch: w.Sketch != nil, Thumb: courseThumb(courseShapes(w, 3))}
	f.Distance, f.Ascent = courseTotals(w)
	return f
}

func courseTotals(w brief.Way) (distance, ascent float64) {
	if w.Sketch != nil {
		return w.Sketch.Totals()
	}
	return w.Profile.Length(), w.Profile.Ascent()
}

// courseClimbs are the climbs of a course whose shape is known.
func courseClimbs(w brief.Way) []course.Climb {
	if w.Sketch != nil {
		return nil
	}
	return course.Climbs(w.Profile)
}

// oneLine is an error of a reader as a sentence beside a field.
func oneLine(err error) string {
	message, hint := problem.ForPerson(err)
	return strings.TrimSpace(message + " " + hint)
}
