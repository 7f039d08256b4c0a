package capacity

import (
	"math"

	"chainline/estimate"
)

// How an effort feels, and where the heart rate is likely to be.

// How exertion (Borg's 6 to 20; Borg 1982, MSSE 14:377, from memory) goes
// with the share of critical power. Between the anchors we interpolate; that,
// and how the two lines are joined, is our judgement.
//
// atOnce is what a step of a rising test feels like. Scherr et al. 2013, EJAP
// 113:147 (abstract only), 2560 people: 10.8 ± 1.8 at the lactate threshold,
// 13.6 ± 1.8 at the individual anaerobic threshold. The first is put at 0.60
// of critical power, where the study of afterHalfHour has its threshold, the
// second at critical power (our judgement). The end, 20, is put at 1.48, the
// mean ratio of the best 10 s of five ramps to critical power (computed from
// the open data of Weigend et al. 2022).
//
// afterHalfHour is the end of 30 min at constant power: 12.1 ± 2.1 at the
// ventilatory threshold, 101 W, 15.0 ± 1.9 at maximal lactate steady state,
// 143 W, and 19.0 ± 0.5 at critical power, 167 W, 10 people on an ergometer
// (Perceptual and Motor Skills 2023, doi 10.1177/00315125231180383; abstract
// only). That exertion rises linearly with time: Garcin et al. 1998,
// Ergonomics 41:1500 (abstract only).
var (
	atOnce        = [][2]float64{{0, 6}, {0.60, 10.8}, {1, 13.6}, {1.48, 20}}
	afterHalfHour = [][2]float64{{0, 6}, {101. / 167, 12.1}, {143. / 167, 15}, {1, 19}, {1.05, 20}}
)

// Feel is the exertion to expect at the end of a cue: share of critical power
// (≥ 0) held for a time in seconds, on Borg's scale from 6 to 20, and in our
// words. People differ by about ±2. What was ridden before the cue is not
// counted, so late in a ride it will feel harder.
func Feel(share, seconds float64) (borg int, words string) {
	later := math.Min(1, math.Max(0, seconds)/1800)
	first, last := interpolate(atOnce, share), interpolate(afterHalfHour, share)
	borg = int(math.Round(first + later*(math.Max(first, last)-first)))
	return borg, FeelWords(borg)
}

// FeelWords are our words for an exertion from 6 to 20.
func FeelWords(borg int) string {
	switch {
	case borg <= 8:
		return "very easy, you could sing"
	case borg <= 10:
		return "easy, you could chat for hours"
	case borg <= 12:
		return "steady, you speak in whole sentences"
	case borg <= 14:
		return "firm, short sentences only"
	case borg <= 16:
		return "hard, a few words at a time"
	case borg <= 18:
		return "very hard, no wish to speak"
	default:
		return "all you have"
	}
}

// interpolate reads y at x from points of rising x, flat beyond the ends.
func interpolate(points [][2]float64, x float64) float64 {
	if x <= points[0][0] {
		return points[0][1]
	}
	for i := 1; i < len(points); i++ {
		a, b := points[i-1], points[i]
		if x < b[0] {
			return a[1] + (b[1]-a[1])*(x-a[0])/(b[0]-a[0])
		}
	}
	return points[len(points)-1][1]
}

// HeartBandFrom is the shortest cue in seconds for which a heart-rate band is
// given: heart rate follows an effort with a time constant of about a minute
// (55.7 and 59.5 s on a treadmill, 24 people, Biomed Eng Online 2015,
// PMC4687158; abstract only), so that three minutes see 95 % of its rise.
const HeartBandFrom = 180.0

// PredictedMaxHeartRate is the maximal heart rate in bpm to expect at an age
// in years, 208 − 0.7·age, and its standard deviation. Tanaka, Monahan, Seals
// 2001, J Am Coll Cardiol 37:153 (the equation read in texts that quote it;
// the standard deviation from memory).
func PredictedMaxHeartRate(age float64) (bpm, sd float64) { return 208 - 0.7*age, 10 }

// MaxHeart is the rider's maximal heart rate in bpm with its standard
// deviation and where it comes from; false when it is unknown or switched off.
func (r Rider) MaxHeart() (bpm, sd float64, from string, ok bool) {
	switch {
	case r.HeartRateOff:
		return 0, 0, "", false
	case r.MaxHeartRate > 0:
		return r.MaxHeartRate, 0, "measured", true
	case r.Age > 0:
		bpm, sd = PredictedMaxHeartRate(r.Age)
		return bpm, sd, "predicted from age, ±10 bpm", true
	}
	return 0, 0, "", false
}

// OxygenUptake is the steady oxygen uptake in mL/kg/min at a power in watts
// for a mass in kg (> 0), 10.8·W/M + 7: the American College of Sports
// Medicine's equation for leg cycling, stated for 50 to 200 W (read in texts
// that print it). Beyond 200 W it is an extrapolation; only ratios are used.
func OxygenUptake(watts, mass float64) float64 { return 10.8*watts/mass + 7 }

// heartShare is the share of maximal heart rate at a share of maximal oxygen
// uptake. Swain et al. 1994, MSSE 26:112 (abstract only), 162 people: 63, 76,
// 89 and 92 % at 40, 60, 80 and 85 %, which is 0.37 + 0.65·x; texts that quote
// the paper print 0.37 + 0.64·x.
func heartShare(oxygen float64) float64 { return 0.37 + 0.65*oxygen }

// heartSpread is the half width of the 80 % band, as a share of the maximum,
// before the doubt about the maximum (our judgement: people differ about
// Swain's line, days differ, and heart rate creeps up at equal power).
const heartSpread = 0.05

// HeartBand is where heart rate in bpm is likely to be at the end of a cue of
// constant watts; mass in kg, maximal heart rate and its standard deviation
// in bpm. Maximal oxygen uptake is taken as that of the 5-min power (our
// judgement), and above it heart rate as near its maximum. The band is 80 %,
// at least ±5 % of the maximum, and never above the maximum.
// false when no band can be given: a cue under HeartBandFrom, or no mass or
// maximum.
func HeartBand(c Capacity, mass, maxHeartRate, sdMax, watts, seconds float64) (low, high float64, ok bool) {
	if seconds < HeartBandFrom || !(mass > 0 && maxHeartRate > 0) || !(watts >= 0) {
		return 0, 0, false
	}
	oxygen := math.Min(1, OxygenUptake(watts, mass)/OxygenUptake(c.Power(300), mass))
	share := heartShare(oxygen)

	half := math.Hypot(heartSpread*maxHeartRate, estimate.Z80*share*sdMax)
	middle := math.Min(share*maxHeartRate, maxHeartRate-half/2)
	return middle - half, math.Min(maxHeartRate, middle+half), true
}
