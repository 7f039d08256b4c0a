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
	lockWithin = 2.5  // beats per minute from the cadence, over lockFor
	lockFor    = 15.0 // s
	lockLeast  = 0.05 // share of the time, to be a finding
	lockJump   = 7.0  // beats in 4 s, as no heart does
	lockSwing  = 7.0  // rpm that cadence changes while heart rate goes with it
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
	share := locked / float64(len(beats))
	if share < lockLeast {
		return
	}
	// A stretch's ends are known to some seconds, and beats near to cadence by
	// chance add a little.
	se := math.Hypot(2.0*math.Sqrt(edges)/float64(len(beats)), 0.004)
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
		if ok && c > 30 && l.heart.v[i] > 25 {
			out = append(out, beat{at: t, heart: l.heart.v[i], cadence: c})
		}
	}
	return out
}

// markLocked marks stretches in which heart rate stays with cadence and that
// no heart can make; it returns the beats in them and how many ends they have.
func markLocked(b []beat) (locked, edges float64) {
	for i := 0; i < len(b); {
		j := i
		for j < len(b) && goesWith(b, j) {
			j++
		}
		if j-i >= 8 && b[j-1].at-b[i].at >= lockFor-1 && unlikeHeart(b, i, j) {
			for k := i; k < j; k++ {
				b[k].locked = true
			}
			locked += float64(j - i)
			edges += 2
			if i == 0 {
				edges--
			}
			if j == len(b) {
				edges--
			}
		}
		i = max(j, i+1)
	}
	return locked, edges
}

// goesWith tells whether heart rate is with cadence about reading i: the reading
// itself, or both of its neighbours when cadence changes under it.
func goesWith(b []beat, i int) bool {
	if math.Abs(b[i].heart-b[i].cadence) <= lockWithin {
		return true
	}
	hits, n := 0, 0
	for k := max(0, i-4); k <= min(len(b)-1, i+4); k++ {
		n++
		if math.Abs(b[k].heart-b[k].cadence) <= lockWithin {
			hits++
		}
	}
	low, high := b[i].cadence, b[i].cadence
	for k := max(0, i-2); k <= min(len(b)-1, i+2); k++ {
		low, high = min(low, b[k].cadence), max(high, b[k].cadence)
	}
	return 2*hits > n && b[i].heart >= low-lockWithin && b[i].heart <= high+lockWithin
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
