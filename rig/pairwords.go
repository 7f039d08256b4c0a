package rig

import (
	"fmt"
	"math"

	"chainline/estimate"
	"chainline/recording"
)

// describe gives a finding about levels its words, its harm and its picture.
func (j *pairJudge) describe(f *Finding) {
	t, s := j.in.threshold(), f.Size
	at := func(perUnit float64) estimate.Estimate {
		return estimate.Normal(perUnit*s.Mean, math.Abs(perUnit)*s.SD, "this check, at "+fmt.Sprintf("%.0f W", t))
	}
	switch f.Subject {
	case Gain:
		f.Watts = at(t)
		f.What = fmt.Sprintf("%s shows %.1f %% %s than %s, in proportion at every power.", f.Source, 100*math.Abs(s.Mean), moreLess(s.Mean), f.Against)
		f.Do = []string{"do the zero offset or spin-down of both again, warm", "carry one of them up a steep climb outdoors to learn which is right", "until then ride by one of them alone"}
		f.Plot = j.identity()
		j.drivetrain(f)
	case Offset:
		f.Watts = at(1)
		f.What = fmt.Sprintf("%s shows %.1f W %s than %s at every power.", f.Source, math.Abs(s.Mean), moreLess(s.Mean), f.Against)
		f.Do = []string{"do the zero offset of both again, warm, with the feet off", "spin down the trainer again"}
		f.Plot = j.identity()
	case WarmUpDrift:
		f.Watts = at(-t)
		f.What = fmt.Sprintf("From cold to warm, %s came to show %.1f %% %s against %s.", f.Source, 100*math.Abs(s.Mean), moreLess(s.Mean), f.Against)
		f.Do = []string{"ride 12 minutes easy before what matters", "do zero offset and spin-down warm"}
		f.Plot = j.ratioBy("riding time, min", func(b block) float64 { return b.at / 60 })
	case CadenceBias:
		f.Watts = at(t / 2)
		f.What = fmt.Sprintf("From %.0f to %.0f rpm, %s comes to show %.1f %% %s against %s.", j.cadences[0], j.cadences[1], f.Source, 100*math.Abs(s.Mean), moreLess(s.Mean), f.Against)
		f.Do = []string{"compare efforts only at like cadence", "check how the crank arms, pedals or magnets are fitted", "update the firmware of " + f.Source}
		f.Prior = "pedals against a crank meter: mean error 1.2, 2.7 and 3.5 % at 70, 85 and 100 rpm (Pallarés and Lillo-Bevia 2018, J Sports Sci Med 17:305, abstract)"
		f.Plot = j.ratioBy("cadence, rpm", func(b block) float64 { return b.cadence })
	case PowerBias:
		f.Watts = at(t / 2)
		f.What = fmt.Sprintf("From %.0f to %.0f W, %s comes to show %.1f %% %s against %s.", j.powers[0], j.powers[1], f.Source, 100*math.Abs(s.Mean), moreLess(s.Mean), f.Against)
		f.Do = []string{"compare efforts only at like power", "spin down or zero again, warm"}
		f.Plot = j.ratioBy("power, W", func(b block) float64 { return b.x })
	}
	if j.in.OnlyLeft[f.Source] || j.in.OnlyLeft[f.Against] {
		j.oneLeg(f)
	}
}

func moreLess(x float64) string {
	if x < 0 {
		return "less"
	}
	return "more"
}

// drivetrain gives both readings of a gain: two sources alone cannot tell the
// drivetrain's loss from an error.
func (j *pairJudge) drivetrain(f *Finding) {
	switch {
	case j.out.Drivetrain:
		whole := (1+f.Size.Mean)*math.Exp(j.out.fitter.side) - 1
		f.Prior = "the drivetrain takes 2.4 ± 1 % (mean: Martin et al. 1998, secondary; doubt: our judgement)"
		front, back := f.Source, f.Against
		loss := whole / (1 + whole) // the front shows the loss on top
		if j.out.fitter.side < 0 {
			front, back, loss = f.Against, f.Source, -whole
		}
		f.Readings = []string{
			fmt.Sprintf("both are right and the drivetrain between %s and %s takes %.1f %%", front, back, 100*loss),
			fmt.Sprintf("the drivetrain takes 2.4 %% and %s is %+.1f %% off against %s", f.Source, 100*f.Size.Mean, f.Against),
		}
		f.Do = append([]string{"clean and oil the chain, and compare again"}, f.Do...)
	case behind(j.in.Side[f.Source]) == 0 || behind(j.in.Side[f.Against]) == 0:
		f.Prior = "where the two measure is not known: they are taken to measure at the same point"
		f.Readings = []string{
			fmt.Sprintf("both measure at the same point and %s is %+.1f %% off against %s", f.Source, 100*f.Size.Mean, f.Against),
			"one measures before the drivetrain and one behind it: 2.4 ± 1 % of the difference is the drivetrain's",
		}
	}
}

// oneLeg adds the reading that a doubled leg allows.
func (j *pairJudge) oneLeg(f *Finding) {
	if j.in.OnlyLeft[f.Source] && j.in.OnlyLeft[f.Against] {
		return
	}
	one := f.Source
	if !j.in.OnlyLeft[one] {
		one = f.Against
	}
	reading := one + " measures the left leg and doubles it: the two legs may differ, and differ otherwise at another power or cadence"
	if f.Subject == Gain {
		share := (1 + f.Size.Mean) / 2
		if one == f.Against {
			share = 1 / (2 * (1 + f.Size.Mean))
		}
		reading = fmt.Sprintf("%s measures the left leg and doubles it: both are right if the left leg does %.1f %% of the work", one, 100*share)
	}
	f.Readings = append(f.Readings, reading)
}

// leastUneven is what two legs differ by unremarkably: our judgement.
const leastUneven = 0.02

// sides judges the share of the left leg where a source tells it.
func (j *pairJudge) sides() {
	for _, source := range []string{j.p.Source.Source, j.p.Against.Source} {
		c, ok := j.in.Recording.Signal(recording.LeftShare, source)
		if !ok || len(c.Values) < 120 {
			continue
		}
		j.share(c)
		return
	}
	why := "neither source tells the share of the left leg"
	for _, s := range []string{j.p.Source.Source, j.p.Against.Source} {
		if j.in.OnlyLeft[s] {
			why = s + " measures one leg and doubles it, and nothing else tells the share of the left leg"
		}
	}
	j.unsaid(OneSided, why)
}

// share makes a finding of legs that differ by more than is unremarkable.
func (j *pairJudge) share(c recording.Channel) {
	var mean []float64
	for i := 0; i < len(c.Values); {
		from, sum, n := c.Seconds[i], 0.0, 0.0
		for ; i < len(c.Values) && c.Seconds[i] < from+30; i++ {
			if c.Values[i] > 0.05 && c.Values[i] < 0.95 {
				sum, n = sum+c.Values[i], n+1
			}
		}
		if n >= 10 {
			mean = append(mean, sum/n)
		}
	}
	if len(mean) < 6 {
		j.unsaid(OneSided, "too little was ridden with both legs")
		return
	}
	m, sd := meanSD(mean)
	se := sd / math.Sqrt(float64(len(mean)))
	size := m - 0.5
	cut := leastUneven + math.Sqrt(pairCost)*se
	if math.Abs(size) < cut {
		return
	}
	f := j.finding(OneSided, size, se, sq2(cut/max(se, 1e-6)), sq2(size/max(se, 1e-6)), 0)
	f.Source, f.Against = c.Source, ""
	t := j.in.threshold()
	f.Watts = estimate.Normal(2*t*size, 2*t*se, "what doubling the left leg would add at threshold")
	f.What = fmt.Sprintf("The left leg does %.1f %% of the work: a meter that doubles one leg would be %.1f %% off.", 100*m, 200*math.Abs(size))
	f.Do = []string{"do not compare a meter of one leg with one of both", "zero both pedals again, and change them over to see whether it stays with the leg"}
	var points [][2]float64
	for i, v := range mean {
		points = append(points, [2]float64{float64(i) / 2, 100 * v})
	}
	f.Plot = Plot{Title: "Share of the left leg", X: "riding time, min", Y: "left, %", Points: points}
	j.out.Findings = append(j.out.Findings, f)
}
