package checksim

import (
	"math/rand/v2"

	"chainline/rig"
)

// part is a stretch of the protocol in which one thing is asked.
type part struct {
	kind     rig.PhaseKind
	from, to float64 // s
	watts    float64 // at the crank; 0: legs still
	cadence  float64 // rpm asked; 0 is the rider's own
	backward bool    // the cranks are turned backwards, nothing pushed
}

// How long the parts last, s, and what they ask as shares of threshold; the
// guided check of package session in its words. Many steps, because a command
// that is ignored shows only where a change was asked; neighbours are far
// apart for the same reason; none is hard.
const (
	easyEvery    = 36.0
	easyTimes    = 20
	still        = 30.0
	stepFor      = 40.0
	cadenceFor   = 60.0
	cadenceShare = 0.60
	sprintFor    = 8.0
	afterSprint  = 60.0
	spinUpFor    = 30.0
	coastFor     = 45.0
	restFor      = 60.0
)

var (
	easyAsked     = []float64{0.45, 0.60, 0.50, 0.65}
	stepsAsked    = []float64{0.50, 0.75, 0.45, 0.85, 0.60, 0.90, 0.55, 0.80, 0.40, 0.90, 0.65, 0.85, 0.50, 0.80, 0.45, 0.70, 0.55, 0.85}
	cadencesAsked = []float64{60, 75, 90, 100} // rpm
)

// protocol is the guided check of one rider. Half of them sprint.
func protocol(r rider, random *rand.Rand) []part {
	var out []part
	at := 0.0
	add := func(p part, seconds float64) {
		p.from, p.to = at, at+seconds
		at = p.to
		out = append(out, p)
	}
	for i := range easyTimes {
		add(part{kind: rig.Easy, watts: r.threshold * easyAsked[i%len(easyAsked)]}, easyEvery)
	}
	add(part{kind: rig.Zero}, still)
	add(part{kind: rig.Zero, backward: true}, still)
	for i := range stepsAsked {
		add(part{kind: rig.Steps, watts: r.threshold * stepsAsked[i]}, stepFor)
	}
	for _, c := range cadencesAsked {
		add(part{kind: rig.Cadences, watts: r.threshold * cadenceShare, cadence: c}, cadenceFor)
	}
	if random.IntN(2) == 0 {
		add(part{kind: rig.Sprint, watts: r.threshold * 2.2, cadence: r.cadence * 1.15}, sprintFor)
		add(part{watts: r.threshold * 0.5}, afterSprint)
	}
	add(part{watts: r.threshold * cadenceShare}, spinUpFor)
	add(part{kind: rig.Coast}, coastFor)
	add(part{kind: rig.QuietRest}, restFor)
	return out
}

// phases are the parts as the check is told them: neighbours of one kind that
// ask for the same are one, and what only stands between is none.
func phases(parts []part) []rig.Phase {
	var out []rig.Phase
	for _, p := range parts {
		if p.kind == "" {
			continue
		}
		if n := len(out); n > 0 && out[n-1].Kind == p.kind && out[n-1].Watts == p.watts && out[n-1].Cadence == p.cadence {
			out[n-1].To = p.to
			continue
		}
		out = append(out, rig.Phase{Kind: p.kind, From: p.from, To: p.to, Watts: p.watts, Cadence: p.cadence})
	}
	return out
}
