package session

import (
	"fmt"
	"math"
	"slices"
)

// coolDown is easy riding before getting off: ten minutes after a ride given
// its all, six after another one (common practice: at least five minutes, so
// that the legs go on pumping the blood back and nobody faints beside the
// bike).
func (q Request) coolDown() []Step {
	easy, last := 300.0, 300.0
	if q.wanted() == gentle {
		easy, last = 180, 180
	}
	steps := []Step{q.step("easy", easyShare, easy), q.step("very easy, before getting off", penShare, last)}
	steps[1].StartS = easy
	return steps
}

// timeline is what has to happen before the gun, in order; only what this rig
// has. What is done and when is common practice.
func (q Request) timeline(b built) []Moment {
	begin := -b.sum()
	first := math.Min(begin, -q.PenS)
	var list []Moment
	say := func(at float64, what string) {
		list = append(list, Moment{AtS: at, Clock: q.clock(at), What: what})
	}
	say(first-900, "bottles filled and within reach, towel on the bars, mat under the bike")
	say(first-600, "last visit to the toilet")
	ready := "screen set so that it stays on"
	if q.Rig.HeartStrap {
		ready = "heart-rate strap on, " + ready
	}
	say(first-240, ready)
	if q.PenS > 0 {
		say(-q.PenS, q.penWords(begin))
	}
	start := "start riding, easily"
	if q.Rig.Fan {
		start = "fan on; " + start
	}
	say(begin, start)
	if b.gapAt < 0 {
		say(b.gapAt, q.zeroWords())
	}
	if b.lastHardS > 0 {
		say(-b.lastHardS, "the last hard effort is over: easy from here")
	}
	slices.SortStableFunc(list, func(x, y Moment) int {
		switch {
		case x.AtS < y.AtS:
			return -1
		case x.AtS > y.AtS:
			return 1
		}
		return 0
	})
	return list
}

// penWords say to be in the pen, and that the warm-up goes on there.
func (q Request) penWords(begin float64) string {
	if q.Pen == PenFree && -q.PenS < -lastHardUsual && begin < 0 {
		return "be in the pen; the warm-up is ridden there"
	}
	return "be in the pen"
}

// zeroWords say what is set once the rig is warm.
func (q Request) zeroWords() string {
	const meter, brake = "zero offset, now that the meter is warm: stop pedalling, feet still", "spin-down, now that the trainer is warm"
	switch {
	case q.Rig.PowerMeter && q.spinsDown():
		return brake + "; then " + meter
	case q.Rig.PowerMeter:
		return meter
	}
	return brake
}

// clock is the time of day so many seconds from the gun, the minute begun.
func (q Request) clock(at float64) string {
	if !q.HasClock {
		return ""
	}
	minute := (q.StartClock + int(math.Floor(at/60))) % 1440
	if minute < 0 {
		minute += 1440
	}
	return fmt.Sprintf("%d:%02d", minute/60, minute%60)
}
