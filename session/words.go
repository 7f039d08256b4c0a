package session

import (
	"fmt"
	"math"
	"strings"

	"chainline/capacity"
)

// words are the sentence that says why this warm-up, and the lines for the
// sheet: what was held back and why, W′, the pen, the worth, the origin.
func (q Request) words(b built, w WarmUp) (why string, lines []string) {
	lines = append(lines, q.heldBack(b)...)
	if w.BalanceAtGun < 1 {
		lines = append(lines, fmt.Sprintf("W′ at the gun: %.0f %% back; %.0f %% if you are among the one in ten who recover slowest.",
			100*w.BalanceAtGun, 100*w.BalanceSlow))
	}
	lines = append(lines, q.penLines(b)...)
	if w.Gain.Mean > 0 {
		lines = append(lines, fmt.Sprintf("If you ride it with all you have, this warm-up is worth about %.1f kJ, or %.1f W on average (80 %%: %s to %.1f W): %s.",
			w.Gain.Mean/1000, w.Gain.Mean/q.RideS, minus(w.Gain.Low80/q.RideS), w.Gain.High80/q.RideS, w.Gain.Origin))
	}
	if low, _ := q.range5(); low > penShare*q.Capacity.CriticalPower {
		lines = append(lines, fmt.Sprintf("The rig does not go below %.0f W: the easy parts are ridden there, harder than meant.", low))
	}
	lines = append(lines, b.origin())
	return q.why(b), lines
}

// why is the sentence.
func (q Request) why(b built) string {
	minutes := math.Round(b.sum() / 60)
	if q.Pen != PenFree { // the wait is no part of what is ridden
		minutes = math.Round(b.rideS / 60)
	}
	switch {
	case q.Level == capacity.New:
		return fmt.Sprintf("%.0f gentle minutes are enough: nothing in them is hard, and you should reach the start fresh.", minutes)
	case b.tier == gentle && q.RideS > longRide:
		return fmt.Sprintf("A ride this long warms you up itself: %.0f easy minutes will do.", minutes)
	case b.tier == gentle:
		return fmt.Sprintf("%.0f easy minutes, for nothing hard waits at the start.", minutes)
	case b.primers > 0:
		return fmt.Sprintf("A rising %.0f minutes: firm ones to wake the legs, then %s, over %s before the gun so that W′ is back.",
			minutes, efforts(b.primers), span(b.lastHardS))
	}
	return fmt.Sprintf("A rising %.0f minutes with %s of firm riding below critical power, over %s before the gun.",
		minutes, span(b.firmS), span(b.lastHardS))
}

// minus is a number with one decimal and a real minus sign.
func minus(x float64) string { return strings.Replace(fmt.Sprintf("%.1f", x), "-", "−", 1) }

func efforts(n int) string {
	return [...]string{"", "one short hard effort", "two short hard efforts", "three short hard efforts"}[n]
}

// span is a time in whole minutes if it is one.
func span(seconds float64) string {
	if m := seconds / 60; m == math.Trunc(m) {
		return fmt.Sprintf("%.0f min", m)
	}
	return fmt.Sprintf("%d:%02d min", int(seconds)/60, int(seconds)%60)
}

// heldBack says what the start would call for and this rider is not given.
func (q Request) heldBack(b built) []string {
	if q.wanted() < primed || b.primers > 0 {
		return nil
	}
	if reason := q.mayGoAbove(); reason != "" {
		return []string{"No effort above critical power: " + reason + "."}
	}
	if q.most(primerMost) <= q.Capacity.CriticalPower {
		return []string{"No effort above critical power: the rig does not go there."}
	}
	return []string{"No effort above critical power: W′ might not be back at the gun."}
}

// penLines say what a long wait in the pen does to the warm-up.
func (q Request) penLines(b built) []string {
	switch {
	case q.PenS <= LastHardMax || b.lastHardS == 0 && q.Pen == PenFree:
		return nil
	case q.Pen == PenFree && b.lastHardS > 0:
		return []string{fmt.Sprintf("You wait %s in the pen: ride the hard part of the warm-up there.", span(q.PenS))}
	case b.lastHardS > 0:
		return []string{fmt.Sprintf("The pen is longer than a warm-up wants: your last hard effort ends %s before the gun instead of five to eight; %s.",
			span(b.lastHardS), q.penCost(b))}
	}
	return []string{fmt.Sprintf("You wait %s in the pen after the warm-up; keep something warm on; %s.", span(q.PenS), q.penCost(b))}
}

// origin says what of this warm-up is published.
func (b built) origin() string {
	switch {
	case b.tier == gentle:
		return "The steps are common practice; that moderate riding beforehand helps an effort of minutes is published, though not every study found it."
	case b.prior() == Heavy:
		return "Published: minutes of firm riding below critical power help an effort of minutes and last in the legs for 45 min. The rest of the steps is common practice."
	}
	return "The steps are common practice and our judgement."
}
