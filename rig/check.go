package rig

// Check looks at all a recording can show and says what is wrong, how large,
// how sure, and what cannot be said.
func Check(in CheckInput) Report {
	r := Report{Threshold: in.threshold()}
	if in.Recording == nil || len(in.Recording.Channels) == 0 {
		for _, s := range Subjects {
			r.Unsaid = append(r.Unsaid, Unsaid{Subject: s, Because: "nothing was recorded"})
		}
		return r
	}
	r.Minutes = in.Recording.End() / 60
	for _, s := range Subjects {
		r.Unsaid = append(r.Unsaid, Unsaid{Subject: s, Because: "this part of the check is not built yet"})
	}
	return r
}

// usualThreshold is where errors are stated when the rider's is unknown, W.
const usualThreshold = 200.0

func (in CheckInput) threshold() float64 {
	if in.Threshold > 0 {
		return in.Threshold
	}
	return usualThreshold
}

// CanShow tells whether this rig and recording can show a fault at all, and
// if not, why not.
func CanShow(in CheckInput, s Subject) (ok bool, why string) {
	return false, "this part of the check is not built yet"
}

// Subjects are all that a check looks at, in the order it reports what is clear.
var Subjects = []Subject{
	Gain, Offset, Delay, Smoothing, LostSamples, Stuck, Spikes, WarmUpDrift, CadenceBias, PowerBias,
	ZeroOffset, LockedHeart, BrakeLag, DeadTime, Overshoot, ControlError, IgnoredCommands, BrakeLimits,
	Interference, Fading, Quantisation, Circumference, TyreSlip, WrongWheel, OneSided, NoiseFloor,
	PowerNoCadence, CadenceNoPower, Impossible, AgainstPhysics, AgainstHistory, CoastDown, FirmwareChange,
	LinkLatency,
}
