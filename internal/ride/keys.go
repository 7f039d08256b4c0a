package ride

import (
	"math"
	"strings"
	"time"

	"chainline/session"
)

// Key is what a rider, or a host, asks of a ride.
type Key struct {
	Kind  KeyKind `json:"key"`
	Value float64 `json:"value,omitempty"`
	Text  string  `json:"text,omitempty"`
	Host  bool    `json:"-"` // it comes from the host of a group session
}

// KeyKind says what is asked.
type KeyKind string

// What can be asked.
const (
	KeyStart    KeyKind = "start"
	KeyCount    KeyKind = "count"    // begin in Value seconds
	KeyPause    KeyKind = "pause"    // not on a course
	KeyResume   KeyKind = "resume"   //
	KeyNext     KeyKind = "next"     // the next step, or cue where cues go by key
	KeyBack     KeyKind = "back"     // the step again
	KeyShorten  KeyKind = "shorten"  // the step ends in Value seconds
	KeyLengthen KeyKind = "lengthen" // the step ends Value seconds later
	KeyConfirm  KeyKind = "confirm"  // the rider is at Value metres
	KeySay      KeyKind = "say"      // Text to show
	KeyPhrase   KeyKind = "phrase"   // say Phrases[Value] to the group
	KeyEnd      KeyKind = "end"

	KeyScan       KeyKind = "scan"    // Value 1 begins, 0 ends
	KeyConnect    KeyKind = "connect" // Text is the device
	KeyForget     KeyKind = "forget"
	KeyZeroOffset KeyKind = "zero"
	KeySpinDown   KeyKind = "spin-down"
)

// sayFor is how long a host's words stand. Our judgement.
const sayFor = 20 * time.Second

// Key does what is asked, or says why not in a sentence; empty when done.
func (c *Core) Key(k Key, now time.Time) string {
	if now.After(c.now) {
		c.now = now
	}
	if c.stage == Ended {
		return "The ride has ended."
	}
	switch k.Kind {
	case KeyStart, KeyCount, KeyPause, KeyResume, KeyEnd:
		return c.stageKey(k)
	case KeyNext, KeyBack, KeyShorten, KeyLengthen, KeyConfirm:
		return c.stepKey(k)
	case KeySay:
		c.said, c.saidAt = oneLine(k.Text), c.now
		c.notice(AboutHost, false, c.said)
	case KeyPhrase:
		return c.phrase(k.Value)
	case KeyScan:
		c.take(c.hub.Scan(k.Value != 0))
		if k.Value != 0 && c.scanned.IsZero() {
			c.scanned = c.now
		}
	case KeyConnect:
		c.take(c.hub.Connect(k.Text))
	case KeyForget:
		c.take(c.hub.Forget(k.Text))
	case KeyZeroOffset, KeySpinDown:
		if c.stage == Riding {
			return "Pause or end the ride first: calibration needs still legs."
		}
		if c.setup.Way == Listening {
			return "This ride only listens: nothing is written to a device."
		}
		if k.Kind == KeyZeroOffset {
			c.take(c.hub.ZeroOffset(k.Text))
		} else {
			c.take(c.hub.SpinDown(k.Text))
		}
	default:
		return "There is no key " + string(k.Kind) + "."
	}
	return ""
}

func (c *Core) stageKey(k Key) string {
	switch k.Kind {
	case KeyStart:
		if c.stage != Waiting {
			return "The ride has begun."
		}
		if why := c.group.waits(c.now); why != "" {
			return why
		}
		c.begin()
	case KeyCount:
		if c.stage != Waiting || !(k.Value >= 0 && k.Value <= 3600) {
			return "The ride has begun, or that is no countdown."
		}
		if c.group != nil {
			return "The group's host counts down."
		}
		c.setup.StartAt = c.now.Add(time.Duration(k.Value * float64(time.Second)))
		c.record(recordGun(c.seconds(c.now), c.setup.StartAt))
	case KeyPause:
		switch {
		case c.setup.Course != nil:
			return "A course's clock does not stop."
		case c.stage != Riding:
			return "There is nothing to pause."
		case k.Host:
			c.pause("host")
		default:
			c.pause("key")
		}
	case KeyResume:
		if c.stage != Paused {
			return "The ride is not paused."
		}
		c.resume()
	case KeyEnd:
		c.end("Ended by key.")
	}
	return ""
}

func (c *Core) stepKey(k Key) string {
	f := &c.follow
	if c.stage != Riding && c.stage != Paused {
		return "The ride has not begun."
	}
	if course := c.setup.Course; course != nil {
		return c.courseKey(course, k)
	}
	leg, ok := f.leg()
	if !ok {
		return "Free riding has no steps."
	}
	switch k.Kind {
	case KeyNext:
		f.step(c, f.index+1)
		if f.index >= len(f.legs) {
			f.done = true
			c.end("The session is done.")
		}
	case KeyBack:
		f.step(c, f.index)
	case KeyShorten:
		if !(k.Value >= 0 && k.Value <= 7200) {
			return "That is no time to end a step in."
		}
		f.cutS = math.Max(0.01, f.elapsed(c)+k.Value)
		if whole := leg.End.Seconds; leg.End.Kind == session.AfterTime && f.cutS > whole {
			f.cutS = 0
			return "The step is shorter than that already."
		}
	case KeyLengthen:
		return f.lengthen(leg, k.Value)
	default:
		return "A session goes by its steps, not by distance."
	}
	return ""
}

// longestStep is how long a step may become by lengthening it, s.
const longestStep = 7200

// lengthen has a step of known length end later.
func (f *follow) lengthen(leg session.Leg, by float64) string {
	whole := f.length(leg)
	switch {
	case whole <= 0:
		return "This step ends by itself, not by time: it cannot be lengthened."
	case !(by > 0 && whole+by <= longestStep):
		return "That is no time to lengthen a step by."
	}
	f.cutS, f.warned = whole+by, false
	return ""
}

func (c *Core) courseKey(course *Course, k Key) string {
	f := &c.follow
	switch {
	case k.Kind == KeyNext && course.Advance == ByKey:
		if f.index+1 >= len(course.Cues) {
			c.end("Ended after the last cue.")
			return ""
		}
		f.step(c, f.index+1)
	case k.Kind == KeyBack && course.Advance == ByKey && f.index > 0:
		f.step(c, f.index-1)
	case k.Kind == KeyConfirm && course.Advance == ByDistance:
		if !(k.Value >= 0 && k.Value <= course.Profile.Length()) {
			return "The course is not as long as that."
		}
		f.shift += k.Value - c.at
		c.mark("note", "", "position put right by the rider")
		c.at = k.Value
	default:
		return "On this course the cues go by " + string(course.Advance) + "."
	}
	return ""
}

// oneLine keeps words for a screen short and in one line.
func oneLine(s string) string {
	s = strings.Join(strings.Fields(s), " ")
	if r := []rune(s); len(r) > 120 {
		s = string(r[:119]) + "…"
	}
	return s
}
