package rig

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"chainline/estimate"
)

// Holding is how this rig holds some watts.
type Holding struct {
	// WheelSpeed is the speed of the trainer's own wheel in m/s, with its 80 %
	// interval from the doubt about the power curve; 0 unless the trainer's
	// watts follow from its wheel speed.
	WheelSpeed, Low, High float64
	Gear                  string  // "50×15": the gear to use; empty when unknown or of no matter
	Cadence               float64 // rpm in that gear; 0 when no gear is given
	Flag                  string  // what the rig cannot do with these watts, and what to do; empty if nothing
}

type gear struct{ ring, cog int }

func (g gear) ratio() float64 { return float64(g.ring) / float64(g.cog) }
func (g gear) String() string { return fmt.Sprintf("%d×%d", g.ring, g.cog) }

// gears are all of them, lightest first.
func (r Rig) gears() []gear {
	if r.Trainer.Kind == Bike {
		return nil // its gears are set by its own electronics
	}
	var all []gear
	for _, ring := range r.Gears.Chainrings {
		for _, cog := range r.Gears.Cogs {
			all = append(all, gear{ring, cog})
		}
	}
	slices.SortStableFunc(all, func(a, b gear) int { return cmp.Compare(a.ratio(), b.ratio()) })
	return all
}

// Hold tells how the rig holds watts (≥ 0).
//
// A plain trainer: the wheel speed its curve asks for, and the gear that
// reaches it nearest to the preferred cadence. A controllable trainer whose
// brake has known limits: the gear that holds the watts at the cadence
// nearest to the preferred one, flagged when the middle gear, in which a
// rider who never shifts on a trainer is taken to sit, cannot hold them at
// any usable cadence. Without gears there is no gear advice.
func (r Rig) Hold(watts float64) Holding {
	switch {
	case r.bySpeed():
		return r.holdBySpeed(watts)
	case r.Trainer.Kind == Controllable && (r.Trainer.Floor.Known() || r.Trainer.Ceiling.Known()):
		return r.holdByBrake(watts)
	default:
		return Holding{}
	}
}

func (r Rig) holdBySpeed(watts float64) Holding {
	c := r.curve()
	spread := math.Exp(estimate.Z80 * c.SD)
	h := Holding{WheelSpeed: c.WheelSpeed(watts), Low: c.WheelSpeed(watts / spread), High: c.WheelSpeed(watts * spread)}
	if watts > 0 && !c.Covers(h.WheelSpeed) {
		h.Flag = fmt.Sprintf("outside the table of this trainer, %.0f-%.0f km/h: a guess", c.first*3.6, c.last().WheelSpeed*3.6)
	}
	gears := r.gears()
	if len(gears) == 0 || watts <= 0 {
		return h
	}
	want := r.cadence()
	rpm := func(g gear) float64 { return h.WheelSpeed / r.speedPerRPM(g) }
	best := slices.MinFunc(gears, func(a, b gear) int {
		return cmp.Compare(math.Abs(rpm(a)-want.Preferred), math.Abs(rpm(b)-want.Preferred))
	})
	h.Gear, h.Cadence = best.String(), rpm(best)
	if h.Cadence < want.Low-1e-9 || h.Cadence > want.High+1e-9 {
		flag := fmt.Sprintf("%.0f rpm even in %s", h.Cadence, best)
		if c.Known() {
			floor, ceiling := r.Limits()
			flag = beyond(watts, floor, ceiling, "no gear reaches this at a usable cadence")
		}
		h.Flag = flag
	}
	return h
}

// beyond says what watts outside the limits are; between them, otherwise.
func beyond(watts, floor, ceiling float64, otherwise string) string {
	limits := fmt.Sprintf("%.0f-%.0f W", floor, ceiling)
	if math.IsInf(ceiling, 1) {
		limits = fmt.Sprintf("%.0f W or more", floor)
	}
	switch {
	case watts > ceiling:
		return "more than this trainer can hold: " + limits
	case watts < floor:
		return "less than this trainer can hold: " + limits
	default:
		return otherwise
	}
}

// seat is a gear and a cadence, and by how many watts the brake fails there.
type seat struct {
	gear
	cadence, short float64
}

func (r Rig) holdByBrake(watts float64) Holding {
	gears := r.gears()
	if len(gears) == 0 {
		return Holding{}
	}
	want, middle := r.cadence(), gears[len(gears)/2]
	seats := make([]seat, 0, len(gears))
	for _, g := range gears {
		seats = append(seats, r.bestSeat(g, watts))
	}
	away := func(s seat) float64 { return math.Abs(s.cadence - want.Preferred) }
	fromMiddle := func(s seat) float64 { return math.Abs(math.Log(s.ratio() / middle.ratio())) }
	best := slices.MinFunc(seats, func(a, b seat) int {
		return cmp.Or(cmp.Compare(a.short, b.short), cmp.Compare(away(a), away(b)), cmp.Compare(fromMiddle(a), fromMiddle(b)))
	})
	h := Holding{Gear: best.gear.String(), Cadence: best.cadence}
	switch home := seats[len(gears)/2]; {
	case best.short > 0:
		floor, ceiling := r.Limits()
		h.Flag = beyond(watts, floor, ceiling, "no gear holds exactly this at a usable cadence")
	case home.short > 0:
		h.Flag = fmt.Sprintf("the middle gear %s cannot hold this: use %s", middle, best.gear)
	}
	return h
}

// bestSeat is the whole cadence in a gear where the brake fails least, and
// among those the one nearest to the preferred cadence.
func (r Rig) bestSeat(g gear, watts float64) seat {
	want := r.cadence()
	best := seat{gear: g, short: math.Inf(1)}
	for step := 0.0; step <= math.Max(want.High-want.Preferred, want.Preferred-want.Low); step++ {
		for _, c := range [...]float64{want.Preferred + step, want.Preferred - step} {
			if c < want.Low || c > want.High {
				continue
			}
			low, high := r.brake(c * r.speedPerRPM(g))
			if short := math.Max(0, math.Max(low-watts, watts-high)); short < best.short {
				best.cadence, best.short = c, short
			}
		}
	}
	return best
}
