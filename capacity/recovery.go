package capacity

import "math"

// How far the published forms of W′ recovery are from what was observed.

// observation is one published group mean: after exhaustion, the share of W′
// that was back after a time at a power below critical.
type observation struct {
	study         string
	criticalPower float64 // W
	wPrime        float64 // J
	deficit       float64 // W, CP minus recovery power
	seconds       float64
	recovered     float64 // share of W′
}

// observations are group means of four studies, as three of them were
// transcribed in the open data of Weigend et al. (faweigend/pypermod,
// recovery_study/*.csv, MIT; read in the files). Where the papers stand:
//
//   - Ferguson et al. 2010, J Appl Physiol 108:866 (the three shares also read
//     in the abstract);
//   - Caen et al. 2019, with work to exhaustion of 240 s and 480 s, as used by
//     Weigend et al. 2023, Ann Oper Res 325:589 (one value, 58.5 %, taken from
//     its fitting script where the file has 58.0 %);
//   - Caen et al. 2021, Med Sci Sports Exerc (abstract only; journal from
//     memory);
//   - Chidnok et al. 2012: shares fitted by the same script to times to
//     exhaustion in intermittent exercise with recoveries of 30 s. The file
//     lists the recovery powers in the wrong order; this is the script's pairing.
//
// The regression of Bartram et al. 2018 on four elite riders is no
// observation and is left out; it recovers faster than all but the shortest
// of these (form Elite).
var observations = []observation{
	{"Ferguson 2010", 212, 21600, 192, 120, 0.37},
	{"Ferguson 2010", 212, 21600, 192, 360, 0.65},
	{"Ferguson 2010", 212, 21600, 192, 900, 0.86},

	{"Caen 2019", 248, 18200, 167, 120, 0.55},
	{"Caen 2019", 248, 18200, 167, 240, 0.61},
	{"Caen 2019", 248, 18200, 167, 360, 0.705},
	{"Caen 2019", 248, 18200, 85, 120, 0.49},
	{"Caen 2019", 248, 18200, 85, 240, 0.55},
	{"Caen 2019", 248, 18200, 85, 360, 0.585},
	{"Caen 2019", 248, 18200, 167, 120, 0.42},
	{"Caen 2019", 248, 18200, 167, 240, 0.52},
	{"Caen 2019", 248, 18200, 167, 360, 0.595},
	{"Caen 2019", 248, 18200, 85, 120, 0.38},
	{"Caen 2019", 248, 18200, 85, 240, 0.375},
	{"Caen 2019", 248, 18200, 85, 360, 0.50},

	{"Caen 2021", 269, 19200, 108, 30, 0.286},
	{"Caen 2021", 269, 19200, 108, 60, 0.348},
	{"Caen 2021", 269, 19200, 108, 120, 0.442},
	{"Caen 2021", 269, 19200, 108, 180, 0.505},
	{"Caen 2021", 269, 19200, 108, 240, 0.551},
	{"Caen 2021", 269, 19200, 108, 300, 0.568},
	{"Caen 2021", 269, 19200, 108, 600, 0.737},
	{"Caen 2021", 269, 19200, 108, 900, 0.713},

	{"Chidnok 2012", 241, 21100, 68, 30, 0.166},
	{"Chidnok 2012", 241, 21100, 146, 30, 0.214},
	{"Chidnok 2012", 241, 21100, 221, 30, 0.244},
}

// slowness is the logarithm of the time constant an observation implies,
// −t/ln(1−share), over the one the form predicts.
func (o observation) slowness(form Recovery) float64 {
	b := Balance{CriticalPower: o.criticalPower, WPrime: o.wPrime, Form: form, MeanDeficit: o.deficit}
	implied := -o.seconds / math.Log1p(-o.recovered)
	return math.Log(implied * b.Rate(o.deficit))
}

// RecoverySpread is the log-normal factor on a form's time constants
// (Balance.Speed) that the published observations call for: its median, and
// the standard deviation of its logarithm.
//
// Every study counts once, by the mean of its log-ratios of implied to
// predicted time constant, because conditions of one study share riders and
// method; the spread is the sample standard deviation between studies. Both
// choices are our judgement. For the differential form the median is about
// 1.6: on the whole it gives W′ back too fast, in long recoveries (factor 4
// at 15 min) more than in short ones (0.5 at 30 s), for recovery is not one
// exponential. Riders of national level may be faster than the spread allows.
func RecoverySpread(form Recovery) (median, logSD float64) {
	var means []float64
	for i := 0; i < len(observations); {
		sum, n := 0.0, 0
		for study := observations[i].study; i < len(observations) && observations[i].study == study; i++ {
			sum, n = sum+observations[i].slowness(form), n+1
		}
		means = append(means, sum/float64(n))
	}
	mean, squares := 0.0, 0.0
	for _, m := range means {
		mean += m / float64(len(means))
	}
	for _, m := range means {
		squares += (m - mean) * (m - mean)
	}
	return math.Exp(mean), math.Sqrt(squares / float64(len(means)-1))
}
