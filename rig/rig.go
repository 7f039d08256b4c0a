// Package rig answers what the equipment is and what it can hold: trainer,
// power source, gears and sensors, the language its cues can speak, the watts
// it can reach, and the wheel speed of a trainer that shows no watts.
package rig

import "math"

// Kind is what the rider pedals against.
type Kind int

const (
	Controllable Kind = iota // brakes to target watts by command
	Plain                    // a fixed or hand-set brake: its watts follow its wheel speed
	Rollers                  // free rollers: watts follow wheel speed too
	Bike                     // an indoor bike: trainer, gears and source in one
)

// String is the kind in words.
func (k Kind) String() string {
	return [...]string{"controllable trainer", "plain trainer", "rollers", "indoor bike"}[k]
}

// SourceKind is where displayed watts are measured.
type SourceKind int

const (
	SourceNone    SourceKind = iota // nothing measures watts
	SourceTrainer                   // the trainer itself
	SourceCrank
	SourcePedal
	SourceHub
	SourceCurve // not measured: computed from wheel speed by the trainer's power curve
)

// String is the source kind in words.
func (k SourceKind) String() string {
	return [...]string{"none", "trainer", "crank", "pedal", "hub", "curve"}[k]
}

// PowerSource is what displays watts.
type PowerSource struct {
	Name     string
	Kind     SourceKind
	Accuracy float64 // fraction, sd of its scale; 0 unknown, see Rig.SourceSD
}

// Trainer is what the rider pedals against.
type Trainer struct {
	Kind  Kind
	Curve PowerCurve // of a plain trainer or rollers; the zero value is an unknown curve
	// Floor and Ceiling are the least and most watts a controllable trainer's
	// brake can hold at a wheel speed; empty when unknown.
	Floor, Ceiling BrakeTable
}

// Gears of the bike on the trainer, as numbers of teeth; empty when unknown.
type Gears struct{ Chainrings, Cogs []int }

// CadenceRange is how fast the rider is willing to pedal, in rpm, with
// Low ≤ Preferred ≤ High.
type CadenceRange struct{ Low, Preferred, High float64 }

// DefaultCadence is our judgement of what most riders pedal without a thought.
var DefaultCadence = CadenceRange{Low: 70, Preferred: 85, High: 100}

// DefaultWheelCircumference in metres, of a 25 mm tyre on a 622 mm rim.
// Source: common practice (the usual table value, 2105 mm).
const DefaultWheelCircumference = 2.105

// Rig is one rider's set-up.
type Rig struct {
	Trainer            Trainer
	Source             PowerSource
	Gears              Gears
	Cadence            CadenceRange // the zero value is read as DefaultCadence
	WheelCircumference float64      // m; 0 is read as DefaultWheelCircumference
	HeartRate          bool         // a heart-rate sensor is worn
	SpeedSensor        bool         // wheel speed is shown
	CadenceSensor      bool
	SensorsAssumed     bool // the three above were not stated
}

// Language is what a cue can be led by.
type Language int

const (
	Feel       Language = iota // nothing is shown: how it feels
	WheelSpeed                 // speed of the trainer's wheel, never that of the road
	Watts
)

// String is the language in words.
func (l Language) String() string { return [...]string{"feel", "wheel speed", "watts"}[l] }

// Speaks is the language of this rig's cues: watts where a meter shows them
// or a controllable trainer holds them; wheel speed where the watts of a
// plain trainer or rollers follow from the speed that a sensor shows; else
// feel. Watts computed from a power curve are wheel speed in disguise and do
// not count as shown.
func (r Rig) Speaks() Language {
	switch {
	case r.Trainer.Kind == Controllable, r.measures():
		return Watts
	case r.bySpeed() && r.SpeedSensor:
		return WheelSpeed
	default:
		return Feel
	}
}

func (r Rig) measures() bool { return r.Source.Kind != SourceNone && r.Source.Kind != SourceCurve }

func (r Rig) bySpeed() bool { return r.Trainer.Kind == Plain || r.Trainer.Kind == Rollers }

// Scale errors of power sources as standard deviations (fractions), used when
// the rider states none. How known: abstracts only.
const (
	// meterSD: 54 mobile meters of 9 makers against first principles on a
	// treadmill, −0.9 ± 3.2 % (mean ± SD). Maier, Schmid, Müller, Steiner and
	// Wehrlin 2017, Int J Sports Med 38:456.
	meterSD = 0.032
	// trainerSD: typical error of estimate of an electromagnetic wheel-on
	// trainer against a hub meter, 3.5 % (3.2-3.9). Peiffer and Losco 2011,
	// Int J Sports Med.
	trainerSD = 0.035
)

// SourceSD is the standard deviation (fraction) of the scale of the watts
// this rig shows, and in words where it comes from. The accuracy the rider
// stated comes first. Without a source the watts are those of the power
// curve; the sd is 0 only where nothing shows watts at all.
func (r Rig) SourceSD() (sd float64, origin string) {
	if r.Source.Accuracy > 0 {
		return r.Source.Accuracy, "as stated for the rig"
	}
	switch r.Source.Kind {
	case SourceCrank, SourcePedal, SourceHub:
		return meterSD, "54 mobile meters, Maier et al. 2017"
	case SourceTrainer:
		if r.Trainer.Kind == Bike {
			return trainerSD, "our judgement: as a wheel-on trainer (Peiffer and Losco 2011)"
		}
		return trainerSD, "a wheel-on trainer, Peiffer and Losco 2011"
	}
	if r.bySpeed() {
		c := r.curve()
		return c.SD, c.From
	}
	if r.Trainer.Kind == Controllable {
		return trainerSD, "a wheel-on trainer, Peiffer and Losco 2011"
	}
	return 0, "nothing shows watts"
}

func (r Rig) curve() PowerCurve {
	if !r.Trainer.Curve.Known() {
		return UnknownCurve()
	}
	return r.Trainer.Curve
}

func (r Rig) cadence() CadenceRange {
	if r.Cadence == (CadenceRange{}) {
		return DefaultCadence
	}
	return r.Cadence
}

// speedPerRPM is the wheel speed in m/s of one rpm in a gear.
func (r Rig) speedPerRPM(g gear) float64 {
	c := r.WheelCircumference
	if c == 0 {
		c = DefaultWheelCircumference
	}
	return g.ratio() * c / 60
}

// Limits are the least and most watts that this rig can hold over all its
// gears and cadences; 0 and +Inf where nothing is known of them. Of a plain
// trainer they are the watts of its curve at the slowest and fastest wheel
// speed the gears allow.
func (r Rig) Limits() (floor, ceiling float64) {
	gears := r.gears()
	typed := r.bySpeed() && r.Trainer.Curve.Known()
	if len(gears) == 0 || !typed && r.Trainer.Kind != Controllable {
		return 0, math.Inf(1)
	}
	floor, ceiling = math.Inf(1), math.Inf(-1)
	for _, v := range r.turningPoints(gears) {
		if typed {
			w := r.Trainer.Curve.Watts(v)
			floor, ceiling = math.Min(floor, w), math.Max(ceiling, w)
			continue
		}
		low, high := r.brake(v)
		floor, ceiling = math.Min(floor, low), math.Max(ceiling, high)
	}
	return floor, ceiling
}

// turningPoints are the wheel speeds where the extremes of the brake's
// piecewise linear limits over all gears can lie.
func (r Rig) turningPoints(gears []gear) []float64 {
	var at []float64
	c := r.cadence()
	for _, g := range gears {
		k := r.speedPerRPM(g)
		at = append(at, k*c.Low, k*c.High)
		for _, table := range []BrakeTable{r.Trainer.Floor, r.Trainer.Ceiling} {
			for _, p := range table.points {
				if p.WheelSpeed > k*c.Low && p.WheelSpeed < k*c.High {
					at = append(at, p.WheelSpeed)
				}
			}
		}
	}
	return at
}

// brake is the least and most watts a controllable trainer holds at a wheel
// speed (m/s).
func (r Rig) brake(v float64) (low, high float64) {
	low, high = 0, math.Inf(1)
	if len(r.Trainer.Floor.points) > 0 {
		low = r.Trainer.Floor.least(v)
	}
	if len(r.Trainer.Ceiling.points) > 0 {
		high = r.Trainer.Ceiling.most(v)
	}
	return low, high
}
