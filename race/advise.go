package race

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// Which category to enter. The limits are our judgement and stand here alone.
const (
	goodChance   = 0.50 // of hanging on, from which a harder category is worth entering
	sureChance   = 0.75 // the same for somebody who is new to races
	riskyOver    = 0.25 // chance of showing more than the limit in the race itself that is too much
	likelyAbove  = 0.50 // chance of being above the limits from which a category is not the rider's
	withinDoubt  = 0.10 // chances closer than this are the same
	decidedFloor = 0.90
)

// Advice is which category to enter and why.
type Advice struct {
	Enter    string   // name of the category; empty if none is open
	Index    int      // in the outlooks; −1 if none
	Why      []string // sentences, the reason first
	NotSure  bool     // the choice is a close one
	Unproved string   // what it was never checked against; empty once results are in
}

// Unproved stands on every page until a field was learnt from results.
const Unproved = "Never checked against a real race."

// Advise chooses among the categories a rider may enter. Experienced riders
// are sent to the hardest in which they hang on more often than not, newcomers
// to the friendliest unless a harder one is nearly sure. Nobody is sent where
// they are likely to be above the limit. Power is the only lever ever named.
func Advise(m Me, outlooks []Outlook) Advice {
	a := Advice{Index: -1, Unproved: Unproved}
	friendliest := -1
	for i, o := range outlooks {
		if o.Standing.Barred != "" || o.Standing.Above > likelyAbove {
			continue
		}
		if friendliest < 0 || o.Chance > outlooks[friendliest].Chance+1e-9 {
			friendliest = i
		}
	}
	if friendliest < 0 {
		a.Why = []string{"No category of this event is open to you by what is known."}
		return a
	}
	need := goodChance
	if m.New {
		need = sureChance
	}
	a.Index = friendliest
	for i, o := range outlooks {
		if o.Standing.Barred == "" && o.Standing.Above <= likelyAbove && o.Chance >= need && harder(o.Category, outlooks[a.Index].Category) && o.OverLimit <= riskyOver {
			a.Index = i
		}
	}
	a.Enter = outlooks[a.Index].Category.Name
	a.Why = a.reasons(m, outlooks, friendliest)
	return a
}

// harder tells whether the first category asks for more than the second.
func harder(a, b Category) bool {
	if a.max() != b.max() {
		return a.max() > b.max()
	}
	return a.Min > b.Min
}

func (a *Advice) reasons(m Me, outlooks []Outlook, friendliest int) []string {
	o := outlooks[a.Index]
	why := []string{fmt.Sprintf("In '%s' you finish with the front group in %s of the simulated races (%s with low shelter, %s with high).",
		o.Category.Name, estimate.Chance(o.Chance), estimate.Chance(o.ByShelter[0]), estimate.Chance(o.ByShelter[2]))}
	if o.Standing.Inside < decidedFloor {
		why = append(why, fmt.Sprintf("Whether it is yours by its limits is not certain: %s.", o.Standing.Sentence))
		a.NotSure = true
	}
	for i, other := range outlooks {
		if i == a.Index {
			continue
		}
		switch s := other.Standing; {
		case s.Barred != "":
			why = append(why, fmt.Sprintf("'%s' is not open to you: %s.", other.Category.Name, s.Barred))
		case s.Above > likelyAbove:
			why = append(why, fmt.Sprintf("'%s' is below you: %s.", other.Category.Name, s.Sentence))
		case math.Abs(other.Chance-o.Chance) < withinDoubt && m.New:
			why = append(why, fmt.Sprintf("'%s' would be about as likely (%s); for first races the friendlier field is taken.", other.Category.Name, estimate.Chance(other.Chance)))
			a.NotSure = true
		case harder(other.Category, o.Category):
			why = append(why, fmt.Sprintf("In '%s' you would hang on in %s.", other.Category.Name, estimate.Chance(other.Chance)))
		}
	}
	if a.Index == friendliest && o.Chance < goodChance {
		why = append(why, fmt.Sprintf("Being dropped is more likely than not: you would ride home %s behind, and it still is a good ride.", clock(o.LostS.Mean)))
	}
	if o.OverLimit > 0.02 {
		why = append(why, fmt.Sprintf("In %s of the races you show more than its limit over %s: ask the organiser what then.", estimate.Chance(o.OverLimit), clock(o.Category.over())))
	}
	return why
}

// clock is a time as riders say it.
func clock(seconds float64) string {
	s := int(math.Round(seconds))
	switch {
	case s < 100:
		return fmt.Sprintf("%d s", s)
	case s < 3600:
		return fmt.Sprintf("%d:%02d min", s/60, s%60)
	}
	return fmt.Sprintf("%d:%02d:%02d h", s/3600, s/60%60, s%60)
}
