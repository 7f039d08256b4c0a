package rig

import (
	"chainline/estimate"
	"chainline/recording"
)

// powerPair is two sources of power that saw the same ride. Findings about
// gain, offset, warmth, cadence and power are about Source against Against;
// the one that lags or is smoothed is named by the finding itself.
type powerPair struct {
	Source, Against recording.Channel
	TwoClocks       bool // Against comes from CheckInput.Other: its clock may differ
}

// powerPairs are all pairs worth comparing: the source in use against each
// other one, of this recording and of the other.
func powerPairs(in CheckInput) []powerPair {
	if in.Recording == nil {
		return nil
	}
	names := in.Recording.Sources(recording.Power)
	if len(names) == 0 {
		return nil
	}
	first, _ := in.Recording.Signal(recording.Power, names[0])
	var pairs []powerPair
	for _, name := range names[1:] {
		c, _ := in.Recording.Signal(recording.Power, name)
		pairs = append(pairs, powerPair{Source: first, Against: c})
	}
	if in.Other != nil {
		for _, name := range in.Other.Sources(recording.Power) {
			c, _ := in.Other.Signal(recording.Power, name)
			pairs = append(pairs, powerPair{Source: first, Against: c, TwoClocks: true})
		}
	}
	return pairs
}

// pairSubjects are what comparePower judges.
var pairSubjects = []Subject{Gain, Offset, Delay, Smoothing, WarmUpDrift, CadenceBias, PowerBias, OneSided}

// compared is all that two sources of power say about each other.
type compared struct {
	Findings []Finding
	Unsaid   []Unsaid
	// Difference is Source over Against, less one, at the threshold and warm,
	// by the explanation chosen; SD 0 where it cannot be said. Drivetrain
	// tells that they stand on both sides of the drivetrain: the published
	// loss is then taken out of the difference, and its doubt is in the SD.
	Difference estimate.Estimate
	Drivetrain bool
	Warm       bool
	Minutes    float64 // of the ride that both saw
}

// comparePower judges Source against Against. It is deterministic.
func comparePower(in CheckInput, p powerPair) compared {
	var c compared
	for _, s := range pairSubjects {
		c.Unsaid = append(c.Unsaid, Unsaid{Subject: s, Source: p.Source.Source, Because: "this part of the check is not built yet"})
	}
	return c
}
