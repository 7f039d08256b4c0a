package ride

import (
	"fmt"
	"math"
	"time"

	"chainline/session"
)

// follow is where in the session or in the course's cues a ride is.
type follow struct {
	legs   []session.Leg
	index  int     // of the leg or cue
	fromS  float64 // ride clock at which the step began
	fromM  float64
	cutS   float64 // length in s the leg was cut to, by key or host; 0 none
	shift  float64 // m, what the rider's confirmed distance put the position right by, in all
	spentS float64 // s for which a leg 'until spent' has been too slow
	at     time.Time
	done   bool
	warned bool // the coming step was announced
}

func (f *follow) begin(s Setup) {
	if s.Session != nil {
		f.legs = s.Session.Legs
	}
}

// leg is the session's step that is ridden now.
func (f *follow) leg() (session.Leg, bool) {
	if f.index < len(f.legs) {
		return f.legs[f.index], true
	}
	return session.Leg{}, false
}

func (f *follow) next() (session.Leg, bool) {
	if f.index+1 < len(f.legs) {
		return f.legs[f.index+1], true
	}
	return session.Leg{}, false
}

func (f *follow) restsNow() bool {
	leg, ok := f.leg()
	return ok && leg.Kind == session.Off
}

func (f *follow) title(c *Core) string {
	if k := c.setup.Course; k != nil {
		if f.index < len(k.Cues) {
			return k.Cues[f.index].Name
		}
		return k.Name
	}
	if leg, ok := f.leg(); ok {
		return leg.Words
	}
	return "free riding"
}

func (f *follow) elapsed(c *Core) float64   { return c.clock() - f.fromS }
func (f *follow) sinceStep(c *Core) float64 { return f.elapsed(c) }

// length of the leg in s if its end is known beforehand, else 0.
func (f *follow) length(leg session.Leg) float64 {
	if f.cutS > 0 {
		return f.cutS
	}
	if leg.End.Kind == session.AfterTime {
		return leg.End.Seconds
	}
	return 0
}

// lagShare of a brake's lag is how much earlier than by its dead time a target
// is sent: what the step before loses at its end, this one gains at its
// beginning. Our judgement.
const lagShare = 0.7

// wattsAhead is the target when the brake will have heard of it: sent early by
// the brake's dead time.
func (f *follow) wattsAhead(c *Core) float64 {
	ahead := c.setup.Rig.DeadTime + lagShare*c.setup.Rig.Lag
	if k := c.setup.Course; k != nil {
		if len(k.Cues) == 0 {
			return 0
		}
		return k.Cues[f.cueAt(c, ahead)].Watts
	}
	leg, ok := f.leg()
	if !ok {
		return 0
	}
	t, whole := f.elapsed(c)+ahead, f.length(leg)
	if whole > 0 && t >= whole {
		if n, ok := f.next(); ok && n.Lead == session.ByWatts && n.HeldW > 0 {
			return n.HeldAt(0)
		}
	}
	return leg.HeldAt(f.share(c, leg, t))
}

// share is how much of a leg is behind after t seconds of it.
func (f *follow) share(c *Core, leg session.Leg, t float64) float64 {
	switch {
	case f.cutS > 0:
		return t / f.cutS
	case leg.End.Kind == session.AfterTime && leg.End.Seconds > 0:
		return t / leg.End.Seconds
	case leg.End.Kind == session.AfterDistance && leg.End.Metres > 0:
		return (c.at - f.fromM) / leg.End.Metres
	case leg.End.MostS > 0:
		return t / leg.End.MostS
	}
	return 0
}

// cueAt is the index of the cue that holds now, or a little ahead (s).
func (f *follow) cueAt(c *Core, ahead float64) int {
	k := c.setup.Course
	switch k.Advance {
	case ByKey:
		return min(f.index, len(k.Cues)-1)
	case ByTime:
		t := c.clock() + ahead
		i := 0
		for i+1 < len(k.Cues) && k.Cues[i+1].StartS <= t {
			i++
		}
		return i
	default:
		x := c.at + c.speed*ahead
		i := 0
		for i+1 < len(k.Cues) && k.Cues[i].ToM <= x {
			i++
		}
		return i
	}
}

// followOn moves on to the next step when this one is over.
func (c *Core) followOn(dt float64) {
	f := &c.follow
	if c.setup.Course != nil {
		c.followCourse()
		return
	}
	leg, ok := f.leg()
	if !ok || c.stage != Riding {
		return
	}
	if !f.over(c, leg, dt) {
		return
	}
	began, whole := f.fromS, f.length(leg)
	f.step(c, f.index+1)
	if whole > 0 { // a step by time ends at its time, not at the tick after
		f.fromS = math.Max(began+whole, f.fromS-1)
	}
	if f.index >= len(f.legs) {
		f.done = true
		c.end("The session is done.")
	}
}

// over tells whether the leg has ended.
func (f *follow) over(c *Core, leg session.Leg, dt float64) bool {
	t := f.elapsed(c)
	if f.cutS > 0 {
		return t >= f.cutS
	}
	switch leg.End.Kind {
	case session.AfterDistance:
		return c.at-f.fromM >= leg.End.Metres
	case session.AtBalance:
		reached := c.balance <= leg.LeftJ
		if leg.End.Back {
			reached = c.balance >= leg.LeftJ
		}
		return t >= leg.End.MostS || reached && t >= leg.End.LeastS
	case session.AtWord:
		return t >= leg.End.MostS
	case session.WhenSpent:
		if rpm, ok := c.cadence.fresh(c.now); ok && rpm < 40 && t > 10 {
			f.spentS += dt
		} else {
			f.spentS = 0
		}
		return t >= leg.End.MostS || f.spentS >= 5
	default:
		return t >= leg.End.Seconds
	}
}

// step goes to a leg or cue: power sources are chosen anew, and what was
// steered is forgotten.
func (f *follow) step(c *Core, index int) {
	f.index, f.fromS, f.fromM, f.cutS, f.spentS, f.warned = index, c.clock(), c.at, 0, 0, false
	f.at = c.now
	c.steer.reset()
	if s, switched := c.power.newStep(c.now); switched {
		c.mark("switched", string(s.key), "")
		c.notice(AboutPower, false, "Watts come from "+c.sourceName(s)+" again.")
		c.watts, c.state = c.power.now(c.now)
	}
	if index < len(f.legs) || c.setup.Course != nil && index < len(c.setup.Course.Cues) {
		c.mark("lap", "", f.title(c))
		c.cueChanged()
	}
}

// followCourse moves the cues on and sees the finish.
func (c *Core) followCourse() {
	k, f := c.setup.Course, &c.follow
	if len(k.Cues) > 0 {
		if i := f.cueAt(c, 0); i != f.index {
			f.step(c, i)
		}
	}
	if (k.Advance == ByPosition || k.Advance == ByDistance) && c.at >= k.Profile.Length()-1e-6 {
		f.done = true
		c.end("Finished in " + clockWords(c.clock()) + ".")
	}
}

func (c *Core) cueChanged() {
	if c.stage != Riding {
		return
	}
	n := c.instruction()
	words := n.Words
	if n.Say != "" {
		words = n.Say
	}
	c.out.Notices = append(c.out.Notices, Notice{c.now, AboutCue, words, false})
}

// clockWords are seconds as people say them: 1:02:30 or 4:05.
func clockWords(seconds float64) string {
	s := int(math.Round(seconds))
	if s >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", s/3600, s/60%60, s%60)
	}
	return fmt.Sprintf("%d:%02d", s/60, s%60)
}
