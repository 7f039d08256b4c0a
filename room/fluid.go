package room

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// SweatMeasurement is one weighing before and after a ride like the one ahead.
type SweatMeasurement struct {
	BeforeKg, AfterKg float64 // kg, dry and in the same clothes
	DrinkL, UrineL    float64 // l
	Seconds           float64 // s ridden
}

// SweatMeasurements are all of a rider's.
type SweatMeasurements []SweatMeasurement

// SweatFromWeighing is the sweat rate in l/h: mass lost plus what was drunk
// less urine, 1 kg being 1 l (ACSM 2007, Sawka et al., MSSE 39:377, read in a
// summary). Errors say which figure cannot be.
func SweatFromWeighing(m SweatMeasurement) (float64, error) {
	switch {
	case !(m.BeforeKg >= 20 && m.BeforeKg <= 300):
		return 0, fmt.Errorf("weighing before: %g kg, expected 20 to 300 kg", m.BeforeKg)
	case !(m.AfterKg >= 20 && m.AfterKg <= 300):
		return 0, fmt.Errorf("weighing after: %g kg, expected 20 to 300 kg", m.AfterKg)
	case !(m.DrinkL >= 0 && m.DrinkL <= 20 && m.UrineL >= 0 && m.UrineL <= 5):
		return 0, fmt.Errorf("weighing: drunk %g l and urine %g l, expected 0 to 20 l and 0 to 5 l", m.DrinkL, m.UrineL)
	case !(m.Seconds >= 600 && m.Seconds <= 86400):
		return 0, fmt.Errorf("weighing: %g s ridden, expected 600 to 86400 s", m.Seconds)
	}
	rate := (m.BeforeKg - m.AfterKg + m.DrinkL - m.UrineL) / m.Seconds * 3600
	if !(rate > 0 && rate < 6) {
		return 0, fmt.Errorf("weighing: %.2f l/h of sweat, expected above 0 and below 6 l/h: is a figure wrong?", rate)
	}
	return rate, nil
}

// weighingSpread is the sd of the logarithm of one weighing about a rider's
// sweat on another day. Our judgement.
const weighingSpread = 0.20

// afterWeighing narrows a log-normal sweat rate (l/h, sd of the logarithm) by
// what the scales said: normal prior and likelihood in the logarithm. Figures
// that cannot be are left out.
func (ms SweatMeasurements) afterWeighing(median, spread float64) (float64, float64, int) {
	weight := 1 / (spread * spread)
	sum, n := weight*math.Log(median), 0
	for _, m := range ms {
		if rate, err := SweatFromWeighing(m); err == nil {
			each := 1 / (weighingSpread * weighingSpread)
			sum, weight, n = sum+each*math.Log(rate), weight+each, n+1
		}
	}
	return math.Exp(sum / weight), 1 / math.Sqrt(weight), n
}

// regressionSweat is the sweat rate in g/(m²·h) for a required evaporation and
// the most the air takes (W/m²), by the two corrected equations of Gonzalez et
// al. 2009, J Appl Physiol 107:379 (abstract): OSEC, 147·e^(0.0012·OSE) with
// OSE = 27.9·Ereq·Emax^−0.455 (Shapiro et al. 1982), and PW, 147 + 1.527·Ereq
// − 0.87·Emax. Standard error below 100 g/(m²·h). Made for 15 to 46 °C, 0.27
// to 4.45 kPa, 0.4 to 2.5 m/s and up to 450 W/m².
func regressionSweat(required, most float64) (osec, pw float64) {
	return 147 * math.Exp(0.0012*27.9*required*math.Pow(most, -0.455)), 147 + 1.527*required - 0.87*most
}

// regressionWeight is how much those equations count for a ride: a half well
// inside where they were made, fading to nothing at the edges, so that a watt
// more never makes a jump. Our judgement: they were made on soldiers, and
// trained riders sweat more.
func (c Case) regressionWeight(r Ride) float64 {
	l, _ := c.load(c.Watts)
	vapour, speed := r.End.Pressure(), math.Hypot(c.Airflow, ownMovement)
	if r.Most <= 0 || r.Required <= 0 || r.End.Temperature > 46 || vapour < 0.27 || vapour > 4.45 {
		return 0
	}
	return 0.5 * clamp((450-l.metabolic)/100, 0, 1) * clamp((2.5-speed)/0.5, 0, 1) * clamp((r.End.Temperature-15)/2, 0, 1)
}

// sweatRate is the mean l/h of water lost over a ride: the minute loop's, and
// where the published regressions hold partly theirs.
func (c Case) sweatRate(r Ride) float64 {
	if c.Seconds <= 0 {
		return 0
	}
	rate, weight := r.Loss/c.Seconds*3600, c.regressionWeight(r)
	if weight == 0 {
		return rate
	}
	osec, pw := regressionSweat(r.Required, r.Most)
	theirs := c.SweatScale * BodySurface(c.Mass, c.Height) * max(0, osec+pw) / 2000
	return rate + weight*(theirs-rate)
}

const (
	// gutRate is the l/h a gut takes on the bike. Our judgement between two
	// published rides: 8.2 to 9.3 ml/min left the stomach over an hour at 75 %
	// of maximal uptake (MSSE 1991;23:320, abstract), and over 90 % of 1.05
	// l/h over three hours at 60 % (MSSE 1989;21:51, abstract).
	gutRate = 0.8
	// Past thirstFor seconds, thirst alone is not enough of a plan. Common practice.
	thirstFor = 3600.0
	// Past foodAfter seconds, food helps. Common practice; 30 to 60 g/h is
	// Coyle's advice of 1994 (a sports-drink maker's review, secondary).
	foodAfter          = 4500.0
	worthWeighing      = 1800.0 // s; shorter rides say little about sweat
	foodLow, foodHigh  = 30, 60 // g/h
	mostLoss           = 0.02   // of body mass (ACSM 2007, read in a summary)
	millilitreRounding = 20     // parts of a litre that advice is rounded to
)

// Fluid is what to drink over a ride.
type Fluid struct {
	Low, High   float64 // l; High is never above the low estimate of the loss
	LossPercent float64 // of body mass, if nothing is drunk
	Drink       string  // a sentence or two
	Food        string  // empty for short rides
	Warnings    []string
}

// PlanFluid is what to drink for a loss (l over the ride, 80 % interval), a
// mass (kg), a time (s) and whether the rider has been weighed before.
func PlanFluid(loss estimate.Estimate, mass, seconds float64, weighed bool) Fluid {
	f := Fluid{LossPercent: 100 * loss.Mean / mass}
	hours := seconds / 3600
	f.High = min(loss.Low80, gutRate*hours)
	if seconds > thirstFor {
		f.Low = clamp(loss.Mean-mostLoss*mass, 0, f.High)
	}
	// Rounded down, so that advice stays below the loss.
	f.Low, f.High = math.Floor(f.Low*millilitreRounding)/millilitreRounding, math.Floor(f.High*millilitreRounding)/millilitreRounding
	expect := fmt.Sprintf("Expect to lose %s l (%s to %s).", litres(loss.Mean), litres(loss.Low80), litres(loss.High80))
	switch {
	case f.High < 0.1:
		f.Drink = expect + " Sip if you like; you need nothing on the way."
	case f.Low == 0:
		f.Drink = fmt.Sprintf("%s Drink to thirst, up to %s l. Not more than you lose.", expect, litres(f.High))
	default:
		f.Drink = fmt.Sprintf("%s Drink %s to %s l, a little at a time. Not more than you lose.", expect, litres(f.Low), litres(f.High))
	}
	if !weighed && seconds >= worthWeighing {
		f.Drink += " Weigh yourself before and after once, and this gets narrower."
	}
	if seconds > foodAfter {
		f.Food = fmt.Sprintf("Over %.0f minutes it pays to eat: %d to %d g of carbohydrate an hour, what your stomach is used to.", foodAfter/60, foodLow, foodHigh)
	}
	if _, warning := CheckDrinking(loss.Mean, f.High, mass); warning != "" {
		f.Warnings = append(f.Warnings, warning)
	}
	return f
}

// CheckDrinking is the change in body mass (percent, losses negative) for a
// loss and a drink in l and a mass in kg, and a warning: for more than 2 %
// lost, and for any gain, which is the worse of the two.
func CheckDrinking(lossL, drinkL, mass float64) (percent float64, warning string) {
	percent = 100 * (drinkL - lossL) / mass
	switch {
	case percent > 0:
		warning = fmt.Sprintf("That is %s l more than you are expected to lose. Drinking beyond what you lose can make you seriously ill (low blood sodium): feeling sick, vomiting, headache, dizziness, weight gained. Drink less; confusion or a seizure is an emergency.", litres(drinkL-lossL))
	case percent < -100*mostLoss:
		warning = fmt.Sprintf("You would end %.1f %% lighter. More than 2 %% is more than is advised: make it shorter, easier or cooler rather than drink more than your stomach takes.", -percent)
	}
	return percent, warning
}

// litres is a volume to 0.05 l, and from 1 l on to 0.1 l.
func litres(l float64) string {
	if l >= 0.975 {
		return fmt.Sprintf("%.1f", l)
	}
	return fmt.Sprintf("%g", math.Round(l*20)/20)
}
