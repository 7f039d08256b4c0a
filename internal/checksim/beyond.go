package checksim

import (
	"math"
	"math/rand/v2"

	"chainline/internal/sensor/bench"
	"chainline/recording"
	"chainline/rig"
)

// Beyond are faults that are not rows of the fault matrix. Their sizes are in
// the unit of the finding, but where a comment says otherwise.
var Beyond = []Fault{
	// Share of threshold by which the brake's ceiling lies below the most that
	// is asked (0.90); negative: its floor above the least (0.40).
	{Subject: rig.BrakeLimits, Sizes: [3]float64{0.12, 0.2, 0.3}, Shows: []Setup{Both, Alone}, Signed: true, Because: "needs a brake that is told watts"},
	{Subject: rig.WrongWheel, Sizes: [3]float64{0.6, 0.8, 1}, Shows: []Setup{Both, Curve}, Because: "needs a speed sensor"},
	{Subject: rig.PowerNoCadence, Sizes: [3]float64{0.02, 0.05, 0.20}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs watts and cadence"},
	{Subject: rig.CadenceNoPower, Sizes: [3]float64{0.03, 0.06, 0.20}, Shows: []Setup{Both, Alone, Hub, Crank}, Because: "needs watts and cadence"},
	{Subject: rig.Impossible, Sizes: [3]float64{2, 6, 20}, Shows: Setups},
	{Subject: rig.AgainstPhysics, Sizes: [3]float64{0.06, 0.12, 0.24}, Shows: []Setup{Hub}, Signed: true, Because: "needs watts, wheel speed and a curve fitted before"},
	{Subject: rig.AgainstHistory, Sizes: [3]float64{0.12, 0.25, 0.40}, Shows: []Setup{Alone, Both}, Because: "needs watts, heart rate and earlier rides"},
	{Subject: rig.FirmwareChange, Sizes: [3]float64{1, 1, 1}, Shows: []Setup{Both, Hub}, Because: "needs an earlier check"},
	{Subject: rig.Fading, Sizes: [3]float64{0.02, 0.05, 0.15}, Shows: Setups},
	// A tyre softer or harder than on the days before.
	{Subject: rig.CoastDown, Sizes: [3]float64{0.08, 0.18, 0.30}, Shows: []Setup{Curve, Hub}, Signed: true, Because: "needs wheel speed and earlier coast-downs"},
	{Subject: rig.Repeatability, Sizes: [3]float64{0.08, 0.18, 0.30}, Shows: []Setup{Curve, Hub}, Because: "needs wheel speed and earlier coast-downs"},
}

// beyond is what the other faults need to be put in.
type beyond struct {
	spoiled  []span             // when a channel says nothing or nonsense
	device   string             // whose it is
	quantity recording.Quantity // what it tells
	curve    *rig.PowerCurve    // fitted before
	coasts   []rig.PastCoast
	history  []rig.PastEffort
}

// limits of a brake, as shares of threshold.
const mostAsked, leastAsked = 0.90, 0.40

// breakBeyond puts in one of Beyond. Nothing is drawn for any other case, so
// that the fault matrix stays as it is.
func (k *check) breakBeyond(r *rand.Rand) {
	end := k.parts[len(k.parts)-1].to
	switch k.Subject {
	case rig.BrakeLimits:
		v := k.speedAtBrake()
		if k.size > 0 { // 2·F/(x + 1/x) is the eddy-current brake's most
			x := v / k.machine.trainer.PeakSpeed
			k.machine.trainer.PeakForce = (mostAsked-k.size)*k.rider.threshold/v*(x+1/x)/2 - (k.machine.trainer.Drag0+k.machine.trainer.Drag2*v*v)*(x+1/x)/2
			return
		}
		k.machine.trainer.Drag0 = (leastAsked-k.size)*k.rider.threshold/v - k.machine.trainer.Drag2*v*v
	case rig.WrongWheel:
		k.device, k.quantity, k.spoiled = "speed", recording.WheelSpeed, blocks(end, k.size, r)
	case rig.PowerNoCadence:
		k.device, k.quantity, k.spoiled = k.cadenceDevice(), recording.Cadence, blocks(end, k.size, r)
	case rig.CadenceNoPower:
		k.device, k.quantity, k.spoiled = k.meters[k.faulty].source, recording.Power, blocks(end, k.size, r)
	case rig.Impossible:
		k.device, k.quantity = k.cadenceDevice(), recording.Cadence
		if (k.Setup == Both || k.Setup == Curve) && r.IntN(2) == 0 {
			k.device, k.quantity = "speed", recording.WheelSpeed
		}
	case rig.AgainstPhysics:
		k.meters[k.faulty].gain += k.size
		fitted := k.machine.curveOf(1+0.02*r.NormFloat64(), 0.02)
		k.curve = &fitted
	case rig.AgainstHistory:
		k.meters[k.faulty].gain += k.size
		k.past(r)
	case rig.Fading:
		k.device = "belt"
		if len(k.meters) > 0 {
			k.device = k.meters[k.faulty].source
		}
		for _, s := range bursts(end/2, min(0.9, 2*k.size), r) { // a battery that gives in half-way
			k.spoiled = append(k.spoiled, span{end/2 + s.from, end/2 + s.to})
		}
	case rig.CoastDown, rig.Repeatability:
		k.pastCoasts(r)
	}
}

// fades are the times in which a device alone is not heard.
func (k *check) fades(source string) []span {
	if k.Subject == rig.Fading && source == k.device {
		return k.spoiled
	}
	return k.gone
}

func (k *check) cadenceDevice() string {
	return map[Setup]string{Both: "meter", Alone: "trainer", Curve: "cadence", Hub: "pedals", Crank: "meter"}[k.Setup]
}

// speedAtBrake is the wheel speed that the rider keeps on a brake, m/s.
func (k *check) speedAtBrake() float64 {
	w := &world{gears: k.machine.gears()}
	return w.nearest(powerGear*60/k.rider.cadence) * k.rider.cadence / 60
}

// curveOf is the trainer's curve as it was fitted with some error of scale.
func (m machine) curveOf(scale, sd float64) rig.PowerCurve {
	var table []rig.Point
	for v := 2.0; v <= 16; v++ {
		table = append(table, rig.Point{WheelSpeed: v, Watts: scale * (m.a*v + m.b*v*v*v)})
	}
	c, err := rig.NewPowerCurve(table, sd, "fitted from a borrowed meter")
	if err != nil {
		panic("checksim: " + err.Error())
	}
	return c
}

// coastTime is how long the wheel takes from one speed to another by itself, s.
func (m machine) coastTime(a, from, to float64) float64 {
	k := math.Sqrt(m.b / a)
	return m.inertia / math.Sqrt(a*m.b) * (math.Atan(from*k) - math.Atan(to*k))
}

// pastCoasts are five earlier days; today the tyre is another.
func (k *check) pastCoasts(r *rand.Rand) {
	m := &k.machine
	top := m.speedFor(k.rider.threshold * cadenceShare * m.efficiency)
	from := math.Min(6, math.Floor(1.5*top)/2)
	usual := m.coastTime(m.a, from, from/2)
	scatter := 0.02
	if k.Subject == rig.Repeatability {
		scatter = k.size
	}
	for day := range 8 {
		k.coasts = append(k.coasts, rig.PastCoast{Day: float64(3*day + 3), FromMS: from, ToMS: from / 2, Seconds: usual * math.Exp(scatter*r.NormFloat64())})
	}
	printed := m.curve()
	k.curve = &printed
	today := usual * (1 + k.size)
	if k.Subject == rig.Repeatability {
		today = usual * math.Exp(scatter*r.NormFloat64())
	}
	low, high := 0.05*m.a, 8*m.a
	for range 60 {
		mid := (low + high) / 2
		if m.coastTime(mid, from, from/2) > today {
			low = mid
		} else {
			high = mid
		}
	}
	m.a = (low + high) / 2
	if k.Subject == rig.CoastDown {
		k.size = m.coastTime(m.a, from, from/2)/usual - 1
	}
}

// past are steady efforts of four minutes on five days before. From day to day
// the heart makes a twentieth of the watts more or fewer: the same judgement
// as the check's.
func (k *check) past(r *rand.Rand) {
	const daySD, h = 0.05, 0.5
	for day := range 5 {
		heart := bench.NewHeartModel(k.rider.body)
		able := k.rider.body.CriticalPower * math.Exp(daySD*r.NormFloat64())
		for range int(600 / h) {
			heart.Step(h, 0.55*k.rider.threshold/able, r)
		}
		for _, share := range []float64{0.5, 0.6, 0.7, 0.8} {
			watts, sum, n := share*k.rider.threshold, 0.0, 0.0
			for s := 0.0; s < 240; s += h {
				if rate := heart.Step(h, watts/able, r); s >= 120 {
					sum, n = sum+rate, n+1
				}
			}
			for _, m := range k.meters {
				shown := watts
				if !m.crankSide() {
					shown *= k.machine.efficiency
				}
				k.history = append(k.history, rig.PastEffort{Source: m.source, Day: float64(4*day + 3), Watts: shown, HeartRate: sum / n})
			}
		}
	}
	k.rider.body.CriticalPower *= math.Exp(daySD * r.NormFloat64()) // today's heart
}

// spoil makes a channel say what the fault makes of it.
func (k *check) spoil(rec *recording.Recording, r *rand.Rand) {
	for i := range rec.Channels {
		c := &rec.Channels[i]
		if c.Source != k.device || c.Quantity != k.quantity || k.quantity == "" {
			continue
		}
		if k.Subject == rig.Impossible {
			k.jumps(c, r)
			continue
		}
		for j, s := range c.Seconds {
			if within(k.spoiled, s) {
				c.Values[j] = 0
			}
		}
	}
}

// jumps counts a magnet twice, half as often as the watts jump: up and down.
func (k *check) jumps(c *recording.Channel, r *rand.Rand) {
	hit, in := map[int]bool{}, k.calm()
	for len(hit) < int(k.size/2) {
		j := 2 + r.IntN(len(c.Values)-4)
		if c.Seconds[j] < in.from || c.Seconds[j] > in.to || c.Values[j] == 0 || hit[j-2] || hit[j-1] || hit[j] || hit[j+1] || hit[j+2] || within([]span{k.zero()}, c.Seconds[j]) {
			continue
		}
		hit[j] = true
		c.Values[j] = c.Values[j]*2 + 40
		if c.Quantity == recording.WheelSpeed {
			c.Values[j] -= 40 - 8
		}
	}
}

// more is what the other faults let a check know.
func (k *check) more(in *rig.CheckInput) {
	if k.curve != nil && !k.machine.controllable {
		in.Rig.Trainer.Curve = *k.curve
	}
	switch k.Subject {
	case rig.AgainstPhysics:
		in.FlywheelInertia, in.FlywheelSD = k.machine.inertia, 0.1*k.machine.inertia
	case rig.FirmwareChange:
		in.Firmware = []string{k.meters[k.faulty].source}
	}
	in.Coasts, in.History = k.coasts, k.history
}

// limitMet is the mean watts behind the drivetrain where a brake met its
// limit, W: what its own meter, as sound ones are, shows then.
func (k *check) limitMet(t *trace) float64 {
	sum, n := 0.0, 0.0
	for _, p := range k.parts {
		if p.kind != rig.Easy && p.kind != rig.Steps || k.size > 0 && p.watts < (mostAsked-k.size)*k.rider.threshold/0.9+5 || k.size < 0 && p.watts > (leastAsked-k.size)*k.rider.threshold/1.1-5 {
			continue
		}
		for i := int((p.from + 20) * perSecond); i < int(p.to*perSecond); i++ {
			sum, n = sum+t.wheel[i], n+1
		}
	}
	return sum / max(1, n)
}
