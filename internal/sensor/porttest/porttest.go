// Package porttest holds every implementation of a trainer to the same
// conduct: the bench in virtual and in wall time, a recording played back,
// and a real radio's client over a bus of its own. It is for tests only.
package porttest

import (
	"testing"
	"time"

	"chainline/internal/sensor"
)

// Face is a port as a test meets it.
type Face interface {
	Do(sensor.Request)
	// Next is the next event. After limit without one, or once the face is
	// closed, ok is false.
	Next(limit time.Duration) (e sensor.Event, ok bool)
	Close() error
	// Closed reports whether the end of the events has been seen.
	Closed() bool
}

// Rig is one trainer in range of a port, and what a test can do to it from
// the other side. A nil function is something this rig cannot do, or cannot
// show; what needs it is skipped.
type Rig struct {
	Face
	Device string                           // as in Event.Device
	Cut    func()                           // the device ends the link; it stays in range
	Taken  func()                           // another program takes control from us
	Target func() (watts float64, set bool) // what the brake is set to hold
	Silent func()                           // from now on writes are acknowledged and never answered
	// Subscribed is what the device has been asked to notify and indicate on
	// the present link, in the order of asking.
	Subscribed func() []uint16
}

// Subject is what is tested.
type Subject struct {
	// Open gives a fresh rig: in range, nobody connected, not scanning.
	Open func(t *testing.T) Rig
	// Around runs one part of the suite, for one that needs something about
	// it, as a bubble of synctest; nil runs it as it is.
	Around func(t *testing.T, part func(t *testing.T))
	// Within is how long an answer may take, and Quiet how long to listen for
	// what must not come. Zero is 12 s and 2.5 s; a test that runs by the
	// wall clock wants less.
	Within, Quiet time.Duration
	// ReadOnly is a trainer that grants control to nobody.
	ReadOnly bool
}

// Trainer runs the suite.
func Trainer(t *testing.T, s Subject) {
	if s.Within == 0 {
		s.Within = 12 * time.Second
	}
	if s.Quiet == 0 {
		s.Quiet = 2500 * time.Millisecond
	}
	if s.Around == nil {
		s.Around = func(t *testing.T, part func(*testing.T)) { part(t) }
	}
	parts := []struct {
		name string
		run  func(*probe)
		only func(Subject) bool
	}{
		{"a scan finds it and ends", scanFinds, nil},
		{"up comes first and lists the characteristics", upLists, nil},
		{"asked twice, up once", askedTwice, nil},
		{"what it can do is read", reads, nil},
		{"nobody answers for a device that is not there", unknown, nil},
		{"nothing is asked of it unconnected", unconnected, nil},
		{"control is refused", refused, readOnly},
		{"no target before control", needsControl, controlled},
		{"control, targets and refusals", control, controlled},
		{"one procedure at a time", oneAtATime, controlled},
		{"a reset gives control away", reset, controlled},
		{"control taken by another", taken, controlled},
		{"a procedure without an answer", silent, controlled},
		{"a lost link, and once again", lostLink, nil},
		{"a link ended as asked", disconnect, nil},
		{"closing ends the events", closing, nil},
	}
	for _, p := range parts {
		if p.only != nil && !p.only(s) {
			continue
		}
		t.Run(p.name, func(t *testing.T) {
			s.Around(t, func(t *testing.T) {
				k := &probe{t: t, s: s, Rig: s.Open(t), seen: map[string]time.Time{}}
				defer func() {
					if err := k.Close(); err != nil {
						t.Errorf("close: %v", err)
					}
				}()
				p.run(k)
			})
		})
	}
}

func readOnly(s Subject) bool   { return s.ReadOnly }
func controlled(s Subject) bool { return !s.ReadOnly }

// OfPort is a port as a face, in wall time or in a bubble of synctest.
func OfPort(p sensor.Port) Face { return &portFace{Port: p} }

type portFace struct {
	sensor.Port
	closed bool
}

func (f *portFace) Next(limit time.Duration) (sensor.Event, bool) {
	timer := time.NewTimer(limit)
	defer timer.Stop()
	select {
	case e, ok := <-f.Events():
		f.closed = f.closed || !ok
		return e, ok
	case <-timer.C:
		return sensor.Event{}, false
	}
}

func (f *portFace) Closed() bool { return f.closed }

// Stage is something that lives in virtual time.
type Stage interface {
	Do(sensor.Request)
	Advance(to time.Time) []sensor.Event
	Now() time.Time
}

// OfStage is a stage as a face: time passes while a test waits.
func OfStage(s Stage) Face { return &stageFace{Stage: s} }

type stageFace struct {
	Stage
	waiting []sensor.Event
	closed  bool
}

func (f *stageFace) Next(limit time.Duration) (sensor.Event, bool) {
	const slice = 5 * time.Millisecond
	for end := f.Now().Add(limit); len(f.waiting) == 0 && f.Now().Before(end) && !f.closed; {
		f.waiting = f.Advance(f.Now().Add(slice))
	}
	if len(f.waiting) == 0 || f.closed {
		return sensor.Event{}, false
	}
	e := f.waiting[0]
	f.waiting = f.waiting[1:]
	return e, true
}

func (f *stageFace) Close() error { f.closed = true; return nil }
func (f *stageFace) Closed() bool { return f.closed }
