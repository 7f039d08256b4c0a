package rig

import (
	"fmt"
	"math"

	"gonum.org/v1/gonum/stat/distuv"

	"chainline/estimate"
	"chainline/recording"
)

// The limits of a coast-down, our judgement.
const (
	coastLeastS  = 4.0  // s with still legs before it counts
	coastLeastMS = 1.0  // m/s that the wheel must lose
	coastSD      = 0.04 // fraction: what two coast-downs of one warm trainer differ by
	coastTop     = 8.0  // m/s and
	coastBottom  = 4.0  // m/s between which a coast-down is timed if it reaches so far
)

// coasting is one coast-down: wheel speed while the legs are still.
type coasting struct{ t, v []float64 }

// wheelOf is the speed that a coast-down is timed by.
func wheelOf(in CheckInput) (recording.Channel, bool) {
	if in.Recording == nil {
		return recording.Channel{}, false
	}
	for _, q := range []recording.Quantity{recording.WheelSpeed, recording.MachineSpeed} {
		if c, ok := in.Recording.Signal(q, ""); ok && len(c.Seconds) > 10 {
			return c, true
		}
	}
	return recording.Channel{}, false
}

// coastings are the coast-downs of a recording: in its Coast phases or, where there
// is none, wherever wheel speed falls while the legs are still.
func coastings(in CheckInput) []coasting {
	speed, ok := wheelOf(in)
	if !ok {
		return nil
	}
	var windows []window
	for _, p := range in.Phases {
		if p.Kind == Coast {
			windows = append(windows, window{p.From, p.To})
		}
	}
	if len(windows) == 0 {
		windows = still(in)
	}
	var out []coasting
	for _, w := range windows {
		if r := falling(speed, w); len(r.v) >= 4 && r.v[0]-r.v[len(r.v)-1] >= coastLeastMS {
			out = append(out, r)
		}
	}
	return out
}

// still are the stretches in which cadence is nought, without a second at
// their beginning.
func still(in CheckInput) []window {
	c, ok := in.Recording.Signal(recording.Cadence, "")
	if !ok {
		return nil
	}
	var out []window
	for i := 0; i < len(c.Values); {
		j := i
		for j < len(c.Values) && c.Values[j] < 1 {
			j++
		}
		if j > i && c.Seconds[j-1]-c.Seconds[i] >= coastLeastS {
			out = append(out, window{c.Seconds[i] + 1, c.Seconds[j-1]})
		}
		i = max(j, i+1)
	}
	return out
}

// falling is the longest stretch within a window in which the wheel slows
// down; noise of a hundredth is let pass.
func falling(c recording.Channel, w window) coasting {
	var best, now coasting
	for i, t := range c.Seconds {
		if t < w.from || t > w.to {
			continue
		}
		v := c.Values[i]
		if n := len(now.v); n > 0 && (v > 1.01*now.v[n-1] || v <= 0.3) {
			if len(now.v) > len(best.v) {
				best = now
			}
			now = coasting{}
		}
		if v > 0.3 {
			now.t, now.v = append(now.t, t), append(now.v, v)
		}
	}
	if len(now.v) > len(best.v) {
		best = now
	}
	return best
}

// took is the time from one speed to a lower one (m/s); false where the run
// does not reach so far.
func (r coasting) took(from, to float64) (float64, bool) {
	a, okA := r.when(from)
	b, okB := r.when(to)
	return b - a, okA && okB && b > a
}

// when the wheel first falls through a speed.
func (r coasting) when(v float64) (float64, bool) {
	for i := 1; i < len(r.v); i++ {
		if r.v[i-1] >= v && r.v[i] < v {
			return r.t[i-1] + (r.t[i]-r.t[i-1])*(r.v[i-1]-v)/(r.v[i-1]-r.v[i]), true
		}
	}
	return 0, false
}

// coastsOf are the timed coast-downs of this recording, to be kept for later
// checks: from 8 to 4 m/s or, of a slower one, from its top to half of it.
func coastsOf(in CheckInput) []PastCoast {
	var out []PastCoast
	for _, r := range coastings(in) {
		from, to := coastTop, coastBottom
		if r.v[0] <= coastTop {
			from = math.Floor(2*r.v[0]-0.2) / 2
			to = from / 2
		}
		if s, ok := r.took(from, to); ok {
			out = append(out, PastCoast{FromMS: from, ToMS: to, Seconds: s})
		}
	}
	return out
}

// coastFindings judge this check's coast-downs against those of before. A
// tyre pumped otherwise, a clamp turned otherwise or a cold brake show here.
func coastFindings(in CheckInput) ([]Finding, []Unsaid) {
	cannot := func(why string) ([]Finding, []Unsaid) {
		return nil, []Unsaid{{Subject: CoastDown, Because: why}, {Subject: Repeatability, Because: why}}
	}
	speed, ok := wheelOf(in)
	if !ok {
		return cannot("no wheel speed was recorded")
	}
	now := coastings(in)
	if len(now) == 0 {
		return cannot("the wheel never ran down with the legs still")
	}
	if len(in.Coasts) == 0 {
		return cannot("there is no earlier coast-down to compare with; this one is kept for the next check")
	}
	var ratios []float64
	var points [][2]float64
	for _, past := range in.Coasts {
		if !(past.Seconds > 0 && past.FromMS > past.ToMS && past.ToMS > 0) {
			continue
		}
		for _, r := range now {
			if s, ok := r.took(past.FromMS, past.ToMS); ok {
				ratios = append(ratios, math.Log(s/past.Seconds))
				points = append(points, [2]float64{-past.Day, past.Seconds / s})
				break
			}
		}
	}
	if len(ratios) == 0 {
		return cannot("this coast-down and the earlier ones share no range of speed")
	}
	p := Plot{Title: "Coast-downs over the days", X: "days before this check", Y: "time over this check's", Points: points, Names: []string{"this check"}}
	first := points[0][0]
	for _, p := range points {
		first = math.Min(first, p[0])
	}
	p.Lines = [][][2]float64{{{first, 1}, {0, 1}}}
	var out []Finding
	var unsaid []Unsaid
	if f, is := coastFinding(speed.Source, ratios); is {
		f.Plot = p
		out = append(out, in.coastWatts(f))
	}
	if len(ratios) < leastCoastDays {
		unsaid = append(unsaid, Unsaid{Repeatability, speed.Source, fmt.Sprintf("%d earlier coast-downs; %d are needed to tell how far they scatter", len(ratios), leastCoastDays)})
	} else if f, is := coastScatter(speed.Source, ratios); is {
		f.Plot = p
		out = append(out, f)
	}
	return out, unsaid
}

// coastWatts adds what another drag makes of watts that are read from wheel
// speed: the force at a speed is the inertia over the time.
func (in CheckInput) coastWatts(f Finding) Finding {
	if !in.Rig.bySpeed() {
		return f
	}
	t := in.threshold()
	f.Watts = estimate.Normal(t*f.Size.Mean, t*f.Size.SD, "coast-downs")
	f.What = fmt.Sprintf("%s Watts read from wheel speed by a curve of before are %.0f W too %s at %.0f W.", f.What, math.Abs(f.Watts.Mean), pick(f.Size.Mean > 0, "many", "few"), t)
	return f
}

// coastScatter tells coast-downs that differ from day to day by more than
// those of one trainer set up alike. ratios are logarithms of today's time
// over that of each day; the interval is that of a standard deviation.
func coastScatter(source string, ratios []float64) (Finding, bool) {
	_, sd := meanSD(ratios)
	n := float64(len(ratios) - 1)
	chi := distuv.ChiSquared{K: n}
	at := func(p float64) float64 { return sd * math.Sqrt(n/chi.Quantile(p)) }
	if at(0.9995) < coastSD {
		return Finding{}, false
	}
	f := ranged(Finding{Subject: Repeatability, Source: source, Against: fmt.Sprintf("%d earlier coast-downs", len(ratios)), Sure: 0.999}, sd, at(0.975), at(0.025), "coast-downs over the days")
	f.What = fmt.Sprintf("From day to day the wheel runs down in times that differ by %.0f %%; those of one trainer set up alike differ by some %.0f %%: a curve or a spin-down of one day is worth that little on the next.", 100*sd, 100*coastSD)
	f.Do = []string{"pump the tyre to the same pressure each time, and turn the clamp alike: count the turns (common practice)", "coast down only after ten minutes of riding", "take the spin-down anew each day until it repeats (common practice)"}
	f.Prior = "what coast-downs of one trainer differ by (4 %) is our judgement"
	return f, true
}

// leastCoastDays are needed before a scatter is judged, our judgement.
const leastCoastDays = 5

func coastFinding(source string, ratios []float64) (Finding, bool) {
	mean, sd := meanSD(ratios)
	n := float64(len(ratios))
	// What coast-downs of one trainer differ by: known beforehand as if from
	// five of them, and learnt from those there are.
	sd = math.Sqrt((5*coastSD*coastSD + (n-1)*sd*sd) / (4 + n))
	doubt := sd * math.Sqrt(1+1/n)
	chi := sq2(mean / doubt)
	if chi < pairCost {
		return Finding{}, false
	}
	low, high := foundInterval(mean, doubt, math.Sqrt(pairCost)*doubt)
	size := math.Expm1(mean)
	f := ranged(Finding{Subject: CoastDown, Source: source, Against: fmt.Sprintf("%d earlier coast-downs", len(ratios))}, size, math.Expm1(low), math.Expm1(high), "coast-downs")
	f.Size = estimate.Normal(size, doubt*(1+size), "coast-downs")
	f.Sure = sureOf(chi)
	longer, because := "longer", "the tyre is harder, the clamp looser or the brake warmer than before"
	if mean < 0 {
		longer, because = "shorter", "the tyre is softer, the clamp tighter or the brake colder than before"
	}
	f.What = fmt.Sprintf("The wheel runs down %.0f %% %s than before: %s.", 100*math.Abs(size), longer, because)
	f.Do = []string{"pump the tyre to the pressure of before and set the clamp alike", "coast down only when warm", "spin the trainer down again, or fit its curve anew"}
	f.Prior = "what coast-downs of one trainer differ by (4 %) is our judgement"
	return f, true
}
