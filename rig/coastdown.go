package rig

// coastsOf are the coast-downs of this recording: of its Coast phases, or
// found in wheel speed after the legs stop.
func coastsOf(in CheckInput) []PastCoast { return nil }

// coastFindings judge this check's coast-downs against each other and those
// of before.
func coastFindings(in CheckInput) ([]Finding, []Unsaid) { return nil, nil }
