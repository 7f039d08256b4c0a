package checksim

import "chainline/rig"

// Truth is what is really wrong with a rig, and how large.
type Truth struct {
	Case
	Source string // the device that is wrong; empty: all, or none
	size   float64
	meters []meter
}

func (k *check) truth() Truth {
	t := Truth{Case: k.Case, size: k.size, meters: k.meters}
	switch k.Subject {
	case "", rig.Interference:
	case rig.WrongWheel, rig.PowerNoCadence, rig.CadenceNoPower, rig.Impossible, rig.Fading:
		t.Source = k.device
	case rig.BrakeLimits:
		t.Source = "trainer"
	case rig.CoastDown, rig.Repeatability:
		t.Source = map[Setup]string{Curve: "speed", Hub: "hub"}[k.Setup]
	case rig.LockedHeart:
		t.Source = "belt"
	case rig.Circumference:
		t.Source = "speed"
	case rig.BrakeLag, rig.ControlError, rig.IgnoredCommands:
		t.Source = "trainer"
	case rig.TyreSlip:
	case rig.LostSamples:
		t.Source = "speed"
		fallthrough
	default:
		if len(k.meters) > 0 {
			t.Source = k.meters[k.faulty].source
		}
	}
	return t
}

// Healthy is a rig without a fault.
func (t Truth) Healthy() bool { return t.Subject == "" }

// Finds tells whether a finding is the fault.
func (t Truth) Finds(f rig.Finding) bool {
	return f.Subject == t.Subject && (t.Source == "" || f.Source == t.Source || f.Against == t.Source)
}

// Size is the truth of a finding that Finds the fault, in its unit: between
// two sources it is all that parts them, the fault and what healthy sources
// differ by, as the finding is turned (Source over Against).
func (t Truth) Size(f rig.Finding) float64 {
	a, is := t.meter(f.Source)
	b, both := t.meter(f.Against)
	if !is {
		return t.size
	}
	if !both {
		b = meter{}
	}
	switch t.Subject {
	case rig.Gain:
		return (1+a.gain)/(1+b.gain) - 1
	case rig.Offset:
		return a.offset - b.offset
	case rig.Delay:
		return a.lag() - b.lag()
	case rig.WarmUpDrift:
		return (1+a.drift)/(1+b.drift) - 1
	case rig.CadenceBias:
		return (a.cadence - b.cadence) * cadenceSpan()
	case rig.ZeroOffset:
		return a.zero - b.zero
	}
	return t.size
}

func (t Truth) meter(source string) (meter, bool) {
	for _, m := range t.meters {
		if m.source == source {
			return m, true
		}
	}
	return meter{}, false
}
