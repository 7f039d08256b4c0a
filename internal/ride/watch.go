package ride

import (
	"fmt"
	"math"
	"time"

	"chainline/internal/sensor"
)

// What a rider would want to be told while riding, and no sooner: a source
// that repeats itself, two that disagree, a brake that does not follow, a
// heart near its maximum, a bottle, a fan. Numbers without a source are our
// judgement.

const (
	apartShare   = 0.15 // two power sources this far apart on their 10 s means
	apartFor     = 30 * time.Second
	ignoresShare = 0.20 // a brake this far from what it was told
	ignoresWatts = 30.0
	ignoresFor   = 15 * time.Second
	heartShare   = 0.97 // of a measured or typed maximum
	heartFor     = 10 * time.Second
	sayAgain     = 3 * time.Minute
	sipLitres    = 0.15 // a mouthful or two
	gutLPerH     = 0.8  // more than this the gut does not take up; as in the brief
	fanFor       = 5 * time.Minute
)

// watch is what is kept to notice things by.
type watch struct {
	tickedAt time.Time
	spikes   int
	apart    since
	ignores  since
	heart    since
	cadence0 since
}

// since is how long something has been so, and when it was last said.
type since struct{ from, said time.Time }

// holds tells, once and then not again for a while, that something has been so
// for long enough.
func (s *since) holds(so bool, now time.Time, long time.Duration) bool {
	if !so {
		s.from = time.Time{}
		return false
	}
	if s.from.IsZero() {
		s.from = now
	}
	if now.Sub(s.from) < long || !s.said.IsZero() && now.Sub(s.said) < sayAgain {
		return false
	}
	s.said = now
	return true
}

func (c *Core) watchOver(dt float64) {
	c.watchSources()
	c.watchBrake()
	c.watchHeart()
	c.remindOf(dt)
}

func (c *Core) watchSources() {
	var meter, machine *source
	for _, s := range c.power.list {
		if s.silent(c.now) {
			continue
		}
		rpm, known := c.cadence.fresh(c.now)
		legsStill := known && rpm == 0
		if !s.stuck && s.watts > 0 && c.now.Sub(s.since) > stuckAfter && (legsStill || s.key == c.power.used && c.stage == Riding && !c.holding()) {
			s.stuck = true
			c.mark("assumed", string(s.key), "the same watts again and again: perhaps stuck")
			c.notice(AboutPower, false, fmt.Sprintf("%s has said %.0f W for %d seconds: it may be stuck.", c.sourceName(s), s.watts, int(stuckAfter.Seconds())))
		}
		switch s.by {
		case sensor.CyclingPower:
			if meter == nil {
				meter = s
			}
		case sensor.FitnessMachine:
			if machine == nil {
				machine = s
			}
		}
	}
	if meter == nil || machine == nil {
		return
	}
	far := machine.mean > 60 && math.Abs(meter.mean-machine.mean) > apartShare*machine.mean
	if c.watch.apart.holds(far, c.now, apartFor) {
		c.notice(AboutPower, false, fmt.Sprintf("Two sources differ: %s says %.0f W, %s %.0f W. The ride goes by %s.",
			c.sourceName(meter), meter.mean, c.sourceName(machine), machine.mean, c.usedName()))
	}
}

// holding tells whether the brake holds a target power: then watts that hardly
// change are what one expects.
func (c *Core) holding() bool {
	kind, _, told := c.gate.Told()
	return told && kind == sensor.TargetPower
}

func (c *Core) usedName() string {
	if s := c.power.all[c.power.used]; s != nil {
		return c.sourceName(s)
	}
	return "none"
}

// watchBrake sees a trainer that acknowledges and does not follow.
func (c *Core) watchBrake() {
	kind, value, told := c.gate.Told()
	if !told || kind != sensor.TargetPower || c.stage != Riding {
		c.watch.ignores.from = time.Time{}
		return
	}
	var own *source
	for _, s := range c.power.list {
		if s.device == c.trainer && !s.silent(c.now) {
			own = s
		}
	}
	rpm, known := c.cadence.fresh(c.now)
	off := own != nil && (!known || rpm > recoverRPM) && c.follow.sinceStep(c) > 10 &&
		math.Abs(own.watts-value) > math.Max(ignoresWatts, ignoresShare*value)
	if c.watch.ignores.holds(off, c.now, ignoresFor) {
		c.mark("note", c.trainer, "the brake does not follow")
		c.notice(AboutSensor, false, fmt.Sprintf("The trainer was told %.0f W and gives %.0f W. Shift, or see whether another program holds it.", value, own.watts))
	}
}

func (c *Core) watchHeart() {
	most := c.setup.Rider.HeartMax
	bpm, ok := c.heart.fresh(c.now)
	if most <= 0 || !ok {
		return
	}
	if c.watch.heart.holds(bpm >= heartShare*most, c.now, heartFor) {
		c.notice(AboutHeart, true, fmt.Sprintf("Heart at %.0f, close to your maximum of %.0f. Ease off unless this is meant.", bpm, most))
	}
}

// remind is what drink and fan reminders count with.
type remind struct {
	thirst float64 // l sweated and meant to be drunk since the last reminder
	drunk  float64 // l reminded of so far
	warm   since
	fanned bool
}

// remindOf counts sweat by the heat of the watts actually ridden. Sweat is
// taken as in proportion to watts around the brief's own estimate: our
// judgement, good within a third.
func (c *Core) remindOf(dt float64) {
	r := c.setup.Room
	if r.SweatLPerH > 0 && r.PlannedWatts > 0 && r.DrinkShare > 0 && c.stage == Riding {
		rate := r.SweatLPerH * c.watts / r.PlannedWatts * r.DrinkShare
		c.remind.thirst += math.Min(rate, gutLPerH) * dt / 3600
		left := c.leftToRide()
		if c.remind.thirst >= sipLitres && (left <= 0 || left > 240) {
			c.remind.drunk += c.remind.thirst
			c.notice(AboutDrink, false, fmt.Sprintf("Drink: a few mouthfuls, %.0f ml. To thirst if you feel full.", 10*math.Round(100*c.remind.thirst)))
			c.remind.thirst = 0
		}
	}
	if r.FanWatts > 0 && !c.remind.fanned && c.remind.warm.holds(c.overs.mean > r.FanWatts, c.now, fanFor) {
		c.remind.fanned = true
		c.notice(AboutFan, false, "Fan up: this effort makes more heat than this air takes away.")
	}
}

// leftToRide in s, 0 if not known.
func (c *Core) leftToRide() float64 {
	if k := c.setup.Course; k != nil {
		if c.speed > 1 {
			return (k.Profile.Length() - c.at) / c.speed
		}
		return 0
	}
	total := 0.0
	for i := c.follow.index; i < len(c.follow.legs); i++ {
		total += c.follow.legs[i].PlanS
	}
	return math.Max(0, total-c.follow.elapsed(c))
}
