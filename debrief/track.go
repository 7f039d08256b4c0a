package debrief

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// The forecast's own record: what was predicted, what came, and how often the
// intervals held.

// Foretold is one forecast and what came of it.
type Foretold struct {
	Date      string   `json:"date,omitempty"`
	Name      string   `json:"name,omitempty"`
	Predicted Interval `json:"predicted"` // 80 %
	Actual    float64  `json:"actual"`    // in the same unit
}

// held tells whether the interval held the truth.
func (f Foretold) held() bool { return f.Predicted.Low80 <= f.Actual && f.Actual <= f.Predicted.High80 }

// Record is how forecasts of one kind have done so far.
type Record struct {
	Forecasts int      `json:"forecasts"`
	Held      int      `json:"held"`     // inside the 80 % interval
	Coverage  Interval `json:"coverage"` // share held; the interval is what chance leaves open
	Below     int      `json:"below"`    // below the interval
	Above     int      `json:"above"`    // above it
	OffShare  float64  `json:"off"`      // actual over predicted mean less one, on average
	Sentence  string   `json:"sentence"`
}

// judgeFrom is how many forecasts it takes until their record is judged. Our
// judgement: of ten, six to ten inside are all in line with 80 %.
const judgeFrom = 10

// KeepRecord sums up forecasts whose outcome is known; those without a number
// are left out. The interval of the coverage is Wilson's score interval (1927,
// J Am Stat Assoc 22:209; from memory), at 80 %.
func KeepRecord(all []Foretold) Record {
	r := Record{}
	for _, f := range all {
		if math.IsNaN(f.Actual+f.Predicted.Mean) || f.Predicted.Mean == 0 || !(f.Predicted.Low80 <= f.Predicted.High80) {
			continue
		}
		r.Forecasts++
		r.OffShare += f.Actual/f.Predicted.Mean - 1
		switch {
		case f.held():
			r.Held++
		case f.Actual < f.Predicted.Low80:
			r.Below++
		default:
			r.Above++
		}
	}
	if r.Forecasts == 0 {
		r.Sentence = "No forecast has been ridden yet."
		return r
	}
	n := float64(r.Forecasts)
	r.OffShare /= n
	share := float64(r.Held) / n
	low, high := estimate.Wilson(share, n, estimate.Z80)
	r.Coverage = Interval{share, low, high}
	r.Sentence = r.words()
	return r
}

func (r Record) words() string {
	count := fmt.Sprintf("%d of %d forecasts held their 80 %% interval", r.Held, r.Forecasts)
	if r.Forecasts == 1 {
		count = map[int]string{0: "The one forecast so far missed its 80 % interval", 1: "The one forecast so far held its 80 % interval"}[r.Held]
	}
	switch expected := 0.8 * float64(r.Forecasts); {
	case r.Forecasts < judgeFrom:
		return count + fmt.Sprintf("; judged from %d on.", judgeFrom)
	case r.Coverage.High80 < 0.8:
		return fmt.Sprintf("%s, where about %.0f should: the forecasts have been surer than they should be.", count, expected)
	case r.Coverage.Low80 > 0.8:
		return fmt.Sprintf("%s, where about %.0f should: the intervals have been wider than needed.", count, expected)
	default:
		return fmt.Sprintf("%s, where about %.0f should: as stated, as far as so few can tell.", count, expected)
	}
}
