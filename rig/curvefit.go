package rig

import (
	"errors"

	"chainline/recording"
)

var errNotBuilt = errors.New("this part of the check is not built yet")

// fitCurve is the power curve of a plain trainer from a borrowed meter's
// watts against wheel speed, warm state only.
func fitCurve(power, speed recording.Channel, from string) (PowerCurve, error) {
	return PowerCurve{}, errNotBuilt
}

// curveFromCoasts is the power curve from coast-downs with known inertia
// (kg at the wheel's rim).
func curveFromCoasts(in CheckInput) (PowerCurve, error) { return PowerCurve{}, errNotBuilt }

// curveFindings judge the rig's typed curve against what was measured, and
// hand back the fitted curve where there is one (for Report.Curve).
func curveFindings(in CheckInput) (*PowerCurve, []Finding, []Unsaid) { return nil, nil, nil }
