package rig

import (
	"fmt"
	"math"
)

// A heart rate that follows cadence is that of the legs: a belt or an optical
// sensor has locked on to the movement. What tells it from a heart that
// happens to beat as fast as the legs turn: hearts change by a few beats in
// some seconds, cranks by twenty rpm in two. Limits are our judgement.
const (
	lockLeast = 0.04 // share of the time, to be a finding
	lockJump  = 7.0  // beats in 4 s, as no heart does
	lockSwing = 7.0  // rpm that cadence changes while heart rate goes with it
)

// beat is one second of both.
type beat struct {
	at, heart, cadence float64
	locked             bool
}

// examineHeart tells the share of the time with turning cranks in which heart
// rate is locked to cadence.
func (l *look) examineHeart() {
	if l.heart == nil || l.cadence == nil {
		l.unsaid(LockedHeart, "", "heart rate and cadence are not both recorded")
		return
	}
	beats := l.beats()
	if len(beats) < 180 {
		l.unsaid(LockedHeart, l.heart.source, "the cranks turned with a heart rate shown for less than three minutes")
		return
	}
	l.right(LockedHeart)
	locked, edges := markLocked(beats)
	if locked < lockLeast*float64(len(beats)) {
		return
	}
	mean, sd := countLocked(beats)
	share := mean / float64(len(beats))
	// An end is known to a second; and legs that start, stop or shift are shown
	// now by the one, now by the other, the longer a reading of cadence takes.
	se := math.Hypot(math.Hypot(sd, 0.2*math.Sqrt(edges))/float64(len(beats)), 0.00015+(0.0005+0.0005*l.cadence.every)*share)
	f := Finding{
		Subject: LockedHeart, Source: l.heart.source, Sure: 0.999,
		What: fmt.Sprintf("%s shows the cadence, not the heart, for %.0f %% of the time; watts are not harmed, at %.0f W as elsewhere, but what is learnt from heart rate is.", l.heart.source, 100*share, l.threshold),
		Do: []string{"wet the strap and pull it tighter; wear an optical sensor higher on the arm (common practice)",
			"leave heart rate out of what is learnt from this ride", "pedal 10 rpm faster or slower for a minute: if the heart rate goes with it, it is still locked"},
		Prior: "common practice",
		Plot:  Plot{Title: "Heart rate and cadence", X: "seconds", Y: "beats per minute, rpm", Names: []string{"heart rate", "cadence"}},
	}
	var heart, cadence [][2]float64
	for i := 0; i < len(beats); i += max(1, len(beats)/mostPlotted) {
		heart = append(heart, [2]float64{beats[i].at, beats[i].heart})
		cadence = append(cadence, [2]float64{beats[i].at, beats[i].cadence})
	}
	f.Plot.Lines = [][][2]float64{heart, cadence}
	l.found(ranged(f, share, max(0, share-z95*se), min(1, share+z95*se), "seconds in which both are one"))
}

func (l *look) beats() []beat {
	var out []beat
	for i, t := range l.heart.t {
		c, ok := l.cadence.at(t)
		if next, more := l.cadence.at(t + l.cadence.every/2); more && next > 30 && c > 30 && math.Abs(next-c) < 4 {
			c = (c + next) / 2 // a message tells the mean of the time before it
		}
		if ok && c > 30 && l.heart.v[i] > 25 {
			out = append(out, beat{at: t, heart: l.heart.v[i], cadence: c})
		}
	}
	return out
}

// A locked and a free heart, as densities of what is shown: a locked one is
// where cadence is, a free one where it was a second ago, or, when it has just
// come free, anywhere. Our judgement.
const (
	lockedSD   = 1.6  // beats per minute from the cadences about it
	freeSD     = 2.0  // beats per minute from the second before
	changing   = 2.5  // rpm from second to second beyond which cadence is not steady
	anywhere   = 60.0 // beats per minute
	worstBeat  = -12  // of a log density, so that one odd reading decides nothing
	changeCost = -6.0 // of a log density, to lock or come free
)

// markLocked finds the likeliest course of locked and free seconds (Viterbi
// 1967, IEEE Trans Inf Theory 13:260, from memory), keeps the locked stretches
// that no heart can make, and returns their beats and how many ends they have.
func markLocked(b []beat) (locked, edges float64) {
	from := make([][2]uint8, len(b))
	score := [2]float64{0, 0}
	for i := range b {
		free, freed, lock := beatDensities(b, i)
		var next [2]float64
		for s, emit := range [2][2]float64{{free, freed}, {lock, lock}} { // having stayed, having changed
			stay, change := score[s]+emit[0], score[1-s]+emit[1]+changeCost
			from[i][s] = uint8(s)
			if change > stay {
				from[i][s], stay = uint8(1-s), change
			}
			next[s] = stay
		}
		score = next
	}
	state := uint8(0)
	if score[1] > score[0] {
		state = 1
	}
	for i := len(b) - 1; i >= 0; i-- {
		b[i].locked = state == 1
		state = from[i][state]
	}
	for i := 0; i < len(b); {
		j := i + 1
		for j < len(b) && b[j].locked == b[i].locked {
			j++
		}
		if b[i].locked && unlikeHeart(b, i, j) {
			locked += float64(j - i)
			edges += 2
			if i == 0 {
				edges--
			}
			if j == len(b) {
				edges--
			}
		}
		i = j
	}
	return locked, edges
}

// countLocked is how many seconds are locked by the model of markLocked, over
// all courses by how likely they are: mean and sd. Where a heart happens to
// beat as fast as the legs turn, nothing tells when it came free, and the sd
// says so. Moments are carried along with the forward recursion (Rabiner 1989,
// Proc IEEE 77:257, from memory).
func countLocked(b []beat) (mean, sd float64) {
	type moments struct{ p, first, second float64 } // of the count, over courses that end in a state
	now := [2]moments{{p: 0.5}, {p: 0.5}}
	for i := range b {
		free, freed, lock := beatDensities(b, i)
		most := max(free, freed, lock)
		var next [2]moments
		total := 0.0
		for s, emit := range [2][2]float64{{free, freed}, {lock, lock}} {
			stay, change := math.Exp(emit[0]-most), math.Exp(emit[1]+changeCost-most)
			m := moments{stay*now[s].p + change*now[1-s].p, stay*now[s].first + change*now[1-s].first, stay*now[s].second + change*now[1-s].second}
			if s == 1 {
				m.second += 2*m.first + m.p
				m.first += m.p
			}
			next[s] = m
			total += m.p
		}
		for s, m := range next {
			now[s] = moments{m.p / total, m.first / total, m.second / total}
		}
	}
	mean = now[0].first + now[1].first
	return mean, math.Sqrt(max(0, now[0].second+now[1].second-mean*mean))
}

// beatDensities are the log densities of a beat: free and free before, free
// but locked before, locked. A locked one lies between the cadences shown
// within a second or so: the two do not arrive at once.
func beatDensities(b []beat, i int) (free, freed, lock float64) {
	free, freed = -math.Log(anywhere), -math.Log(anywhere)
	if i > 0 {
		d := (b[i].heart - b[i-1].heart) / freeSD / math.Sqrt(max(1, b[i].at-b[i-1].at))
		free = max(worstBeat, -d*d/2) - math.Log(freeSD*math.Sqrt(2*math.Pi))
	}
	low, high := b[i].cadence, b[i].cadence
	for k := max(0, i-1); k <= min(len(b)-1, i+1); k++ {
		low, high = min(low, b[k].cadence), max(high, b[k].cadence)
	}
	if high-low < changing {
		low, high = b[i].cadence, b[i].cadence
	}
	d := max(0, b[i].heart-high, low-b[i].heart) / lockedSD
	return free, freed, max(worstBeat, -d*d/2) - math.Log(lockedSD*math.Sqrt(2*math.Pi))
}

// unlikeHeart tells whether stretch i to j begins or ends with a jump, or
// goes with a swing of cadence.
func unlikeHeart(b []beat, i, j int) bool {
	jump := func(a, z int) bool {
		return a >= 0 && z < len(b) && b[z].at-b[a].at < 6 && math.Abs(b[z].heart-b[a].heart) > lockJump
	}
	if jump(i-2, i+1) || jump(j-2, j+1) {
		return true
	}
	for k := i; k+5 < j; k++ {
		if d := b[k+5].cadence - b[k].cadence; math.Abs(d) > lockSwing && b[k+5].at-b[k].at < 8 && math.Abs(b[k+5].heart-b[k].heart-d) < 0.4*math.Abs(d) {
			return true
		}
	}
	return false
}
