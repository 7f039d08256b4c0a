package render

import (
	"cmp"
	"math"
	"slices"
	"strings"

	"chainline/brief"
)

// The bar card: what to hold where, in at most cardMost lines.
//
// What gives way first, when a plan has more cues than the card has lines:
//
//  1. neighbours within alikeShare of critical power become one line with
//     their range;
//  2. then those between the climbs whose joining changes least what is ridden:
//     short before long and like before unlike (the time-weighted squares of
//     what they differ from their mean);
//  3. then the parts of one climb, by the same measure;
//  4. only then a climb that takes shortClimb or more with what is before or
//     after it; a shorter one is road like any other.
//
// A joined line whose cues lie further apart than rangeShare says what to hold
// on the most of it, up to what on the hills and down to what downhill; where
// they do not part like that, it says their time-weighted mean, that it is one,
// and both ends.
//
// Never joined: the start and the finish. Nothing is on the card that is not
// in the plan.
// The numbers are our judgement.
const (
	cardMost    = 7
	alikeShare  = 0.05
	rangeShare  = 0.2
	climbWeight = 4.0  // what a second on a climb counts for
	alikeWeight = 0.01 // what joining within alikeShare counts for
	apartWeight = 0.25 // what joining counts for where downhills are said apart
	easyShare   = 0.6  // of critical power, below which a cue may be a downhill's
	hardShare   = 1.03 // above which it may be a hill's
	shortClimb  = 120.0
	lostClimb   = 1e12 // more than all else: a climb that is joined with the road
)

// cardLine is one line: where, what to hold, and what it is called. First and
// Last are the cues or rules it stands for, by index; −1 for none.
type cardLine struct {
	Place, Hold, Unit, Words string
	First, Last              int
	Mean                     bool // Hold is a mean over time
	Apart                    bool // Hold is for the road but its hills and downhills; Words have those
}

// part is a cue or rule as the card needs it.
type part struct {
	watts, weight float64
	climb         int // 0: none
	name, gear    string
	place         string
	lead, rough   string  // in the rig's language; without decimals
	low, high     float64 // gradient, or of the rule
}

// The kinds of road a joined line may tell apart.
const (
	road = iota
	hill
	downhill
	neither // easy, but not downhill, or hard, but not up
)

// kind is what a part is to a joined line.
func (p part) kind(cp float64) int {
	switch {
	case p.watts < easyShare*cp && p.high < 0:
		return downhill
	case p.watts > hardShare*cp && p.low > 0:
		return hill
	case p.watts < easyShare*cp || p.watts > hardShare*cp:
		return neither
	}
	return road
}

// cardLines choose what the card says; never more than cardMost, the first the
// start, the last the finish.
func cardLines(b brief.Brief) []cardLine {
	switch {
	case len(b.Plan.Cues) > 0:
		return cueLines(b)
	case len(b.Plan.Rules) > 0:
		return ruleLines(b)
	}
	return []cardLine{{Words: "This brief has no plan.", First: -1, Last: -1}}
}

func cardUnit(speaks string) string {
	switch speaks {
	case "wheel speed":
		return "km/h"
	case "feel":
		return "effort"
	}
	return "W"
}

// rough is what a cue says, without decimals.
func rough(speaks string, c brief.Cue) string {
	if speaks == "wheel speed" {
		return whole(c.WheelKmh)
	}
	return leadOf(speaks, c)
}

func cueLines(b brief.Brief) []cardLine {
	cues := b.Plan.Cues
	parts := make([]part, len(cues))
	for i, c := range cues {
		parts[i] = part{watts: sane(c.Watts), weight: sane(c.LastS), climb: onClimb(c, b), name: c.Name, gear: c.Gear,
			place: "km" + nb + km(c.FromM), lead: leadOf(b.Rig.Speaks, c), rough: rough(b.Rig.Speaks, c)}
		if courseLength(b) < 2000 {
			parts[i].place = whole(c.FromM) + nb + "m"
		}
		if p := b.Course.Profile; len(p.Distance) > 1 && c.ToM > c.FromM {
			parts[i].low = (elevationAt(p, c.ToM) - elevationAt(p, c.FromM)) / (c.ToM - c.FromM)
			parts[i].high = parts[i].low
		}
		if parts[i].weight <= 0 {
			parts[i].weight = 1
		}
	}
	forgetShortClimbs(parts)
	cp, n := cardCritical(b), len(parts)
	out := []cardLine{said(parts, 0, 0, cp, b.Rig.Speaks)}
	out[0].Place = "start"
	out[0].Words = "first minute not more"
	if l := cues[0].LastS; l > 0 && l < 60 {
		out[0].Words = "for " + lapse(l) + ", not more"
	}
	if n == 1 {
		return append(out, finishLine(b))
	}
	for _, g := range groups(parts[1:n-1], cardMost-2, cp) {
		out = append(out, said(parts, g[0]+1, g[1]+1, cp, b.Rig.Speaks))
	}
	return append(out, said(parts, n-1, n-1, cp, b.Rig.Speaks))
}

func ruleLines(b brief.Brief) []cardLine {
	rules := steepestDownFirst(joined(b.Plan.Rules))
	parts := make([]part, len(rules))
	level := 0
	for i := range rules {
		r := rules[len(rules)-1-i] // steepest up first: that is where it matters
		as := brief.Cue{Watts: r.Watts, WheelKmh: r.WheelKmh, WheelLowKmh: r.WheelLowKmh, WheelHighKmh: r.WheelHighKmh, Exertion: r.Exertion}
		parts[i] = part{watts: sane(r.Watts), weight: math.Max(sane(r.ShareOfTime), 1e-3), name: r.Name, gear: r.Gear,
			lead: leadOf(b.Rig.Speaks, as), rough: rough(b.Rig.Speaks, as), low: r.FromGradient, high: r.ToGradient}
		if r.FromGradient <= 0 && r.ToGradient > 0 {
			level = i
		}
	}
	cp := cardCritical(b)
	start := said(parts, level, level, cp, b.Rig.Speaks)
	start.Place, start.Words = "first minute", "not more"
	out := []cardLine{start}
	for _, g := range groups(parts, cardMost-2, cp) {
		l := said(parts, g[0], g[1], cp, b.Rig.Speaks)
		l.Place = slope(parts[g[1]].low, parts[g[0]].high)
		out = append(out, l)
	}
	return append(out, finishLine(b))
}

// finishLine ends a card whose last instruction is not about the finish: when
// it will come.
func finishLine(b brief.Brief) cardLine {
	f := b.Forecast
	l := cardLine{Place: distance(courseLength(b)), Words: "finish", First: -1, Last: -1}
	if f.Draws > 0 {
		low, median, high := forecastClock(f.Low80, f.Median, f.High80)
		l.Hold, l.Words = median, "likely; "+low+"–"+high
	} else if b.Plan.Time > 0 {
		l.Hold = clock(b.Plan.Time)
	}
	return l
}

func sane(x float64) float64 {
	if !finite(x) {
		return 0
	}
	return x
}

func cardCritical(b brief.Brief) float64 {
	if cp := sane(b.Rider.CriticalPower.Mean); cp > 0 {
		return cp
	}
	return math.Max(1, sane(b.Plan.ForCP))
}

// onClimb is the listed climb, from 1, that more than half of a cue lies on; 0
// if on none.
func onClimb(c brief.Cue, b brief.Brief) int {
	for i, u := range b.Course.Climbs {
		if shared := math.Min(c.ToM, u.Start+u.Length) - math.Max(c.FromM, u.Start); shared > 0.5*(c.ToM-c.FromM) {
			return i + 1
		}
	}
	return 0
}

// forgetShortClimbs makes road of climbs whose cues together last less than
// shortClimb.
func forgetShortClimbs(parts []part) {
	lasts := map[int]float64{}
	for _, p := range parts {
		lasts[p.climb] += p.weight
	}
	for i, p := range parts {
		if lasts[p.climb] < shortClimb {
			parts[i].climb = 0
		}
	}
}

// spreadOf is what parts are together, and what joining them loses.
func spreadOf(parts []part) (mean, low, high, loss float64) {
	low, high = math.Inf(1), math.Inf(-1)
	sum, weight := 0.0, 0.0
	for _, p := range parts {
		low, high = math.Min(low, p.watts), math.Max(high, p.watts)
		sum, weight = sum+p.watts*p.weight, weight+p.weight
	}
	mean = sum / weight
	for _, p := range parts {
		k := p.weight
		if p.climb > 0 {
			k *= climbWeight
		}
		loss += k * (p.watts - mean) * (p.watts - mean)
	}
	return mean, low, high, loss
}

// partsWell tells whether parts are road within rangeShare, with hills and
// downhills that can be told apart from it.
func partsWell(parts []part, cp float64) bool {
	low, high, others := math.Inf(1), math.Inf(-1), 0
	for _, p := range parts {
		switch p.kind(cp) {
		case road:
			low, high = math.Min(low, p.watts), math.Max(high, p.watts)
		case neither:
			return false
		default:
			others++
		}
	}
	return others > 0 && high-low >= 0 && high-low <= rangeShare*cp
}

// only keeps the parts of a kind.
func only(parts []part, kind int, cp float64) []part {
	var out []part
	for _, p := range parts {
		if p.kind(cp) == kind {
			out = append(out, p)
		}
	}
	return out
}

// apartWords say what is held on hills and downhills: all of it where there is
// one of them, the furthest where there are both.
func apartWords(hills, downs []part) string {
	switch {
	case len(downs) == 0:
		return "hills " + ends(hills)
	case len(hills) == 0:
		return "but downhill " + ends(downs)
	}
	return "up to " + most(hills).rough + ", down to " + least(downs).rough
}

// lossOf is what a line for these parts loses: about the mean, or a part of
// that where downhills and rest are said apart.
func lossOf(parts []part, cp float64) float64 {
	_, low, high, loss := spreadOf(parts)
	if high-low <= alikeShare*cp {
		return loss * alikeWeight
	}
	if high-low > rangeShare*cp && partsWell(parts, cp) {
		loss *= apartWeight
	}
	for k := range parts[1:] {
		if parts[k].climb != parts[k+1].climb {
			return loss + lostClimb
		}
	}
	return loss
}

// groups parts into at most limit neighbouring groups, so that as little as
// possible is lost: the best of all ways (by dynamic programming).
func groups(parts []part, limit int, cp float64) [][2]int {
	n := len(parts)
	limit = min(limit, n)
	if n == 0 {
		return nil
	}
	loss := make([][]float64, n) // loss[i][j]: of parts i to j
	for i := range loss {
		loss[i] = make([]float64, n)
		for j := i; j < n; j++ {
			loss[i][j] = lossOf(parts[i:j+1], cp)
		}
	}
	best := make([][]float64, limit+1) // best[k][j]: the first j parts in k groups
	from := make([][]int, limit+1)
	for k := range best {
		best[k], from[k] = make([]float64, n+1), make([]int, n+1)
		for j := range best[k] {
			best[k][j] = math.Inf(1)
		}
	}
	best[0][0] = 0
	for k := 1; k <= limit; k++ {
		for j := k; j <= n; j++ {
			for i := k - 1; i < j; i++ {
				if c := best[k-1][i] + loss[i][j-1]; c < best[k][j] {
					best[k][j], from[k][j] = c, i
				}
			}
		}
	}
	out := make([][2]int, limit)
	for k, j := limit, n; k > 0; k-- {
		i := from[k][j]
		out[k-1] = [2]int{i, j - 1}
		j = i
	}
	return out
}

// said is the line for parts i to j.
func said(parts []part, i, j int, cp float64, speaks string) cardLine {
	l := cardLine{Place: parts[i].place, Hold: parts[i].lead, Unit: cardUnit(speaks), First: i, Last: j, Words: joinedName(parts[i : j+1])}
	if i == j {
		if l.Words = parts[i].name; parts[i].gear != "" {
			l.Words = join([]string{cut(parts[i].gear, gearLength), l.Words}, ", ")
		}
		return l
	}
	mean, low, high, _ := spreadOf(parts[i : j+1])
	switch {
	case high-low <= rangeShare*cp:
		l.Hold = ends(parts[i : j+1])
	case partsWell(parts[i:j+1], cp):
		l.Apart, l.Hold = true, ends(only(parts[i:j+1], road, cp))
		l.Words = apartWords(only(parts[i:j+1], hill, cp), only(parts[i:j+1], downhill, cp))
	case speaks == "watts":
		l.Mean, l.Hold, l.Words = true, whole(mean), "on average, "+whole(low)+"–"+whole(high)
	default:
		l.Hold = ends(parts[i : j+1])
	}
	return l
}

// ends are the least and the most that parts ask for, in the rig's language.
func ends(parts []part) string {
	low, high := least(parts).rough, most(parts).rough
	if low == high {
		return low
	}
	return low + "–" + high
}

func least(parts []part) part {
	return slices.MinFunc(parts, func(a, b part) int { return cmp.Compare(a.watts, b.watts) })
}

func most(parts []part) part {
	return slices.MaxFunc(parts, func(a, b part) int { return cmp.Compare(a.watts, b.watts) })
}

// joinedName calls several cues by what leads their names: at most two, those
// that last longest, in the order they come.
func joinedName(parts []part) string {
	type named struct {
		name   string
		weight float64
	}
	var all []named
	for _, p := range parts {
		name, _, _ := strings.Cut(p.name, ",")
		found := false
		for k := range all {
			if all[k].name == name {
				all[k].weight += p.weight
				found = true
			}
		}
		if !found && name != "" {
			all = append(all, named{name, p.weight})
		}
	}
	var weights []float64
	for _, n := range all {
		weights = append(weights, n.weight)
	}
	out := ""
	if len(weights) == 0 {
		return ""
	}
	least := kthLargest(weights, min(2, len(weights)))
	for k, n := 0, 0; k < len(all) && n < 2; k++ {
		if all[k].weight >= least {
			out = join([]string{out, all[k].name}, ", ")
			n++
		}
	}
	return out
}
