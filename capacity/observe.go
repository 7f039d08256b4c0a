package capacity

import (
	"fmt"
	"math"
)

// What each piece of evidence observes, and how well.

const (
	sprintTo   = 15.0   // s; up to here the sprint's error
	severeFrom = 120.0  // s; from here the two-parameter model holds
	severeTo   = 1200.0 // s; to here it is fitted
	leastWatts = 10.0   // W; outside these limits it is a slip of the pen
	mostWatts  = 3000.0 // W
)

// Errors, as standard deviations of logarithms; our judgement where no source
// is named. Maximal tests carry the repeat error of prior.go besides.
const (
	// sprintError and shortError cover how badly a curve with four numbers
	// describes the first seconds and the first two minutes.
	sprintError, shortError = 0.10, 0.05
	// longError is that of rides beyond half an hour.
	longError = 0.03
	// sameDayError: 24 h against 3 h of rest between trials, limits of
	// agreement −9 to 15 W of critical power (Karsten et al. 2016, J Sports Sci;
	// abstract only), 6 W of 240 W.
	sameDayError = 0.025
	// sourceError is the scale of a source whose accuracy is not known: 54
	// mobile meters, ± 3.2 % (Maier et al. 2017, IJSM 38:456; abstract only).
	sourceError = 0.032
	// outdoorError is how far a rider's power indoors may lie from that
	// outdoors, for all evidence alike.
	outdoorError = 0.03

	// talkShare of critical power is where talking stops being comfortable. The
	// first stage at which 18 trained riders could not talk comfortably was 3.6
	// W/kg, their ventilatory threshold 3.7 ± 0.4 and the respiratory
	// compensation point, near critical power, 5.3 ± 0.4 (Rodríguez-Marroyo,
	// Villa, García-López, Foster 2013, JSCR 27:1942; abstract only): 0.68. The
	// ventilatory threshold of 10 riders was 101 W, their critical power 167 W
	// (Perceptual and Motor Skills 2023, doi 10.1177/00315125231180383; abstract
	// only): 0.605. The middle; r = 0.86 between talk and threshold.
	talkShare, talkError = 0.64, 0.12
)

// slackOf is the mean share of what was possible that an effort left unridden.
// A maximal test leaves nothing. Riders win road races on 80 to 97 % of their
// best (van Erp and Lamberts 2022, IJSPP 17:203; abstract only), so the best of
// many rides is within a few percent; the numbers are our judgement.
func slackOf(k Kind, h Harder) float64 {
	switch {
	case h == HarderNo && k == MaximalTest:
		return 0
	case h == HarderNo:
		return 0.015
	case h == HarderLittle:
		return 0.05
	case h == HarderMuch:
		return 0.15
	case k == BestEffort:
		return 0.06
	case k == HillTime:
		return 0.08
	}
	return 0
}

// Heart rate at easy loads: how far a person lies off the published line for
// good, and how far one occasion lies off that, as shares of the maximum.
// Together they are what exertion.go's band holds. heartPower is the duration
// in seconds whose best power is taken to use the maximal oxygen uptake.
const (
	heartLineError, heartError = 0.035, 0.02
	heartPower                 = 300.0
	unknownHeart               = 180.0 // bpm, at an unknown age
	unknownHeartSD             = 15.0
	measuredHeartSD            = 2.0 // bpm; a maximum is seldom quite reached
)

// observe turns the evidence into observations, and says what became of each
// piece.
func (in *inference) observe(r Rider, ride Source) {
	in.sources = map[string]int{}
	in.account.Lines = make([]Line, len(r.Evidence))
	if ride.SD > 0 {
		in.sources[ride.Name] = in.add(ride.SD)
	}
	in.ride = -1
	if at, ok := in.sources[ride.Name]; ok {
		in.ride = at
	}
	days := daysShared(r.Evidence)
	for i, e := range r.Evidence {
		line := &in.account.Lines[i]
		*line = Line{What: e.words(), When: e.Date}
		if reason := e.unusable(r); reason != "" {
			line.Used = "left out: " + reason
			continue
		}
		o, used := in.datum(r, e)
		o.piece = i
		if days[e.Date] > 1 && e.Kind == MaximalTest && o.duration >= severeFrom {
			o.sd = math.Hypot(o.sd, sameDayError)
			in.tired = e.Date
		}
		o.source = -1
		if e.Kind != HillTime {
			o.source = in.source(e)
		}
		if o.outdoor = e.Where == "outdoor" || e.Kind == HillTime; o.outdoor && in.outdoor < 0 {
			in.outdoor = in.add(outdoorError)
		}
		line.Used = used
		in.obs = append(in.obs, o)
	}
	in.age(r.Evidence)
	in.rest(r)
}

// source is the position of the scale of the evidence's power source.
func (in *inference) source(e Evidence) int {
	sd := sourceError
	if e.AccuracyPercent > 0 {
		sd = e.AccuracyPercent / 100
	}
	at, known := in.sources[e.Source]
	if !known {
		at = in.add(sd)
		in.sources[e.Source] = at
	}
	return at
}

// datum is what a usable piece observes, and the words for it.
func (in *inference) datum(r Rider, e Evidence) (o datum, used string) {
	o = datum{duration: e.Duration, slack: slackOf(e.Kind, e.Harder)}
	if e.Watts > 0 {
		o.lnWatts = math.Log(e.Watts)
	}
	switch e.Kind {
	case StatedThreshold:
		reading := ReadThreshold(e.From)
		watts := e.Watts * reading.Factor
		o.duration, o.lnWatts, o.sd = reading.Duration, math.Log(watts), reading.SD
		what := "critical power"
		if !math.IsInf(reading.Duration, 1) {
			what = "the power held for " + durationWords(reading.Duration)
		}
		return o, fmt.Sprintf("as %s of %.0f W ±%.0f %% (%s)", what, watts, 100*reading.SD, reading.Name)
	case HillTime:
		watts, sd := hillPower(r, e)
		o.lnWatts, o.sd, o.repeat = math.Log(watts), sd, true
		return o, fmt.Sprintf("as %.0f W ±%.0f %% held for %s, true watts%s", watts, 100*sd, durationWords(e.Duration), slackWords(o.slack))
	case EasyHeartRate:
		in.heartModel(r)
		o.heart, o.watts, o.sd = e.HeartRate, e.Watts, heartError
		return o, fmt.Sprintf("as the heart rate of an easy load, ±%.0f %% of the maximum for you and ±%.0f %% for the day", 100*heartLineError, 100*heartError)
	case TalkTest:
		o.duration, o.lnWatts, o.sd = math.Inf(1), math.Log(e.Watts/talkShare), talkError
		return o, fmt.Sprintf("as %.0f %% of critical power, ±%.0f %%", 100*talkShare, 100*talkError)
	}
	o.repeat = true
	used = "as the power held for " + durationWords(e.Duration)
	switch {
	case e.Duration <= sprintTo:
		o.sd, used = sprintError, fmt.Sprintf("for maximal power, ±%.0f %%", 100*sprintError)
	case e.Duration < severeFrom:
		o.sd = shortError
	case e.Duration > FadeFrom:
		o.sd = longError
	}
	if e.Kind == RideEffort {
		return in.answered(e, o)
	}
	return o, used + slackWords(o.slack)
}

func slackWords(slack float64) string {
	if slack == 0 {
		return ""
	}
	return fmt.Sprintf(", perhaps not all you had (%.3g %% short on average)", 100*slack)
}

// heartModel makes the latent numbers of heart rates.
func (in *inference) heartModel(r Rider) {
	if in.heartMax >= 0 {
		return
	}
	bpm, sd, _, ok := r.MaxHeart()
	switch {
	case !ok:
		bpm, sd = unknownHeart, unknownHeartSD
	case r.MaxHeartRate > 0:
		sd = measuredHeartSD
	}
	in.heart, in.mass = bpm, r.Mass
	in.heartMax, in.heartLine = in.add(sd), in.add(heartLineError)
}

// unusable is why a piece of evidence tells nothing; empty if it does.
func (e Evidence) unusable(r Rider) string {
	watts := e.Kind != HillTime && !(e.Watts >= leastWatts && e.Watts <= mostWatts)
	timed := e.Kind == MaximalTest || e.Kind == BestEffort || e.Kind == HillTime || e.Kind == RideEffort
	switch {
	case e.Date != "" && e.Age < 0:
		return "it is dated after this ride"
	case watts:
		return fmt.Sprintf("its watts are not between %g and %g", leastWatts, mostWatts)
	case timed && (!(e.Duration > 0) || math.IsInf(e.Duration, 1)):
		return "its duration is not a positive number"
	case timed && e.Duration > PowerTo:
		return "longer than the five hours that the power-duration curve is meant for"
	case e.Kind == HillTime:
		return e.unusableHill(r)
	case e.Kind != EasyHeartRate:
		return ""
	case r.HeartRateOff:
		return "heart rate is switched off for this rider"
	case e.Duration > 0 && e.Duration < HeartBandFrom:
		return "heart rate needs three minutes to settle"
	case r.Mass <= 0:
		return "the mass is not known"
	case !(e.HeartRate >= 40 && e.HeartRate <= 230):
		return "its heart rate is not between 40 and 230"
	}
	return ""
}

// daysShared counts the maximal tests of two minutes and more by day.
func daysShared(evidence []Evidence) map[string]int {
	days := map[string]int{}
	for _, e := range evidence {
		if e.Date != "" && e.Kind == MaximalTest && e.Duration >= severeFrom {
			days[e.Date]++
		}
	}
	return days
}
