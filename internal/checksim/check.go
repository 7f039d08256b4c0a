package checksim

import (
	"math"
	"math/rand/v2"
	"slices"

	"chainline/recording"
	"chainline/rig"
)

// tapeSD is the error (fraction, sd) of a wheel rolled out along a tape.
const tapeSD = 0.002

// check is one simulated check before it is ridden.
type check struct {
	Case
	rider   rider
	machine machine
	parts   []part
	meters  []meter
	faulty  int        // index among meters
	gone    []span     // when the radio is full
	locked  []span     // when the belt counts the cadence
	set     float64    // circumference the speed sensor is set to, over the true one
	losses  [3]float64 // chances of the other sensors: speed, cadence, belt
	size    float64    // with its sign
	beyond
}

// Ride is one check and its truth. The same stream gives the same check; two
// cases with equal streams share rider, rig and noise as far as they can.
func Ride(c Case, random *rand.Rand) (rig.CheckInput, Truth) {
	k := &check{Case: c}
	k.rider = drawRider(random)
	k.machine = drawMachine(c.Setup, random)
	k.parts = protocol(k.rider, random)
	k.meters = metersOf(c.Setup, random)
	k.set = 1 + between(-0.003, 0.003, random)
	for i := range k.losses {
		k.losses[i] = between(0, 0.002, random)
	}
	k.breaks(random)
	t := ride(k.rider, k.machine, k.parts, k.own(), random)
	rec := k.record(&t, random)
	k.spoil(rec, random)
	if k.Subject == rig.BrakeLimits {
		k.size = k.limitMet(&t)
	}
	in := k.input(rec, random)
	k.more(&in)
	return in, k.truth()
}

func metersOf(s Setup, r *rand.Rand) []meter {
	draw := func(source string, kind rig.SourceKind) meter { return drawMeter(source, kind, r) }
	switch s {
	case Both:
		return []meter{draw("trainer", rig.SourceTrainer), draw("meter", rig.SourceCrank)}
	case Alone:
		return []meter{draw("trainer", rig.SourceTrainer)}
	case Hub:
		return []meter{draw("hub", rig.SourceHub), draw("pedals", rig.SourcePedal)}
	case Crank:
		return []meter{draw("meter", rig.SourceCrank), draw("pedals", rig.SourcePedal)}
	}
	return nil
}

// cadenceSpan is between the lowest and the highest cadence asked, rpm.
func cadenceSpan() float64 { return slices.Max(cadencesAsked) - slices.Min(cadencesAsked) }

// riding is where something can go wrong unnoticed: not at rest.
func (k *check) riding() span {
	end := 0.0
	for _, p := range k.parts {
		if p.kind == rig.Cadences {
			end = p.to
		}
	}
	return span{60, end}
}

// zero is the part at rest in the middle.
func (k *check) zero() span {
	s := span{math.Inf(1), 0}
	for _, p := range k.parts {
		if p.kind == rig.Zero {
			s.from, s.to = min(s.from, p.from), max(s.to, p.to)
		}
	}
	return s
}

// own is what the trainer regulates by.
func (k *check) own() reads {
	if !k.machine.controllable {
		return nil
	}
	return func(now, cadence float64) (float64, float64) {
		if cadence == 0 {
			cadence = middle
		}
		return k.meters[0].scale(now, cadence), k.meters[0].beyond(cadence)
	}
}

func (k *check) record(t *trace, r *rand.Rand) *recording.Recording {
	rec := &recording.Recording{Title: "Rig check", StartUnix: 1.79e9, Sport: "indoor cycling", Used: map[recording.Quantity]string{}, Whole: true}
	add := func(c recording.Channel) {
		rec.Channels = append(rec.Channels, c)
		if _, have := rec.Used[c.Quantity]; !have {
			rec.Used[c.Quantity] = c.Source
		}
	}
	sent := map[string][]message{}
	for _, m := range k.meters {
		sent[m.source] = messages(len(t.crank), m.every, m.latency, m.loss, k.fades(m.source), r)
	}
	for i, source := range []string{"speed", "cadence", "belt"} {
		sent[source] = messages(len(t.crank), 1, between(0.02, 0.1, r), k.losses[i], k.fades(source), r)
	}
	for _, m := range k.meters {
		add(m.power(t, k.parts, sent[m.source], k.calm(), r))
	}
	k.turning(t, sent, r, add)
	if k.Setup == Both || k.Setup == Alone || k.Setup == Curve {
		belt := plain{recording.HeartRate, "belt", 1, 0, 0.4, 1, 0}.channel(t.heart, sent["belt"], r)
		k.lock(&belt, t)
		add(belt)
	}
	if k.machine.controllable {
		k.asked(t, add)
	}
	return rec
}

// asked are the channels of what the program told trainer and rider.
func (k *check) asked(t *trace, add func(recording.Channel)) {
	commanded, target := recording.Channel{Quantity: recording.Commanded, Source: "ride/power"}, recording.Channel{Quantity: recording.Target, Source: "ride"}
	for _, c := range t.commands {
		commanded.Seconds, commanded.Values = append(commanded.Seconds, c.at), append(commanded.Values, c.watts)
	}
	for s := 0.0; s < k.parts[len(k.parts)-1].to; s++ {
		target.Seconds, target.Values = append(target.Seconds, s), append(target.Values, askedAt(k.parts, s))
	}
	add(commanded)
	add(target)
}

func askedAt(parts []part, at float64) float64 {
	for _, p := range parts {
		if at >= p.from && at < p.to {
			return p.watts
		}
	}
	return 0
}

// turning are the channels of cadence, speed and sides.
func (k *check) turning(t *trace, sent map[string][]message, r *rand.Rand, add func(recording.Channel)) {
	cadence := t.cadence
	source := map[Setup]string{Both: "meter", Alone: "trainer", Curve: "cadence", Hub: "pedals", Crank: "meter"}[k.Setup]
	if k.Setup == Alone { // reckoned from the wheel: it does not see cranks turned backwards
		zero := k.zero()
		cadence = slices.Clone(cadence)
		clear(cadence[int(zero.from*perSecond)+perSecond : int(zero.to*perSecond)])
	}
	add(plain{recording.Cadence, source, 1, 0, 0.7, 1, 3}.channel(cadence, sent[source], r))
	shows := k.set * (1 + between(-0.001, 0.001, r))
	switch k.Setup {
	case Both, Curve:
		add(plain{recording.WheelSpeed, "speed", shows, 0.003, 0, 0.001, 0.2}.channel(t.wheelSpeed, sent["speed"], r))
	case Hub:
		add(plain{recording.WheelSpeed, "hub", 1, 0.003, 0, 0.001, 0.2}.channel(t.wheelSpeed, sent["hub"], r))
	}
	if k.machine.controllable {
		add(plain{recording.MachineSpeed, "trainer", 1 + between(-0.002, 0.002, r), 0.002, 0, 0.001, 0.2}.channel(t.rollerSpeed, sent["trainer"], r))
	}
	if k.Setup == Hub || k.Setup == Crank {
		share, even := make([]float64, len(t.cadence)), between(0.49, 0.51, r)
		for i, c := range t.cadence {
			if c > 0 {
				share[i] = even
			}
		}
		add(plain{recording.LeftShare, "pedals", 1, 0.02, 0, 0.005, 0.1}.channel(share, sent["pedals"], r))
	}
}

// lock has the belt count the cranks while the recording shows them turn; the
// size is the share of that time in which it does.
func (k *check) lock(belt *recording.Channel, t *trace) {
	turning, locked := 0.0, 0.0
	for i, s := range belt.Seconds {
		c := t.cadence[min(int(s*perSecond), len(t.cadence)-1)]
		if c <= 30 || k.Setup == Alone && within([]span{k.zero()}, s) {
			continue
		}
		turning++
		if within(k.locked, s) {
			belt.Values[i] = math.Round(c)
			locked++
		}
	}
	if k.Subject == rig.LockedHeart {
		k.size = locked / turning
	}
}

func (k *check) input(rec *recording.Recording, r *rand.Rand) rig.CheckInput {
	in := rig.CheckInput{Recording: rec, Phases: phases(k.parts), Threshold: k.rider.threshold, Side: map[string]rig.SourceKind{}}
	in.Rig = rig.Rig{Gears: rig.Gears{Chainrings: k.machine.rings, Cogs: k.machine.cogs}, CadenceSensor: true,
		HeartRate: k.Setup != Hub && k.Setup != Crank, SpeedSensor: k.Setup == Both || k.Setup == Curve || k.Setup == Hub}
	if !k.machine.controllable {
		in.Rig.Trainer.Kind = rig.Plain
	}
	in.Rig.Source.Kind = rig.SourceCurve
	if k.Setup == Curve {
		in.Rig.Trainer.Curve = k.machine.curve()
	}
	for _, m := range k.meters {
		in.Side[m.source] = m.kind
		in.Rig.Source = rig.PowerSource{Name: m.source, Kind: m.kind}
	}
	if k.Setup == Both || k.Setup == Curve {
		in.Circumference = k.machine.wheel * k.set
		in.Rig.WheelCircumference = in.Circumference
	}
	tape := k.machine.wheel * (1 + tapeSD*r.NormFloat64())
	if k.Setup == Curve {
		in.TrueCircumference = tape
	}
	return in
}
