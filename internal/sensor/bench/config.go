// Package bench is the rig that is not there: a rider, a flywheel, a brake
// and sensors in virtual time, speaking the same bytes by the same codecs as
// real devices do. The same seed and the same calls at the same times give
// the same bytes, however the time between is cut.
//
// Where a number of the model has no source beside it, it is our judgement:
// the bench shows how the program behaves on a plausible rig, it is no
// evidence about any real one.
package bench

import (
	"time"

	"chainline/capacity"
)

// Config is a rig and its rider. Zero values of the parts that matter are
// filled in by New from StandardRig; a nil device is not there.
type Config struct {
	Seed  uint64
	Start time.Time // where virtual time begins
	Name  string    // begins the devices' addresses; empty: made from Seed

	Rider   Rider
	Gears   []float64     // metres of wheel per turn of the crank, ascending
	Trainer *Trainer      // one the program can set the brake of
	Plain   *Plain        // one that only turns; exactly one of the two is needed
	Meter   *Meter        // a power meter at the crank
	Pace    *SpeedCadence // a speed and cadence sensor
	Belt    *Belt         // a heart-rate belt
	Faults  []Fault       // At counts from Start
	Still   bool          // the rider does not pedal until something is shown
	History bool          // keep the truth of every second
}

// Rider is the body on the rig, and how truly it follows what it is shown.
type Rider struct {
	Mass          float64 // kg
	CriticalPower float64 // W
	WPrime        float64 // J
	MaxPower      float64 // W
	Recovery      capacity.Recovery
	RecoverySpeed float64 // multiplies the time constants; 0 is 1
	Cadence       float64 // rpm, preferred
	HeartRest     float64 // beats per minute
	HeartMax      float64 // beats per minute
	HeartAtCP     float64 // share of the heart-rate reserve at critical power; 0 is 0.92
	HeartCreep    float64 // multiplies the drift over a long ride; 0 is 1
	Bias          float64 // fraction ridden above what is shown
	Drift         float64 // fraction, sd of a slow wandering (minutes)
	Noise         float64 // fraction, sd of each second's unevenness
	Reaction      time.Duration
}

// Trainer is a trainer with a brake. Its own drag is Drag0 + Drag2·v².
type Trainer struct {
	Inertia      float64       // kg, flywheel and wheel seen at the tyre: I/r²
	Efficiency   float64       // of the drivetrain from crank to wheel
	Drag0, Drag2 float64       // N, N·s²/m²
	PeakForce    float64       // N, the brake's most, at PeakSpeed
	PeakSpeed    float64       // m/s
	Ceiling      float64       // W the brake takes at most
	Lag          time.Duration // first-order time constant of the brake
	Dead         time.Duration // between a command and its beginning
	Mass         float64       // kg of the virtual bicycle and rider in simulation
	AfterLoss    AfterLoss
	Level        float64 // fraction of the range, for RevertsTo
	EchoStatus   bool    // tells the writer its own changes too
	NoPower      bool    // cannot hold a target power
	NoSimulation bool    // cannot follow a gradient
	AlsoPower    bool    // speaks Cycling Power too
	// WideResistance is a range of 0 to 100, set in two octets only; otherwise
	// it is 0 to 20 in one or two.
	WideResistance bool
	CrrPer         float64 // units of Crr the trainer reads, 10000 (0) or 1000
	Unit           Unit
}

// AfterLoss is what a brake does when its link is lost.
type AfterLoss int

// What brakes do after a lost link.
const (
	HoldsLast AfterLoss = iota // goes on with the last target
	Releases                   // lets the wheel run
	RevertsTo                  // goes to Trainer.Level
)

// Plain is a trainer whose resistance follows from wheel speed alone:
// watts = A·v + B·v³, higher by the fraction Cold until it is warm.
type Plain struct {
	Inertia    float64 // kg at the tyre
	Efficiency float64
	A, B       float64       // N, kg/m
	Cold       float64       // fraction
	Warm       time.Duration // time constant of warming while turning
}

// Meter is a power meter at the crank: watts before the drivetrain.
type Meter struct{ Unit Unit }

// SpeedCadence counts wheel turns, crank turns or both.
type SpeedCadence struct {
	Wheel, Crank  bool
	Circumference float64 // m
	Unit          Unit
}

// Belt is a heart-rate belt with beat-to-beat intervals.
type Belt struct{ Unit Unit }

// Unit is what all sensors have.
type Unit struct {
	Bias     float64       // fraction read too high
	Noise    float64       // fraction, sd of each message
	Smooth   time.Duration // time constant of the sensor's own smoothing
	Every    time.Duration // between messages
	Battery  float64       // fraction at Start; 0 is no battery, from the mains
	Lasts    time.Duration // a full battery; 0 for ever
	Firmware string
	Asleep   bool    // silent until the cranks have turned
	Zero     float64 // N m that a meter at the crank shows when nothing is pushed
	Held     bool    // another program holds its only link
	Empty    bool    // its battery is: never heard of
}

// gears are the metres per turn of a usual road bicycle, 50/34 by 11 to 28.
func gears() []float64 {
	const circumference = 2.096
	g := []float64{}
	for _, cog := range []float64{28, 24, 21, 19} {
		g = append(g, 34/cog*circumference)
	}
	for _, cog := range []float64{24, 21, 19, 17, 15, 14, 13, 12, 11} {
		g = append(g, 50/cog*circumference)
	}
	return g
}

func rider() Rider {
	return Rider{
		Mass: 72, CriticalPower: 250, WPrime: 20_000, MaxPower: 900, Cadence: 88,
		HeartRest: 55, HeartMax: 188, Bias: 0, Drift: 0.01, Noise: 0.04, Reaction: 700 * time.Millisecond,
	}
}

// StandardRig is the rig of the embedded default: a trainer that holds a
// target power, a meter at the crank, a belt. Inertia lies between a light
// wheel-on unit and a rider on the road.
func StandardRig(seed uint64) Config {
	return Config{
		Seed: seed, Start: time.Date(2026, 1, 10, 9, 0, 0, 0, time.UTC), Rider: rider(), Gears: gears(),
		Trainer: &Trainer{
			Inertia: 25, Efficiency: 0.976, Drag0: 2, Drag2: 0.03, PeakForce: 160, PeakSpeed: 6, Ceiling: 2000,
			Lag: 1500 * time.Millisecond, Dead: 300 * time.Millisecond, Mass: 80, EchoStatus: true,
			Unit: Unit{Noise: 0.005, Smooth: 500 * time.Millisecond, Every: time.Second, Firmware: "1.0.0"},
		},
		Meter: &Meter{Unit{Bias: 0.008, Noise: 0.01, Smooth: 400 * time.Millisecond, Every: time.Second,
			Battery: 0.82, Lasts: 200 * time.Hour, Firmware: "2.1"}},
		Belt: &Belt{Unit{Noise: 0.003, Every: time.Second, Battery: 0.64, Lasts: 300 * time.Hour, Firmware: "1.2"}},
	}
}

// PlainTrainer is a bicycle on a trainer that only turns, with a speed and
// cadence sensor and a belt.
func PlainTrainer(seed uint64) Config {
	c := StandardRig(seed)
	c.Trainer, c.Meter = nil, nil
	c.Plain = &Plain{Inertia: 12, Efficiency: 0.976, A: 8, B: 0.22, Cold: 0.06, Warm: 8 * time.Minute}
	c.Pace = &SpeedCadence{Wheel: true, Crank: true, Circumference: 2.105,
		Unit: Unit{Every: time.Second, Battery: 0.9, Lasts: 400 * time.Hour, Firmware: "1.0"}}
	return c
}

// filled completes a configuration without sharing anything with it.
func (c Config) filled() Config {
	if (c.Trainer == nil) == (c.Plain == nil) {
		panic("bench: a rig has one trainer, with a brake or plain")
	}
	if c.Rider == (Rider{}) {
		c.Rider = rider()
	}
	if len(c.Gears) == 0 {
		c.Gears = gears()
	}
	if c.Start.IsZero() {
		c.Start = StandardRig(0).Start
	}
	if c.Trainer != nil {
		t := *c.Trainer
		c.Trainer = &t
	}
	return c
}
