package capacity

import "math"

// A heart during a ride, and how far people differ from it. The line goes from
// rest to 92 % of the heart-rate reserve at critical power: Swain's line
// (heartShare) puts 85 % of maximal oxygen uptake, about critical power, at
// 92 % of the maximum. The creep over a long ride and its time are our
// judgement, as are the spreads.
const (
	heartAtCP    = 0.92
	heartRises   = 57.0   // s, on-kinetics, 55.7 to 59.5 s (see HeartBandFrom)
	heartFalls   = 75.0   // s
	heartCreep   = 0.17   // of the reserve for each unit of effort above heartCreepOn
	heartCreepOn = 0.4    // share of critical power
	heartCreeps  = 2400.0 // s
	// HeartAtCPSD is the spread between people of the share of the reserve at
	// critical power; 3.9 % of the maximum is heartSpread as an sd.
	HeartAtCPSD = 0.04
	// HeartMaxSD is by how much a measured maximum is off, as a fraction: the
	// highest of one test is not always reached.
	HeartMaxSD = 0.03
	// heartRest is taken when nobody knows better, in bpm.
	heartRest = 58.0
)

// HeartDoubt is the sd of where a rider's heart beats about the heart expected
// here, as a share of the reserve: people, their maximum (1.9 is the square of
// 0.95 of it near critical power over a reserve of 0.69 of it), and the creep.
var HeartDoubt = math.Sqrt(HeartAtCPSD*HeartAtCPSD + HeartMaxSD*HeartMaxSD*1.9 + 0.02*0.02)

// Heart is the expected heart of a rider with a maximum in bpm. It is moved
// second by second by the effort as a share of critical power.
type Heart struct {
	Max   float64 // bpm
	rate  float64 // bpm; 0 before the first step
	creep float64 // share of the reserve
}

// Reserve is the maximum less rest, bpm.
func (h *Heart) Reserve() float64 { return h.Max - heartRest }

// Step moves the heart by a time in seconds at an effort (watts over critical
// power) and is where it then beats, in bpm.
func (h *Heart) Step(effort, seconds float64) float64 {
	if h.rate == 0 {
		h.rate = heartRest + 12
	}
	h.creep += (heartCreep*math.Max(0, math.Min(effort, 1.1)-heartCreepOn) - h.creep) * -math.Expm1(-seconds/heartCreeps)
	want := math.Min(h.Max, heartRest+10*(1-math.Min(effort, 1))+h.Reserve()*(heartAtCP*math.Min(effort, 1.08)+h.creep))
	tau := heartRises
	if want < h.rate {
		tau = heartFalls
	}
	h.rate += (want - h.rate) * -math.Expm1(-seconds/tau)
	return h.rate
}
