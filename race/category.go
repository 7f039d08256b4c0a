package race

import (
	"fmt"
	"math"

	"chainline/capacity"
	"chainline/estimate"
)

// Category is an ability class as its event defines it.
type Category struct {
	Name     string
	Min, Max float64 // W/kg; 0 and +Inf (or 0) where there is no limit
	OverS    float64 // s, the duration the W/kg are meant over; 0 is threshold: an hour
	FloorW   float64 // W over the same time that lift a rider out of the class below, whatever their W/kg; 0: no such rule
	MinAge   float64 // years; 0: none
	MaxAge   float64 // years; 0: none
	Women    bool    // a field for women
}

// over is the duration in seconds that the limits are meant over.
func (c Category) over() float64 {
	if c.OverS <= 0 {
		return 3600
	}
	return c.OverS
}

func (c Category) max() float64 {
	if c.Max <= 0 {
		return math.Inf(1)
	}
	return c.Max
}

// Me is the rider a forecast is made for: what is known, with its doubts.
type Me struct {
	Name     string
	Capacity capacity.Capacity // in the watts of the source that counts
	Source   string            // its name; may be empty
	Mass     float64           // kg
	MassSD   float64           // kg
	Age      float64           // years; 0 unknown
	Sex      capacity.Sex
	New      bool // rides their first races
	EasyOnly bool // may not ride hard, by the health screening
}

// Minor tells whether nobody should be shown this rider's W/kg.
func (m Me) Minor() bool { return capacity.MaybeMinor(m.Age) }

// Standing is how a rider stands to a category.
type Standing struct {
	Category Category
	Barred   string            // why the rider may not enter whatever their watts; empty if they may
	WPerKg   estimate.Estimate // over the category's duration; zero for minors
	Watts    estimate.Estimate // W over the category's duration
	Inside   float64           // chance that the rider's true standing is inside the limits
	Above    float64           // chance of being above them
	// MarginWPerKg is the distance to the nearer limit, positive inside. MarginW
	// is the same in watts at today's mass.
	MarginWPerKg, MarginW float64
	Sentence              string
}

// standingDraws are enough for chances to a percent.
const standingDraws = 2000

// standStream keeps these draws apart from those of races.
const standStream = 1 << 44

// Stand places a rider in a category by the watts that its source displays.
// The categories above and below matter only through the limits. A power
// floor makes a heavy rider's watts count where their W/kg would not: who
// reaches it is not below the class.
func (c Category) Stand(m Me, seed uint64) Standing {
	s := Standing{Category: c, Barred: c.barred(m)}
	over := c.over()
	watts, ratio := make([]float64, standingDraws), make([]float64, standingDraws)
	inside, above := 0, 0
	for i := range watts {
		r := estimate.Stream(seed, standStream+i)
		rider := m.Capacity.Draw(r)
		mass := math.Max(0.7*m.Mass, m.Mass+m.MassSD*r.NormFloat64())
		watts[i] = rider.Power(over)
		ratio[i] = watts[i] / mass
		switch {
		case ratio[i] >= c.max():
			above++
		case ratio[i] >= c.Min, c.FloorW > 0 && watts[i] >= c.FloorW:
			inside++
		}
	}
	s.Inside, s.Above = float64(inside)/standingDraws, float64(above)/standingDraws
	s.Watts = estimate.FromDraws(watts, "")
	middle := estimate.FromDraws(ratio, "")
	s.MarginWPerKg = math.Min(c.max()-middle.Mean, middle.Mean-c.Min)
	if c.Min <= 0 {
		s.MarginWPerKg = c.max() - middle.Mean
	}
	s.MarginW = s.MarginWPerKg * m.Mass
	if !m.Minor() {
		s.WPerKg = middle
	}
	s.Sentence = s.say(m)
	return s
}

func (c Category) barred(m Me) string {
	switch {
	case c.Women && m.Sex == capacity.Male:
		return "a field for women"
	case c.Women && m.Sex == capacity.SexUnknown:
		return "a field for women; whether you are one is not said"
	case c.MinAge > 0 && m.Age > 0 && m.Age < c.MinAge:
		return fmt.Sprintf("from %.0f years of age", c.MinAge)
	case c.MaxAge > 0 && m.Age > c.MaxAge:
		return fmt.Sprintf("up to %.0f years of age", c.MaxAge)
	case (c.MinAge > 0 || c.MaxAge > 0) && m.Age == 0:
		return "it asks for an age and none is known"
	}
	return ""
}

// say puts the standing into one sentence. A minor's is in watts: nobody under
// 18 is shown W/kg. What would change it is power, never mass.
func (s Standing) say(m Me) string {
	if s.Barred != "" {
		return "not open to you: " + s.Barred
	}
	margin := fmt.Sprintf("%.2f W/kg", math.Abs(s.MarginWPerKg))
	if m.Minor() {
		margin = fmt.Sprintf("%.0f W", math.Abs(s.MarginW))
	}
	by := ""
	if m.Source != "" {
		by = " by the watts of " + m.Source
	}
	switch {
	case math.IsInf(s.MarginWPerKg, 1) && s.Category.Women:
		return "a field for women, without limits"
	case math.IsInf(s.MarginWPerKg, 1):
		return "open to everybody"
	case s.MarginWPerKg >= 0:
		return fmt.Sprintf("inside by %s, %s sure%s", margin, estimate.Chance(s.Inside), by)
	case s.Inside > s.Above && s.Inside > 0.5:
		return fmt.Sprintf("inside by its power floor, %s sure%s", estimate.Chance(s.Inside), by)
	case s.Above > 0.5:
		return fmt.Sprintf("above its limit by %s, %s sure%s", margin, estimate.Chance(s.Above), by)
	default:
		return fmt.Sprintf("below it by %s, %s sure%s; %.0f W more would reach it", margin, estimate.Chance(1-s.Above-s.Inside), by, math.Max(1, math.Abs(s.MarginW)))
	}
}

// mayEnter is the least chance of being inside the limits with which a
// category is offered. Our judgement: the event decides, by displayed watts.
const mayEnter = 0.10

// May tells whether the category is worth a forecast for the rider: open to
// them, and not certainly above or below. Riding in a class above one's own
// limits is usually allowed; riding in one below is not, so who may be below
// is let through.
func (s Standing) May() bool { return s.Barred == "" && s.Above < 1-mayEnter }
