package rig

import "math"

// What makes a limit of a brake, our judgement.
const (
	limitPart  = 0.06 // of the watts, and limitMore W, that an order must ask beyond a limit to tell
	limitMore  = 3.0
	limitAlike = 0.08 // of the watts, or 6 W, by which orders beyond a limit may be held apart: it goes with the wheel speed
	limitLeast = 2    // orders
)

// atLimits marks the orders that ask for more than a ceiling of the brake, or
// less than its floor: all orders beyond some watts, and none but those, are
// held at about these watts, whatever they ask. usual is what the brake makes
// of an order within its limits. Without it such orders would look ignored,
// since one after the other changes nothing. It tells whether there are such.
func atLimits(orders []order, usual float64) (any bool) {
	for _, side := range []float64{1, -1} {
		var held []float64
		for _, o := range orders {
			if want := o.asked * usual; o.judged && side*(want-o.after) > limitPart*o.after+limitMore {
				held = append(held, o.after)
			}
		}
		if len(held) < limitLeast {
			continue
		}
		at := median(held)
		var met []int
		alike := true
		for i, o := range orders {
			if o.judged && side*(o.asked*usual-at) > limitPart*at+limitMore {
				met = append(met, i)
				alike = alike && math.Abs(o.after-at) < max(6, limitAlike*at)
			}
		}
		// Two in a row tell nothing: the second may have been ignored.
		if !alike || len(met) < limitLeast || len(met) == 2 && met[1] == met[0]+1 {
			continue
		}
		for _, i := range met {
			orders[i].limit, any = int(side), true
		}
		for i, o := range orders { // too near the limit to tell whether it was followed
			want := o.asked * usual
			if o.judged && o.limit == 0 && math.Abs(want-at) < 0.12*at && math.Abs(o.after-at) < max(6, limitAlike*at) && math.Abs(o.after-want) >= max(8, 0.06*want) {
				orders[i].judged = false
			}
		}
	}
	return any
}

// limited are the watts held at a ceiling (side 1) or a floor (side −1).
func limited(orders []order, side int) (met []order, held []float64) {
	for _, o := range orders {
		if o.limit == side {
			met, held = append(met, o), append(held, o.after)
		}
	}
	return met, held
}
