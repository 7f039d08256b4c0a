package checksim

import (
	"math"
	"math/rand/v2"
	"slices"

	"chainline/rig"
)

// calm is where spikes and stuck values fall: under way, not at rest.
func (k *check) calm() span {
	zero, end := k.zero(), k.riding().to
	return span{zero.to + 10, end}
}

// breaks puts the fault of the case into the rig.
func (k *check) breaks(r *rand.Rand) {
	k.size = k.Size
	if r.IntN(2) == 0 && signed(k.Subject) {
		k.size = -k.size
	}
	if len(k.meters) > 0 {
		k.faulty = r.IntN(len(k.meters))
		if k.Subject == rig.ZeroOffset && !k.meters[k.faulty].crankSide() {
			k.faulty = 1 - k.faulty
		}
		k.breakMeter(&k.meters[k.faulty], r)
	}
	switch k.Subject {
	case rig.BrakeLag:
		k.machine.trainer.Lag = seconds(k.size)
	case rig.ControlError:
		k.machine.control = k.size
	case rig.IgnoredCommands:
		k.machine.ignores = k.size
	case rig.TyreSlip:
		k.machine.slip = k.size
	case rig.Circumference:
		k.set = 1 + k.size
	case rig.Interference:
		k.gone = bursts(k.parts[len(k.parts)-1].to, k.size, r)
	case rig.LockedHeart:
		k.locked = blocks(k.parts[len(k.parts)-1].to, k.size, r)
	case rig.LostSamples:
		if len(k.meters) == 0 {
			k.losses[0] = k.size
		}
	}
	k.breakBeyond(r)
}

func (k *check) breakMeter(m *meter, r *rand.Rand) {
	switch k.Subject {
	case rig.Gain:
		m.gain += k.size
	case rig.Offset:
		m.offset += k.size
	case rig.Delay:
		m.latency += k.size
	case rig.Smoothing:
		m.smooth = k.size
	case rig.LostSamples:
		m.loss = k.size
	case rig.Stuck:
		in := k.calm()
		m.stuck.from = between(in.from, in.to-k.size, r)
		m.stuck.to = m.stuck.from + k.size
	case rig.Spikes:
		m.spikes = int(k.size)
	case rig.WarmUpDrift:
		m.drift += k.size
	case rig.CadenceBias:
		m.cadence += k.size / cadenceSpan()
	case rig.ZeroOffset:
		m.zero += k.size
	case rig.Quantisation:
		m.quantum = k.size
	}
}

// burst is how long interference lasts at a time, s, on average.
const burst = 2.0

// bursts are the times in which nothing is heard, share of them all in all.
func bursts(until, share float64, r *rand.Rand) []span {
	var out []span
	for at := 0.0; ; {
		at += r.ExpFloat64() * burst * (1 - share) / share
		if at >= until {
			return out
		}
		end := at + burst*r.ExpFloat64()
		out = append(out, span{at, end})
		at = end
	}
}

// blocks of 30 to 120 s that come to a share of the time.
func blocks(until, share float64, r *rand.Rand) []span {
	if share >= 1 {
		return []span{{0, until + 10}}
	}
	const slot = 30.0
	n := int(until / slot)
	taken := make([]bool, n)
	for left := int(math.Round(share * float64(n))); left > 0; {
		at := r.IntN(n)
		for j := at; j < min(at+1+r.IntN(4), n) && left > 0; j++ {
			if !taken[j] {
				taken[j] = true
				left--
			}
		}
	}
	var out []span
	for j, is := range taken {
		if is {
			out = append(out, span{float64(j) * slot, float64(j+1) * slot})
		}
	}
	return slices.Clip(out)
}
