package debrief

import (
	"math"
	"math/rand/v2"

	"chainline/estimate"
)

// Response over time: Banister's impulse-response model of fitness and
// fatigue, as published, with its constants stated and as wide as they are
// known.

// ImpulseResponse are the constants of
//
//	p(n) = Base + FitnessGain·g(n) − FatigueGain·h(n)
//	g(n) = g(0)·e^(−n/FitnessDays) + Σ w(i)·e^(−(n−i)/FitnessDays), i < n
//
// and h likewise: day n does not hold its own load w(n).
type ImpulseResponse struct {
	Base                     float64
	FitnessGain, FatigueGain float64
	FitnessDays, FatigueDays float64 // > 0
}

// State is fitness g, fatigue h and net response p of one day, in the unit of
// the loads (p: times the gains).
type State struct{ Fitness, Fatigue, Net float64 }

// Usual is the rider of whom nothing was fitted. Hellard et al. 2006, J Sports
// Sci 24:509 (abstract only), nine elite swimmers: 38 and 19 days, and 19 days
// from a load until its response is no longer negative; the last gives the
// ratio of the gains (computed: e^(19·(38−19)/(38·19)) = 1.65). Base and
// FitnessGain only scale; net response is no prediction of a race.
var Usual = ImpulseResponse{FitnessGain: 1, FatigueGain: math.Exp(usualRecovery * (usualFitness - usualFatigue) / (usualFitness * usualFatigue)), FitnessDays: usualFitness, FatigueDays: usualFatigue}

// The constants of Usual and how far riders differ from them: the published 95
// % intervals of 17 to 59, 6 to 32 and 7 to 35 days, taken as normal.
const (
	usualFitness, fitnessSD   = 38.0, (59 - 17) / 3.92 // days
	usualFatigue, fatigueSD   = 19.0, (32 - 6) / 3.92
	usualRecovery, recoverySD = 19.0, (35 - 7) / 3.92
)

// Respond is the state of every day 0 … len(loads), from the state before the
// first: loads[i] is what day i cost, and the last state is that of the day
// after the last load. start.Net is not read.
func (m ImpulseResponse) Respond(loads []float64, start State) []State {
	fitness, fatigue := math.Exp(-1/m.FitnessDays), math.Exp(-1/m.FatigueDays)
	out := make([]State, len(loads)+1)
	g, h := start.Fitness, start.Fatigue
	for i := range out {
		if i > 0 {
			g, h = (g+loads[i-1])*fitness, (h+loads[i-1])*fatigue
		}
		out[i] = State{g, h, m.Base + m.FitnessGain*g - m.FatigueGain*h}
	}
	return out
}

// Steady is the state that one unit of load every day settles at: the sum of
// the geometric series, 1/(e^(1/τ) − 1).
func (m ImpulseResponse) Steady() State {
	g, h := 1/math.Expm1(1/m.FitnessDays), 1/math.Expm1(1/m.FatigueDays)
	return State{g, h, m.Base + m.FitnessGain*g - m.FatigueGain*h}
}

// Turns are the days from a load until its response is no longer negative, and
// until it is highest:
//
//	τ₁τ₂/(τ₁−τ₂)·ln(k₂/k₁)   and   τ₁τ₂/(τ₁−τ₂)·ln(τ₁k₂/(τ₂k₁))
//
// with τ₁, k₁ of fitness and τ₂, k₂ of fatigue; τ₁ > τ₂ and k₂ > k₁.
func (m ImpulseResponse) Turns() (recovered, highest float64) {
	days := m.FitnessDays * m.FatigueDays / (m.FitnessDays - m.FatigueDays)
	return days * math.Log(m.FatigueGain/m.FitnessGain), days * math.Log(m.FitnessDays*m.FatigueGain/(m.FatigueDays*m.FitnessGain))
}

// Band is fitness, fatigue and net response of one day with 80 % intervals:
// as a steady load a day that would give them, so that they compare with what
// is ridden.
type Band struct{ Fitness, Fatigue, Net estimate.Estimate }

// responders are how many riders a band is drawn from.
const responders = 400

// Bands is the response to daily loads (th) of a rider of whom nothing was
// fitted: the intervals are how riders differ, which is wide. start is the
// steady load a day ridden before the first (th). Fitness and fatigue are
// divided by what one unit a day settles at, and net response is fitness minus
// fatigue of these: zero in balance. That scaling is our judgement; the
// published form is Respond.
func Bands(loads []float64, start float64, random *rand.Rand) []Band {
	n := len(loads) + 1
	draws := make([][3][]float64, n)
	for i := range draws {
		for k := range draws[i] {
			draws[i][k] = make([]float64, 0, responders)
		}
	}
	for range responders {
		m := someone(random)
		steady := m.Steady()
		states := m.Respond(loads, State{Fitness: start * steady.Fitness, Fatigue: start * steady.Fatigue})
		for i, s := range states {
			g, h := s.Fitness/steady.Fitness, s.Fatigue/steady.Fatigue
			for k, v := range [3]float64{g, h, g - h} {
				draws[i][k] = append(draws[i][k], v)
			}
		}
	}
	out := make([]Band, n)
	const origin = "impulse-response model, constants as riders differ"
	for i, d := range draws {
		out[i] = Band{estimate.FromDraws(d[0], origin), estimate.FromDraws(d[1], origin), estimate.FromDraws(d[2], origin)}
	}
	return out
}

// someone is a rider whose constants differ as the published intervals do;
// fitness outlasts fatigue by a fifth at least (our judgement: else the two
// cannot be told apart).
func someone(random *rand.Rand) ImpulseResponse {
	for {
		m := ImpulseResponse{FitnessGain: 1, FitnessDays: usualFitness + fitnessSD*random.NormFloat64(), FatigueDays: usualFatigue + fatigueSD*random.NormFloat64()}
		recovery := usualRecovery + recoverySD*random.NormFloat64()
		if m.FatigueDays < 3 || m.FitnessDays < 1.2*m.FatigueDays || recovery < 1 {
			continue
		}
		m.FatigueGain = math.Exp(recovery * (m.FitnessDays - m.FatigueDays) / (m.FitnessDays * m.FatigueDays))
		return m
	}
}
