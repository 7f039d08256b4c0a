package checksim

import (
	"math"
	"math/rand/v2"

	"chainline/recording"
	"chainline/rig"
)

// meter is what measures watts, and all that is wrong with it. At zero values
// of the faults it is only as imperfect as one that works.
type meter struct {
	source  string
	kind    rig.SourceKind
	every   float64 // s between messages
	tau     float64 // s, its own averaging
	noise   float64 // fraction, sd of a second's watts
	latency float64 // s on the way

	gain    float64 // fraction, warm
	offset  float64 // W while the cranks turn
	zero    float64 // N m at the crank
	drift   float64 // fraction of gain gained from cold to warm
	driftIn float64 // s
	cadence float64 // fraction of gain a rpm
	smooth  float64 // s, a filter that nobody asked for
	quantum float64 // W
	stuck   span
	spikes  int
	loss    float64 // chance that a message is lost
}

type span struct{ from, to float64 }

func drawMeter(source string, kind rig.SourceKind, r *rand.Rand) meter {
	return meter{source: source, kind: kind, every: []float64{1, 0.5, 0.25}[r.IntN(3)], tau: between(0.1, 0.3, r), noise: between(0.01, 0.03, r),
		latency: between(0.02, 0.1, r), gain: between(-0.003, 0.003, r), offset: between(-0.3, 0.3, r), zero: between(-0.03, 0.03, r),
		drift: between(-0.003, 0.003, r), driftIn: between(180, 300, r), cadence: between(-0.002, 0.002, r) / cadenceSpan(),
		quantum: 1, loss: between(0, 0.002, r)}
}

// scale is shown per true watt, apart from offsets.
func (m meter) scale(now, cadence float64) float64 {
	warm := (1 + m.drift*-math.Expm1(-now/m.driftIn)) / (1 + m.drift)
	return (1 + m.gain) * warm * (1 + m.cadence*(cadence-middle))
}

// middle is the cadence (rpm) at which a bias that depends on it is nothing.
const middle = 88.0

// beyond is what is shown above the scaled watts, W.
func (m meter) beyond(cadence float64) float64 { return m.offset + m.zero*cadence*math.Pi/30 }

// crankSide tells a meter before the drivetrain.
func (m meter) crankSide() bool { return m.kind == rig.SourceCrank || m.kind == rig.SourcePedal }

// seen is what the electronics average, step by step. Still cranks are zero
// watts, whatever the flywheel does; a wheel does not feel cranks turned
// backwards.
func (m meter) seen(t *trace, parts []part) []float64 {
	watts := t.wheel
	if m.crankSide() {
		watts = t.crank
	}
	out := make([]float64, len(watts))
	own, slow := keep(m.tau), 0.0
	if m.smooth > 0 {
		slow = keep(m.smooth)
	}
	a, b, k, warm := 0.0, 0.0, 0, 1.0
	for i, w := range watts {
		now := float64(i) * step
		if now >= parts[k].to-1e-9 {
			k++
		}
		if i%perSecond == 0 {
			warm = m.scale(now, middle)
		}
		x, c := 0.0, t.cadence[i]
		if c > 0 && (m.crankSide() || !parts[k].backward) {
			x = w*warm*(1+m.cadence*(c-middle)) + m.beyond(c)
		}
		a = x + (a-x)*own
		b = a + (b-a)*slow
		out[i] = b
	}
	return out
}

// lag is the mean time by which the watts shown come late, s, as they arrive.
func (m meter) lag() float64 { return m.tau + m.smooth + m.every/2 + m.latency + jitter/2 }

// jitter is how much later than due a message may arrive, s.
const jitter = 0.03

// message is what a device sends at once: the steps since the last one, and
// when it arrives.
type message struct {
	from, to int
	arrives  float64
}

// messages are those of a device that arrive, of n steps. All its channels
// come in them, and are lost together.
func messages(n int, every, latency, loss float64, gone []span, r *rand.Rand) []message {
	per := int(math.Round(every * perSecond))
	var out []message
	for to := 1 + r.IntN(per); to <= n; to += per {
		sent := float64(to) * step
		arrives := sent + latency + jitter*r.Float64()
		if r.Float64() >= loss && !within(gone, sent) {
			out = append(out, message{max(0, to-per), to, arrives})
		}
	}
	return out
}

// mean of what happened since the last message.
func (m message) mean(values []float64) float64 {
	sum := 0.0
	for _, v := range values[m.from:m.to] {
		sum += v
	}
	return sum / float64(m.to-m.from)
}

func within(spans []span, at float64) bool {
	for _, s := range spans {
		if at >= s.from && at < s.to {
			return true
		}
	}
	return false
}

// power is the channel of a meter.
func (m meter) power(t *trace, parts []part, sent []message, spikesIn span, r *rand.Rand) recording.Channel {
	c := recording.Channel{Quantity: recording.Power, Source: m.source}
	seen := m.seen(t, parts)
	last := 0.0
	for _, x := range sent {
		mean := x.mean(seen) * (1 + m.noise/math.Sqrt(m.every)*r.NormFloat64())
		shown := math.Max(0, math.Round(mean/m.quantum)*m.quantum)
		if at := float64(x.to) * step; at >= m.stuck.from && at < m.stuck.to {
			shown = last
		}
		last = shown
		c.Seconds, c.Values = append(c.Seconds, x.arrives), append(c.Values, shown)
	}
	m.spike(&c, spikesIn, r)
	return c
}

// spike lifts single messages far above what was ridden.
func (m meter) spike(c *recording.Channel, in span, r *rand.Rand) {
	hit := map[int]bool{}
	for len(hit) < m.spikes {
		i := r.IntN(len(c.Values))
		if c.Seconds[i] < in.from || c.Seconds[i] > in.to || hit[i] || hit[i-1] || hit[i+1] {
			continue
		}
		hit[i] = true
		c.Values[i] += math.Round(between(100, 800, r))
	}
}

// plain is a quantity shown with noise: true·scale·(1 + noise·N) + adds·N, in
// steps of quantum; what is below fewest is shown as 0.
type plain struct {
	quantity                            recording.Quantity
	source                              string
	scale, noise, adds, quantum, fewest float64
}

func (p plain) channel(values []float64, sent []message, r *rand.Rand) recording.Channel {
	c := recording.Channel{Quantity: p.quantity, Source: p.source}
	for _, x := range sent {
		v := x.mean(values)
		if v > p.fewest {
			v = v*p.scale*(1+p.noise*r.NormFloat64()) + p.adds*r.NormFloat64()
		} else {
			v = 0
		}
		c.Seconds = append(c.Seconds, x.arrives)
		c.Values = append(c.Values, math.Max(0, math.Round(v/p.quantum)*p.quantum))
	}
	return c
}
