package session

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"chainline/capacity"
	"chainline/estimate"
)

// Prior is the exercise before the gun.
type Prior int

const (
	Nothing  Prior = iota
	Moderate       // easy and steady riding
	Heavy          // and at least five minutes in the heavy domain
)

// trial is what one study says a warm-up is worth: a share of mean power
// against no warm-up at all.
type trial struct {
	study string
	share float64
}

// trials are the studies of cyclists that compare with no warm-up and whose
// abstract gives a figure, or says there was no difference. Each counts once.
//
//   - Burnley, Doust, Jones 2005, MSSE 37:838: 12 well-trained cyclists,
//     7 min, begun 10 min after moderate or heavy exercise; 330 W without,
//     338 and 339 W with (their mean is taken). Abstract only.
//   - Palmer, Jones, Kennedy, Cotter 2009, MSSE 41:221: 8 well-trained
//     cyclists, 4000 m; 5.4 ± 3.6 and 6.0 ± 5.8 % more mean power after heavy
//     and self-selected exercise (their mean is taken). Abstract only.
//   - Burnley, Davison, Baker 2011, MSSE 43:2171: 10 cyclists; W′ 16.0 without
//     and 18.7 kJ after six heavy minutes, critical power unchanged (284 and
//     283 W); as a share of the work of 7 min by that model. Abstract only.
//   - Bunn, Eschbach, Magal, Wells 2017, Centr Eur J Sport Sci Med 17:5: 16
//     trained cyclists, 5 km; no difference between none, 3 and 10 min at 60 %
//     of maximal oxygen uptake; no figure, taken as nought. Abstract only.
var trials = []trial{
	{"Burnley 2005", (338.+339)/2/330 - 1},
	{"Palmer 2009", (0.054 + 0.060) / 2},
	{"Burnley 2011", (18700. - 16000) / (284*gainSeconds + 16000)},
	{"Bunn 2017", 0},
}

// gainSeconds is the length of the trials behind the shares, s.
const gainSeconds = 420.0

// heavyExtra is what heavy prior exercise adds to moderate, as a share of mean
// power: 339 against 338 of 330 W (Burnley et al. 2005), far inside the noise.
const heavyExtra = 1. / 330

// GainShare is the share of mean power in a trial of seven minutes that a
// warm-up is worth against none: the median of the trials, and their standard
// deviation as the doubt about one more group. One rider scatters more (± 3.6
// and 5.8 points in eight cyclists, the noise of measurement included).
func GainShare(prior Prior) (mean, sd float64) {
	if prior == Nothing {
		return 0, 0
	}
	shares := make([]float64, len(trials))
	for i, t := range trials {
		shares[i] = t.share
	}
	e := estimate.FromDraws(shares, "")
	slices.Sort(shares)
	mean = estimate.Quantile(shares, 0.5)
	if prior == Heavy {
		mean += heavyExtra
	}
	return mean, e.SD
}

// Warmth is the share of a warm-up's extra muscle temperature that is left
// after a time at rest (s): thighs 3 °C warmer lost 1.3 °C of it in 30 min
// (deep part, not heated; Raccuglia et al. 2016, EJAP 116:395, abstract only).
// That the loss is exponential is our judgement.
func Warmth(seconds float64) float64 { return math.Pow((3-1.3)/3, math.Max(0, seconds)/1800) }

// studiedWait is the wait of the studies behind the shares, s.
const studiedWait = 600.0

// Kept is the share of a warm-up's worth that is left after a wait of so many
// seconds between its last effort and the gun.
//
// The effect of heavy exercise on oxygen uptake was there after 10 to 45 min
// of rest and gone after 60 (Burnley, Doust, Jones 2006, J Appl Physiol
// 101:1320, abstract only); between them we go down a straight line. That of
// moderate riding fades as Warmth does beyond the ten minutes that were
// studied, and is gone with the other (our judgement). Waits under ten minutes
// count as ten: whether they are long enough is a question of W′, asked in
// fit.
func Kept(prior Prior, waitS float64) float64 {
	lasts := math.Max(0, math.Min(1, (3600-waitS)/(3600-2700)))
	switch prior {
	case Moderate:
		return lasts * Warmth(waitS-studiedWait)
	case Heavy:
		return lasts
	}
	return 0
}

// Gain is what a warm-up is worth against none, in joules of the rider's own
// work over a ride of rideS seconds given its all; joules over rideS are watts
// of mean power. It is a share of the work of seven minutes, or of the ride if
// that is shorter. A longer ride gains the same joules: six heavy minutes
// raised W′ and left critical power as it was (Burnley et al. 2011).
//
// Valid for trained riders and efforts of about 5 to 7 min; beyond, it rests
// on that one finding; and nothing was measured in a ride that is not given
// its all. waitS is from the last effort to the gun.
func Gain(prior Prior, c capacity.Capacity, rideS, waitS float64) estimate.Estimate {
	origin := "four published trials of 5 to 7 minutes with trained cyclists, abstracts only"
	if rideS > 1800 {
		origin += "; no study of a ride this long: the joules of seven minutes"
	}
	mean := GainAt(0, prior, c, rideS, waitS)
	return estimate.Normal(mean, GainAt(1, prior, c, rideS, waitS)-mean, origin)
}

// GainAt is the joules of Gain z standard deviations from the mean, for draws:
// c one rider, z a standard normal variate.
func GainAt(z float64, prior Prior, c capacity.Capacity, rideS, waitS float64) float64 {
	share, sd := GainShare(prior)
	return (share + z*sd) * c.Power(gainSeconds) * math.Min(rideS, gainSeconds) * Kept(prior, waitS)
}

// prior is what the steps amount to: heavy from five minutes of firm riding.
func (b built) prior() Prior {
	if b.firmS >= 300 {
		return Heavy
	}
	return Moderate
}

// waitS is the time from the last effort, hard or steady, to the gun.
func (b built) waitS() float64 {
	if b.lastHardS > 0 {
		return b.lastHardS
	}
	for i := len(b.steps) - 1; i >= 0; i-- {
		if strings.HasPrefix(b.steps[i].Name, "steady") {
			return -b.steps[i].StartS - b.steps[i].DurationS
		}
	}
	return 0
}

// gain is Gain for this start; a group ride is not given its all.
func (q Request) gain(b built) estimate.Estimate {
	if q.Kind == GroupRide {
		return estimate.Exact(0, "a group ride is not given its all: what a warm-up gives it in time was not measured")
	}
	return Gain(b.prior(), q.Capacity, q.RideS, b.waitS())
}

// penCost says what waiting in the pen after the last effort costs.
func (q Request) penCost(b built) string {
	if q.Kind == GroupRide {
		return "what that wait costs a group ride was not measured"
	}
	full, left := Gain(b.prior(), q.Capacity, q.RideS, lastHardUsual), q.gain(b)
	if cost := full.Mean - left.Mean; cost >= 50 {
		return fmt.Sprintf("that wait costs about %.1f of the %.1f kJ a warm-up is worth", cost/1000, full.Mean/1000)
	}
	return "by what is published that wait costs next to nothing; the legs do get colder"
}
