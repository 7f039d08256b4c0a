package capacity

import (
	"math"
	"strings"

	"gonum.org/v1/gonum/mat"
)

// What is believed about a rider before any test. Most numbers here are our
// judgement and say so.

// Sex as far as it was stated.
type Sex int

const (
	SexUnknown Sex = iota
	Female
	Male
)

// ParseSex reads "female", "male", "unknown" or nothing.
func ParseSex(s string) (Sex, bool) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "unknown":
		return SexUnknown, true
	case "female":
		return Female, true
	case "male":
		return Male, true
	}
	return SexUnknown, false
}

// Level is what a rider calls themselves.
type Level int

const (
	LevelUnknown Level = iota
	New
	Regular
	Club
	Racer
)

// ParseLevel reads "new", "regular", "club", "racer", "unknown" or nothing.
func ParseLevel(s string) (Level, bool) {
	switch strings.ToLower(strings.TrimSpace(s)) {
	case "", "unknown":
		return LevelUnknown, true
	case "new":
		return New, true
	case "regular":
		return Regular, true
	case "club":
		return Club, true
	case "racer":
		return Racer, true
	}
	return LevelUnknown, false
}

// String is the level in a sentence.
func (l Level) String() string {
	return [...]string{"rider of unknown level", "new rider", "regular rider", "club rider", "racer"}[l]
}

// levels are for a man up to 35 years of age. Our judgement. Anchors: 28
// professional and elite men hold 6.87 W/kg for 4 min (Pinot and Grappe 2014,
// J Sci Cycling 3(1):26) and 13 trained men reach 5.6 W/kg in a ramp (Hopker
// et al. 2010, JSSM 9:332), above any level here; five people tested in a
// laboratory had 2.98 W/kg (Weigend et al. 2022, from their data).
var levels = map[Level]struct {
	critical, criticalSD float64 // W/kg, fraction
	maximal              float64 // W/kg
}{
	LevelUnknown: {2.7, 0.30, 11},
	New:          {2.0, 0.25, 9},
	Regular:      {2.7, 0.20, 11},
	Club:         {3.4, 0.15, 13},
	Racer:        {4.1, 0.12, 15},
}

const (
	maximalSD = 2.5 // W/kg, our judgement; a known level hardly narrows a sprint

	// W′ per kg: the 1/t fits of five people average 202 J/kg (Weigend et al.
	// 2022, from their data, mean mass 73.6 kg read in the abstract); 16.0 ±
	// 3.8 kJ in Vanhatalo, Doust, Burnley 2007, MSSE 39:548, 58 ± 19 kJ by
	// another form in Gaesser et al. 1995 (abstracts only), so 24 to 33 % between
	// riders of one group. The widest of these, our judgement: strangers differ
	// more than the men of a laboratory, and four tests should overrule it.
	wPrimePerKg = 210.0 // J/kg
	wPrimeSD    = 0.33

	// Women's share of men's W/kg. Critical power: maximal aerobic power of
	// equally trained cyclists, 293 W/60.1 kg over 414 W/74.1 kg (Hopker et
	// al. 2010, JSSM 9:332; abstract only). W′ and maximal power: our judgement.
	womenCritical, womenWPrime, womenMaximal = 0.87, 0.85, 0.80

	// Age: held until about 35 years, then falling (Tanaka and Seals 2008, J
	// Physiol 586:55, abstract). Power at 4 mmol/L fell by 0.044 W/kg a year
	// in 56 trained cyclists' men and 0.019 in women (Brown, Ryan, Brown 2007,
	// JSSM 6:477, abstract), about 1.1 and 0.5 % of a trained rider's; we take
	// 0.8 % a year for all, and 1 % of maximal power (our judgement).
	agePeak         = 35.0 // years
	ageCriticalFall = 0.008
	ageMaximalFall  = 0.010
	ageFloor        = 0.4 // share that is always left

	// A rider of unknown mass (our judgement).
	massWomen, massMen, massUnknown, massSD = 65.0, 77.0, 72.0, 0.15

	// Fade: watts lost per unit of ln(t/30 min) beyond 30 min, over what the
	// hyperbola itself loses, as a share of critical power.
	//
	// MacInnis, Thomas, Phillips 2019, IJSPP 14:38 (abstract only), 8 men: 4
	// min 417 W and 20 min 342 W give CP 323.3 W and W′ 22.5 kJ, so the
	// hyperbola would hold 329.5 W for an hour; they held 309 W. 20.5 W over
	// ln 2 is 29.6 W, 9.2 % of CP. Their other trial, 412 and 344 W: CP 327 W,
	// 332.7 − 309 W over ln 2 is 34.1 W, 10.4 %. Mean 9.8 %.
	//
	// Pinot and Grappe 2014, J Sci Cycling 3(1):26 (abstract only), 28 men:
	// the best power falls by 9.53 % of 456 W per unit of ln t. From 4.13 and
	// 20 min, CP 369.7 W and W′ 21.4 kJ. From 30 min to 4 h they lose 90.4 W,
	// the hyperbola 10.4 W; 80 W over ln 8 is 38.5 W, 10.4 %.
	//
	// Both are of very fit riders; the spread is our judgement.
	fadeShare, fadeShareSD = 0.10, 0.03

	// The repeat error of a rider's maximal tests: 2.9 % over 20 min in a
	// laboratory (Borszcz et al. 2020, IJSM 41:175), 3.7 % on trainers at home
	// and 2.6 % among the best quarter (Matta et al. 2022, IJSM), 1.9 and 1.3 %
	// over 4 and 20 min (8.1 of 417 and 4.6 of 342 W; MacInnis et al. 2019, IJSPP
	// 14:38); abstracts only. Their geometric mean (computed: 2.4 %); the sd of
	// the logarithm is our judgement: single riders differ more than these five
	// groups do (0.39).
	repeatError, repeatSpread = 0.024, 0.6
)

// ageFactor is what age leaves; 1 for an unknown age (0).
func ageFactor(age, fall float64) float64 {
	return math.Max(ageFloor, 1-fall*math.Max(0, age-agePeak))
}

// prior is what is believed about a rider of whom only this is known: normal
// over the logarithms of critical power, W′ and maximal power, with the medians
// and relative standard deviations of the table, and of the fade's share. Mass
// and an unknown sex are shared by the first three, hence the covariances.
func prior(r Rider) (mean []float64, cov *mat.SymDense) {
	mass, massDoubt := r.Mass, 0.0
	if mass <= 0 {
		mass, massDoubt = map[Sex]float64{Female: massWomen, Male: massMen, SexUnknown: massUnknown}[r.Sex], massSD
	}
	level, known := levels[r.Level]
	if !known {
		level = levels[LevelUnknown]
	}
	critical, wPrime, maximal, sexDoubt := 1.0, 1.0, 1.0, 0.0
	switch r.Sex {
	case Female:
		critical, wPrime, maximal = womenCritical, womenWPrime, womenMaximal
	case SexUnknown: // halfway, and as far from either
		critical, wPrime, maximal = (1+womenCritical)/2, (1+womenWPrime)/2, (1+womenMaximal)/2
		sexDoubt = (1 - womenCritical) / 2
	}
	mean = make([]float64, fixed)
	mean[lnCP] = math.Log(level.critical * mass * critical * ageFactor(r.Age, ageCriticalFall))
	mean[lnWPrime] = math.Log(wPrimePerKg * mass * wPrime)
	mean[lnMaxPower] = math.Log(level.maximal * mass * maximal * ageFactor(r.Age, ageMaximalFall))
	mean[lnFadeShare], mean[lnNoise] = math.Log(fadeShare), math.Log(repeatError)
	own := [fixed]float64{level.criticalSD, wPrimeSD, maximalSD / level.maximal, fadeShareSD / fadeShare, repeatSpread}
	shared := massDoubt*massDoubt + sexDoubt*sexDoubt
	cov = mat.NewSymDense(fixed, nil)
	for i := range fixed {
		for j := i; j < fixed; j++ {
			if j <= lnMaxPower {
				cov.SetSym(i, j, shared)
			}
		}
		cov.SetSym(i, i, cov.At(i, i)+own[i]*own[i])
	}
	return mean, cov
}
