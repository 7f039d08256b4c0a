package ride

import (
	"fmt"
	"math"
	"time"

	"chainline/internal/bunch"
	"chainline/physics"
	"chainline/race"
)

// A ride in a live group course: what the others do to it. Where the rider is
// stays our own physics and their own watts; riders near take air drag away.

// Company is the group a ride is in. Meet tells it where the rider is at an
// instant of the ride's clock and hears where the others are; it does not
// wait for anything.
type Company interface {
	Meet(now time.Time, me bunch.Me) bunch.Scene
}

// inGroup is a ride's membership. Methods on nil are those of a ride alone.
type inGroup struct {
	with  Company
	scene bunch.Scene
	air   race.Shelter // of scene.Strength
	force float64      // that air was made for

	shelter, extra float64 // smoothed shares of own air drag
	was, accel     float64 // m/s; m/s², smoothed
	rode           bool
	helped         bool
	late           bool
	silent         bool
	refused        string

	phrase        *bunch.Phrase
	said          time.Time
	wordsN, saysN uint64
	orderN        uint64
}

// How smoothly the group works, and how far its gun may move before it is
// written down again. Our judgement: positions carry metres of error, and
// shelter that comes and goes within a second is nobody's.
const (
	shelterMean = 3.0                    // s
	accelMean   = 1.0                    // s
	gunMoved    = 200 * time.Millisecond // recorded anew
	gunLate     = time.Second            // after which a gun has been missed
	phraseEvery = 2 * time.Second
	helpFrom    = 0.98 // share of drag at which help is said to begin, and to end
	helpTo      = 0.995

	helpEnds = "the host's help to stay with the group ends"
)

// Join has the ride ride with a group, before its first tick.
func (c *Core) Join(with Company) {
	c.group = &inGroup{with: with, shelter: 1, extra: 1}
	if c.stage == Waiting {
		c.setup.WaitForKey = true
		if at := c.setup.StartAt; !at.IsZero() && c.now.Sub(at) > gunLate {
			c.setup.StartAt = time.Time{} // it went while the program was away
		}
	}
}

// sheltered is the motion with what the group takes off its air drag.
func (g *inGroup) sheltered(m physics.Motion) physics.Motion {
	if g == nil {
		return m
	}
	return m.Sheltered(g.shelter * g.extra)
}

// takeGun has the group's gun be the ride's, or finds that it was missed.
func (c *Core) takeGun() {
	g := c.group
	if g == nil || c.stage != Waiting || g.scene.Gun.IsZero() {
		return
	}
	gun, at := g.scene.Gun, c.setup.StartAt
	// Also a gun that was still to come and is now long past: this machine slept,
	// and nobody may be on the bike.
	if missed := at.IsZero() || c.now.Before(at); missed && c.now.Sub(gun) > gunLate {
		if !g.late {
			g.late, c.setup.WaitForKey, c.setup.StartAt = true, false, time.Time{}
			c.notice(AboutGroup, false, "The group left "+clockWords(c.now.Sub(gun).Seconds())+" ago. Your ride begins at the line with your first pedal stroke.")
		}
		return
	}
	if at.IsZero() || !c.now.After(at) {
		c.setup.StartAt = gun
		if moved := gun.Sub(at); at.IsZero() || moved.Abs() > gunMoved {
			c.record(recordGun(c.seconds(c.now), gun))
		}
	}
}

// waits says why a rider cannot begin by key; empty when they can.
func (g *inGroup) waits(now time.Time) string {
	if g == nil || g.late || g.scene.Link == bunch.Silenced || g.scene.Link == "" {
		return ""
	}
	if gun := g.scene.Gun; !gun.IsZero() {
		return fmt.Sprintf("The group begins in %.0f s.", math.Max(0, gun.Sub(now).Seconds()))
	}
	return "The group begins when its host says so."
}

// meet tells the group where the rider is and takes what it says.
func (c *Core) meet(dt float64) {
	g := c.group
	if g == nil || g.with == nil {
		return
	}
	rides := c.stage == Riding
	if dt > 0 && rides && g.rode {
		g.accel += ((c.speed-g.was)/dt - g.accel) * -math.Expm1(-dt/accelMean)
	} else {
		g.accel = 0
	}
	g.was, g.rode = c.speed, rides
	g.scene = g.with.Meet(c.now, c.me())
	c.broughtUp()
	g.air = g.airNow()
	g.breathe(c.at, rides, dt)
	c.helpMarks()
	c.hearGroup()
	c.hearLink()
	if g.scene.Ended {
		if g.helped {
			c.mark("note", "group", helpEnds)
		}
		c.notice(AboutGroup, false, "The host has ended the group. You ride on alone.")
		c.group = nil
		if c.stage == Waiting {
			c.setup.WaitForKey = c.setup.StartAt.IsZero()
		}
	}
}

// me is what the ride tells of itself.
func (c *Core) me() bunch.Me {
	g := c.group
	m := bunch.Me{M: c.at, SpeedMS: c.speed, AccelMS2: g.accel, Begun: c.begun, Helped: g.helped, Brought: g.orderN}
	if c.now.Sub(g.said) < sayFor { // a host that was started anew would pass on old ones as new
		m.Phrase = g.phrase
	}
	switch {
	case c.follow.done:
		m.Stage = bunch.Home
	case c.stage == Waiting:
		m.Stage, m.SpeedMS = bunch.Waiting, 0
	case (c.stage == Ending || c.stage == Ended) && !c.left:
		m.Stage = bunch.Gone
	default:
		m.Stage = bunch.Riding
	}
	return m
}

func (g *inGroup) airNow() race.Shelter {
	if g.force != g.scene.Strength || g.air.Position == nil {
		g.force = g.scene.Strength
		return race.Live(race.Strength(g.force))
	}
	return g.air
}

// breathe moves shelter and help towards what the places of the riders give.
func (g *inGroup) breathe(at float64, rides bool, dt float64) {
	shelter, extra := 1.0, 1.0
	if rides && !g.scene.Ended {
		places, own, ahead := make([]float64, len(g.scene.Dots)), -1, []float64{0}
		for i, d := range g.scene.Dots {
			places[i] = math.NaN()
			switch {
			case d.You:
				places[i], own = at, i
			case d.State == bunch.Riding:
				places[i] = d.AtM
				ahead = append(ahead, secondsAhead(d, at))
			}
		}
		if own >= 0 {
			shelter = race.LiveShelter(places, own, g.air)
		}
		if g.scene.Keep {
			extra = race.KeepTogether(race.MiddleOf(ahead))
		}
	}
	near := -math.Expm1(-dt / shelterMean)
	g.shelter += (shelter - g.shelter) * near
	g.extra += (extra - g.extra) * near
}

// secondsAhead of us a rider is: by when each passed the same place, else by
// the way between at their speed.
func secondsAhead(d bunch.Dot, at float64) float64 {
	if d.Known {
		return -d.BehindS
	}
	return (d.AtM - at) / math.Max(2, d.SpeedMS)
}

// helpMarks says in the recording where the host's help begins and ends.
func (c *Core) helpMarks() {
	g := c.group
	switch {
	case !g.helped && g.extra < helpFrom:
		g.helped = true
		c.notice(AboutGroup, false, "The host keeps the group together: you ride with less air drag until you are near the middle again. The recording says so.")
	case g.helped && g.extra > helpTo:
		g.helped = false
		c.mark("note", "group", helpEnds)
	}
}

// broughtUp moves the rider up to the last of the others, as the host ordered.
func (c *Core) broughtUp() {
	g := c.group
	o := g.scene.BringUp
	if o.N <= g.orderN || c.stage != Riding {
		return
	}
	g.orderN = o.N
	to, seen := o.ToM, false
	for _, d := range g.scene.Dots {
		if !d.You && d.State == bunch.Riding && (!seen || d.AtM < to) {
			to, seen = d.AtM, true
		}
	}
	if k := c.setup.Course; k != nil {
		to = math.Min(to, k.Profile.Length()-1)
	}
	if moved := to - c.at; moved > 0 {
		c.at, c.brought = to, c.brought+moved
		c.notice(AboutGroup, false, fmt.Sprintf("The host has brought you up %.0f m, to the last rider. They are not counted as ridden.", moved))
	}
}

// hearGroup takes the host's words and what the others say.
func (c *Core) hearGroup() {
	g := c.group
	if w := g.scene.Words; w.N > g.wordsN {
		g.wordsN = w.N
		if g.scene.WordsAgo < sayFor.Seconds() && w.Text != "" {
			c.said, c.saidAt = oneLine(w.Text), c.now
			c.notice(AboutHost, false, c.said)
		}
	}
	for _, p := range g.scene.Phrases {
		if p.N <= g.saysN {
			continue
		}
		g.saysN = p.N
		if p.Index < len(Phrases) && !p.Mine { // of others nothing is written down
			c.noticed = append(c.noticed, Notice{c.now, AboutGroup, p.From + ": " + Phrases[p.Index], false})
		}
	}
}

// hearLink says when the host falls silent, and when it is back.
func (c *Core) hearLink() {
	g := c.group
	silent := g.scene.Synced && g.scene.Link == bunch.Silenced
	switch {
	case silent && !g.silent && c.stage != Ended:
		c.notice(AboutGroup, false, "The group's host is not heard. You ride on as before; the others are shown where they were last reckoned.")
	case !silent && g.silent:
		c.notice(AboutGroup, false, "The group's host is heard again.")
	}
	g.silent = silent
	if words := g.scene.Refused; words != g.refused {
		if g.refused = words; words != "" {
			c.notice(AboutGroup, false, "The group's host says: "+oneLine(words)+". You ride alone.")
		}
	}
}

// phrase says one of the fixed phrases to the group.
func (c *Core) phrase(which float64) string {
	g := c.group
	i := int(which)
	switch {
	case g == nil:
		return "This ride is not in a group."
	case !(which >= 0 && i < len(Phrases)) || float64(i) != which:
		return "There is no such phrase."
	case !g.said.IsZero() && c.now.Sub(g.said) < phraseEvery:
		return "That was just now: wait a moment."
	}
	g.said, g.phrase = c.now, &bunch.Phrase{N: uint64(c.now.UnixMicro()), Index: i}
	c.mark("note", "group", "said to the group: "+Phrases[i])
	return ""
}

// row puts what the group does into a state.
func (g *inGroup) row(s *state, stage Stage) {
	if g == nil || stage != Riding {
		return
	}
	shelter, help := round3(g.shelter), round3(g.extra)
	s.Shelter, s.Help = &shelter, &help
}

// groupSheet is the group as a page shows it; nil for a ride alone.
func (c *Core) groupSheet() *GroupSheet {
	g := c.group
	if g == nil {
		return nil
	}
	s := SheetOf(g.scene)
	s.Shelter, s.Extra = round3(g.shelter), round3(g.extra)
	if s.Title == "" && c.setup.Group != nil {
		s.Title = c.setup.Group.Title
	}
	return &s
}

// SheetOf is a scene as a page shows it, without what it does to a ride.
func SheetOf(x bunch.Scene) GroupSheet {
	s := GroupSheet{Title: x.Title, Host: x.Host, Link: x.Link, SilentS: x.SilentS, ClockS: x.ClockS, GunSet: !x.Gun.IsZero(), Shelter: 1, Extra: 1, Keep: x.Keep,
		Riders: make([]GroupDot, 0, len(x.Dots))}
	if s.Link == "" {
		s.Link = LinkSilent
	}
	for _, d := range x.Dots {
		s.Riders = append(s.Riders, GroupDot(d))
	}
	for _, p := range x.Phrases {
		if p.Index < len(Phrases) {
			s.Phrases = append(s.Phrases, GroupPhrase{p.From, Phrases[p.Index], p.AgoS})
		}
	}
	return s
}
