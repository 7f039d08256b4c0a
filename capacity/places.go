package capacity

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// Places is how the power held outdoors compares with that indoors, as far as
// evidence from both tells: heat, cooling, moving freely, and what sources
// disagree on are all in it.
type Places struct {
	Indoors, Outdoors int               // pieces of evidence used from each
	Ratio             estimate.Estimate // outdoors over indoors; before any evidence 1 ± 3 %
}

// places is what the draws say of it.
func (in *inference) places(points [][]float64) Places {
	var p Places
	for _, o := range in.obs {
		if o.outdoor {
			p.Outdoors++
		} else {
			p.Indoors++
		}
	}
	if in.outdoor < 0 {
		p.Ratio = estimate.Normal(1, outdoorError, "our judgement; nothing was ridden outdoors")
		return p
	}
	ratios := make([]float64, len(points))
	for i, x := range points {
		ratios[i] = math.Exp(x[in.outdoor])
	}
	p.Ratio = estimate.FromDraws(ratios, "evidence from indoors and outdoors")
	return p
}

// Words say what is known of it.
func (p Places) Words() string {
	percent := func(r float64) float64 { return 100 * (r - 1) }
	low, high := percent(p.Ratio.Low80), percent(p.Ratio.High80)
	switch {
	case p.Indoors == 0 || p.Outdoors == 0:
		return "Cannot say how indoors and outdoors compare: it takes evidence from both."
	case low > 0:
		return fmt.Sprintf("You hold about %.0f %% more outdoors than indoors (%+.0f to %+.0f %%).", percent(p.Ratio.Mean), low, high)
	case high < 0:
		return fmt.Sprintf("You hold about %.0f %% less outdoors than indoors (%+.0f to %+.0f %%).", -percent(p.Ratio.Mean), low, high)
	}
	return fmt.Sprintf("Indoors and outdoors do not differ as far as the evidence tells (%+.0f to %+.0f %% outdoors).", low, high)
}
