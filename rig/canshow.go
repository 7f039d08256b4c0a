package rig

import (
	"slices"

	"chainline/recording"
)

// shown is what of a recording a fault needs in order to show.
type shown struct {
	watts, two, cadence, heart, wheel, machine, commanded, zero, coast, gears, tape, one bool
	devices                                                                              int
}

func (in CheckInput) shown() shown {
	var s shown
	if in.Recording == nil {
		return s
	}
	l := newLook(in, &Report{})
	s.watts = len(l.raw) > 0
	s.two = len(powerPairs(in)) > 0
	s.cadence, s.heart, s.wheel = l.cadence != nil, l.heart != nil, l.wheel != nil
	s.machine = l.machine != nil && l.wheel != nil && l.machine.source != l.wheel.source
	s.commanded = l.commanded != nil
	s.zero = slices.ContainsFunc(in.Phases, func(p Phase) bool { return p.Kind == Zero })
	s.coast = slices.ContainsFunc(in.Phases, func(p Phase) bool { return p.Kind == Coast })
	s.gears = len(in.Rig.gears()) > 1 && in.Circumference == 0
	s.tape = in.TrueCircumference > 0
	names := map[string]bool{}
	for _, c := range in.Recording.Channels {
		if c.Source != "ride" && c.Quantity != recording.Commanded && c.Quantity != recording.Target {
			names[c.Source] = true
		}
		s.one = s.one || c.Quantity == recording.LeftShare
	}
	s.devices = len(names)
	return s
}

// CanShow tells whether this rig and recording can show a fault at all, and
// if not, why not.
func CanShow(in CheckInput, s Subject) (ok bool, why string) {
	has := in.shown()
	for _, n := range needs[s] {
		if !n.met(has, in) {
			return false, n.why
		}
	}
	return true, ""
}

// need is one thing that must be there for a fault to show.
type need struct {
	met func(shown, CheckInput) bool
	why string
}

var (
	needWatts     = need{func(s shown, _ CheckInput) bool { return s.watts }, "nothing measures watts"}
	needTwo       = need{func(s shown, _ CheckInput) bool { return s.two }, "one source of watts alone has nothing to be compared with"}
	needCadence   = need{func(s shown, _ CheckInput) bool { return s.cadence }, "no cadence is recorded"}
	needHeart     = need{func(s shown, _ CheckInput) bool { return s.heart }, "no heart rate is recorded"}
	needWheel     = need{func(s shown, _ CheckInput) bool { return s.wheel }, "no speed sensor is recorded"}
	needMachine   = need{func(s shown, _ CheckInput) bool { return s.machine }, "the trainer tells no speed of its own beside that of a speed sensor"}
	needCommands  = need{func(s shown, _ CheckInput) bool { return s.commanded }, "no watts were commanded"}
	needDevices   = need{func(s shown, _ CheckInput) bool { return s.devices >= 2 }, "fewer than two devices tell one failing from all failing"}
	needLoaded    = need{func(s shown, _ CheckInput) bool { return s.zero || s.two }, "no cranks turned without a push in a zero phase, and no second source"}
	needReference = need{func(s shown, _ CheckInput) bool { return s.tape || s.machine || s.gears }, "neither a tape measure of the wheel, nor a speed of the trainer's own, nor gears"}
	needCurve     = need{func(_ shown, in CheckInput) bool { return in.Rig.bySpeed() && in.Rig.Trainer.Curve.Known() }, "no power curve of a plain trainer is known"}
	needHistory   = need{func(_ shown, in CheckInput) bool { return len(in.History) > 0 }, "no earlier rides are known"}
	needCoast     = need{func(s shown, _ CheckInput) bool { return s.coast }, "no coast-down is recorded"}
	needSides     = need{func(s shown, in CheckInput) bool { return s.one || len(in.OnlyLeft) > 0 }, "no source tells the share of the legs"}
	needFirmware  = need{func(_ shown, in CheckInput) bool { return in.Firmware != nil }, "no earlier firmware is remembered"}
	needHost      = need{func(_ shown, in CheckInput) bool { return len(in.Rounds) > 0 }, "no host was named"}
	needAnything  = need{func(s shown, _ CheckInput) bool { return s.devices > 0 }, "nothing was recorded"}
)

var needs = map[Subject][]need{
	Gain: {needTwo}, Offset: {needTwo}, Delay: {needTwo}, WarmUpDrift: {needTwo}, PowerBias: {needTwo},
	CadenceBias: {needTwo, needCadence}, Smoothing: {needWatts, needCadence},
	LostSamples: {needAnything}, Interference: {needDevices}, Fading: {needDevices},
	Stuck: {needWatts}, Spikes: {needWatts}, Quantisation: {needWatts}, NoiseFloor: {needWatts},
	ZeroOffset: {needWatts, needCadence, needLoaded}, LockedHeart: {needHeart, needCadence},
	BrakeLag: {needCommands, needWatts}, DeadTime: {needCommands, needWatts}, Overshoot: {needCommands, needWatts},
	ControlError: {needCommands, needWatts}, IgnoredCommands: {needCommands, needWatts}, BrakeLimits: {needCommands, needWatts},
	Circumference: {needWheel, needReference}, TyreSlip: {needWheel, needMachine, needWatts}, WrongWheel: {needWheel},
	PowerNoCadence: {needWatts, needCadence}, CadenceNoPower: {needWatts, needCadence}, Impossible: {needAnything},
	AgainstPhysics: {needWatts, needWheel, needCurve}, AgainstHistory: {needWatts, needHeart, needHistory},
	CoastDown: {needCoast}, Repeatability: {needCoast}, OneSided: {needSides}, FirmwareChange: {needFirmware}, LinkLatency: {needHost},
	TrainerSpeedOnly: {needWheel},
}
