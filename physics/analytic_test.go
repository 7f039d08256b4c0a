package physics

import (
	"math"
	"testing"
)

// The truths in this file are own derivations; their numbers were computed
// from the closed forms in Python (scipy), not with this package, and are
// held to 1e-6 unless a test says otherwise. The rider of all of them is 80 kg
// with drag ½ρCdA = 0.18 kg/m, Crr 0.004, efficiency 0.977, no bearings, and
// no wheel inertia unless stated.

func reference() Motion {
	return Motion{Mass: 80, Inertial: 80, Drag: 0.18, Crr: 0.004, Efficiency: 0.977}
}

// dragOnly is the reference rider without rolling resistance.
func dragOnly() Motion {
	m := reference()
	m.Crr = 0
	return m
}

func mustRide(t *testing.T, m Motion, start float64, legs ...Leg) Result {
	t.Helper()
	r, err := m.Ride(start, legs)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func TestAnalyticSteadySpeeds(t *testing.T) {
	gradients := []float64{0, 0.01, 0.02, 0.05, 0.08, 0.10, -0.02, -0.05}
	rows := map[float64][]float64{
		100: {7.446739639, 5.761382787, 4.384161899, 2.259942300, 1.478416008, 1.199576314, 10.926848056, 15.349363134},
		150: {8.716280132, 7.207396133, 5.860376513, 3.309379229, 2.201662687, 1.792339306, 11.782315896, 15.861040119},
		200: {9.712571480, 8.327331506, 7.041480828, 4.283690622, 2.907212385, 2.377029076, 12.509911102, 16.331323574},
		250: {10.546509137, 9.253437235, 8.027847130, 5.180985449, 3.591262061, 2.951502833, 13.149690348, 16.768004861},
		300: {11.271044570, 10.050127339, 8.878258854, 6.005646300, 4.251275505, 3.514005569, 13.724627670, 17.176732727},
		400: {12.500124552, 11.386643080, 10.302779559, 7.465863904, 5.494549791, 4.598078498, 14.733627397, 17.926354192},
	}
	m := reference()
	for watts, row := range rows {
		for i, want := range row {
			v := m.SpeedAt(watts, gradients[i], 0)
			near(t, "steady speed", v, want, 1e-9)
			near(t, "power at that speed", m.PowerAt(v, gradients[i], 0), watts, 1e-9)
		}
	}
	near(t, "head wind 3 m/s", m.SpeedAt(250, 0, 3), 8.739882577, 1e-9)
	near(t, "tail wind 3 m/s", m.SpeedAt(250, 0, -3), 12.531469192, 1e-9)
	for g, want := range map[float64]float64{-0.03: 10.642853410, -0.05: 14.150666615, -0.08: 18.171183657, -0.10: 20.404424578} {
		near(t, "terminal speed", m.SpeedAt(0, g, 0), want, 1e-9)
		near(t, "terminal speed, closed form", m.SpeedAt(0, g, 0), math.Sqrt(-m.Slope(g)/m.Drag), 1e-11)
	}
}

// Cardano's root of k·v³ + b·v = η·P.
func TestAnalyticCardano(t *testing.T) {
	m := reference()
	for watts := 20.0; watts <= 1000; watts += 20 {
		p, q := m.Slope(0)/m.Drag, -m.Efficiency*watts/m.Drag
		d := math.Sqrt(q*q/4 + p*p*p/27)
		want := math.Cbrt(-q/2+d) + math.Cbrt(-q/2-d)
		near(t, "speed", m.SpeedAt(watts, 0, 0), want, 1e-10)
	}
}

// d ln v/d ln P = (kv²+b)/(3kv²+b), and d ln v/d ln CdA = −kv²/(3kv²+b); at
// 250 W on the flat 0.366435 and −0.316782. One third for drag alone, one for
// climbing alone. By central differences, whose own error is below 1e-6.
func TestAnalyticSensitivities(t *testing.T) {
	m, h := reference(), 1e-4
	speed := func(m Motion, watts, g float64) float64 { return math.Log(m.SpeedAt(watts, g, 0)) }
	byPower := func(m Motion, watts, g float64) float64 {
		return (speed(m, watts*math.Exp(h), g) - speed(m, watts*math.Exp(-h), g)) / (2 * h)
	}
	byDrag := (speed(m.Sheltered(math.Exp(h)), 250, 0) - speed(m.Sheltered(math.Exp(-h)), 250, 0)) / (2 * h)
	near(t, "by power", byPower(m, 250, 0), 0.366435, 1e-6)
	near(t, "by drag area", byDrag, -0.316782, 1e-6)
	near(t, "drag alone", byPower(dragOnly(), 250, 0), 1./3, 1e-9)
	climb := m
	climb.Drag = 0
	near(t, "climb alone", byPower(climb, 250, 0.08), 1, 1e-9)
}

// Climbing slowly v → ηP/b; at 100 W it is 0.60 % too fast on 8 %, 0.19 % on
// 12 %, 0.044 % on 20 %.
func TestAnalyticSlowClimbLimit(t *testing.T) {
	m := reference()
	for _, r := range []struct{ g, percent, tol float64 }{{0.08, 0.60, 0.005}, {0.12, 0.19, 0.005}, {0.20, 0.044, 0.0005}} {
		limit := m.Efficiency * 100 / m.Slope(r.g)
		near(t, "excess of the limit (%)", 100*(limit/m.SpeedAt(100, r.g, 0)-1), r.percent, r.tol)
	}
}

// Drag alone: v = v0/(1+v0·k·t/m), x = (m/k)·ln(1+v0·k·t/m). Coasted over the
// tabled distances, so that times and speeds must come out.
func TestAnalyticCoastDownDragOnly(t *testing.T) {
	for _, r := range []struct{ t, v, x float64 }{
		{10, 11.214953271, 129.245422128}, {60, 4.958677686, 491.960485103}, {29.629629630, 7.5, 308.065413582},
	} {
		got := mustRide(t, dragOnly(), 15, Leg{Length: r.x})
		near(t, "time", got.Time(), r.t, 1e-6)
		near(t, "speed", got.Speeds[0], r.v, 1e-6)
	}
}

// Constant force and drag: v = √(F0/k)·tan(φ0 − a·t), a = √(F0·k)/m.
func TestAnalyticCoastDownFlat(t *testing.T) {
	m := reference()
	near(t, "rolling force", m.Slope(0), 3.138128, 1e-9)
	var times, speeds, xs = []float64{10, 30, 60, 100}, []float64{10.912674413, 6.759677451, 3.779182321, 1.570879653},
		[]float64{127.612189300, 299.017028330, 451.977799866, 555.538704047}
	var legs []Leg
	from := 0.0
	for _, x := range xs {
		legs = append(legs, Leg{Length: x - from})
		from = x
	}
	got := mustRide(t, m, 15, legs...)
	for i := range xs {
		near(t, "time", got.Times[i], times[i], 1e-6)
		near(t, "speed", got.Speeds[i], speeds[i], 1e-6)
	}
	between := func(v float64) float64 { // distance in which 15 m/s become v
		return m.Mass / (2 * m.Drag) * math.Log((m.Slope(0)+m.Drag*225)/(m.Slope(0)+m.Drag*v*v))
	}
	got = mustRide(t, m, 15, Leg{Length: between(10)}, Leg{Length: between(5) - between(10)})
	near(t, "15 to 10 m/s", got.Times[0], 13.204077320, 1e-6)
	near(t, "10 to 5 m/s", got.Times[1]-got.Times[0], 31.957849138, 1e-6)

	// The rider stops after 584.956627 m; standstill is called a little before.
	_, err := m.Ride(15, []Leg{{Length: 600}})
	stall, ok := err.(*StallError)
	if !ok {
		t.Fatalf("coasting 600 m: %v, want a stall", err)
	}
	near(t, "place of the stop", stall.At, 584.956626629, 0.02)
	got = mustRide(t, m, 15, Leg{Length: 584.9})
	left := 584.956626629 - 584.9
	near(t, "time to stop", got.Time()+math.Sqrt(2*m.Mass*left/m.Slope(0)), 138.302704203, 1e-3)
}

// A rig spins down like a rider coasting: P = 5v + 0.02v³, M = 25 kg takes
// 14.293072458, 17.441880852 and 19.589003781 s from 12 to 8, to 4, to 0 m/s.
// A brake F = 4v, M = 25 kg: half-time 4.332169878 s, 75 m from 12 m/s to rest.
func TestAnalyticSpinDown(t *testing.T) {
	m := Motion{Inertial: 25, Drag: 0.02, Efficiency: 1, Bearing0: 5}
	for v, watts := range map[float64]float64{5: 27.5, 8: 50.24, 10: 70, 12: 94.56} {
		near(t, "power", m.PowerAt(v, 0, 0), watts, 1e-12)
	}
	between := func(from, to float64) float64 {
		return m.Inertial / (2 * m.Drag) * math.Log((5+m.Drag*from*from)/(5+m.Drag*to*to))
	}
	got := mustRide(t, m, 12, Leg{Length: between(12, 8)}, Leg{Length: between(8, 4)}, Leg{Length: between(4, 0.1)})
	near(t, "12 to 8 m/s", got.Times[0], 14.293072458, 1e-6)
	near(t, "8 to 4 m/s", got.Times[1]-got.Times[0], 17.441880852, 1e-6)
	// below 0.1 m/s the drag is nothing: 25 kg against 5 N
	near(t, "4 to 0 m/s", got.Times[2]-got.Times[1]+25*0.1/5, 19.589003781, 1e-4)

	brake := Motion{Inertial: 25, Efficiency: 1, Bearing1: 4}
	got = mustRide(t, brake, 12, Leg{Length: 37.5})
	near(t, "half-time", got.Time(), 4.332169878, 1e-6)
	near(t, "half speed", got.Speeds[0], 6, 1e-6)
	_, err := brake.Ride(12, []Leg{{Length: 80}})
	stall, ok := err.(*StallError)
	if !ok {
		t.Fatalf("linear brake: %v, want a stall", err)
	}
	near(t, "distance to standstill", stall.At, 75*(1-slowest/12), 0.01)
}

// Drag only from rest at constant power:
// v³ = (ηP/k)(1 − e^(−3kx/m)); t = (m/(k·v_T))·[F(u) − F(0)], u = v/v_T,
// F(u) = −⅓ln(1−u) + ⅙ln(1+u+u²) − (1/√3)·atan((2u+1)/√3).
func TestAnalyticStartFromRest(t *testing.T) {
	xs := []float64{50, 100, 200, 500, 1000}
	speeds := []float64{7.755260350, 9.280302712, 10.644866712, 11.628957652, 11.760113221}
	times := []float64{9.362266826, 15.187634157, 25.133999420, 51.686044064, 94.326423960}
	var legs []Leg
	from := 0.0
	for _, x := range xs {
		legs = append(legs, Leg{Length: x - from, Watts: 300})
		from = x
	}
	m := dragOnly()
	got := mustRide(t, m, 0, legs...)
	for i := range xs {
		near(t, "speed", got.Speeds[i], speeds[i], 1e-6)
		near(t, "time", got.Times[i], times[i], 1e-6)
	}
	near(t, "final speed", m.SpeedAt(300, 0, 0), 11.764706699, 1e-9)

	m.Drag = 0 // no losses: v = √(2ηPt/m), x = √(8ηP/9m)·t^(3/2); t = 10 s
	got = mustRide(t, m, 0, Leg{Length: 57.067211835, Watts: 300})
	near(t, "time without losses", got.Time(), 10, 1e-6)
	near(t, "speed without losses", got.Speeds[0], 8.560081775, 1e-6)
}

// Released on −5 %: v = v_t·tanh(t/τ), x = v_t·τ·ln cosh(t/τ), τ = m·v_t/F.
func TestAnalyticRelease(t *testing.T) {
	m := reference()
	tau := m.Mass * m.SpeedAt(0, -0.05, 0) / -m.Slope(-0.05)
	near(t, "time constant", tau, 31.408021724, 1e-8)
	got := mustRide(t, m, 0, Leg{Length: 84.605741256, Gradient: -0.05})
	near(t, "time", got.Time(), 20, 1e-6)
	near(t, "speed", got.Speeds[0], 7.962624008, 1e-6)
}

// Two-parameter model on the flat: T solves k·v³ + b·v = η·(CP + W′/T),
// v = D/T, with CP 250 W and W′ 20 kJ.
func TestAnalyticCriticalPowerOnTheFlat(t *testing.T) {
	m := reference()
	for _, r := range []struct{ d, t, p float64 }{
		{5000, 446.437187, 294.799135}, {10000, 919.712339, 271.745930},
		{16093.44, 1497.164002, 263.358590}, {40000, 3763.623739, 255.314027},
	} {
		got := solve(func(s float64) float64 { return s - r.d/m.SpeedAt(250+20000/s, 0, 0) }, 60, 10000)
		near(t, "time", got, r.t, 1e-6)
		near(t, "power", 250+20000/got, r.p, 1e-6)
	}
}

// Equal speed on every gradient is fastest for a given mean power over time
// where there is no wind (quasi-steady). Published support, abstracts only:
// Maroński (1994), Journal of Biomechanics 27:205; Bos, Slawinski, Slawinski
// and Stanoev, arXiv 2403.03363. 5 km at +1 % and 5 km at −1 %, mean 250 W.
func TestAnalyticEqualSpeed(t *testing.T) {
	m := reference()
	constant := 5000/m.SpeedAt(250, 0.01, 0) + 5000/m.SpeedAt(250, -0.01, 0)
	near(t, "constant power", constant, 962.027545, 1e-6)
	v := solve(func(v float64) float64 { return (m.PowerAt(v, 0.01, 0)+m.PowerAt(v, -0.01, 0))/2 - 250 }, 5, 15)
	near(t, "equal speed", v, 10.546535318, 1e-8)
	near(t, "its time", 10000/v, 948.178686, 1e-6)
	near(t, "power up", m.PowerAt(v, 0.01, 0), 334.684552, 1e-5)
	near(t, "power down", m.PowerAt(v, -0.01, 0), 165.315448, 1e-5)
	// no penalty for the hill at its optimum but for the cosine of the slope
	near(t, "flat 10 km", 10000/m.SpeedAt(250, 0, 0), 948.181040, 1e-6)
	plan := meanPowerPlan(m, 5000, 0.01, 0)
	for _, more := range []float64{-20, -5, 5, 20} {
		if total, _ := plan(334.684552 + more); total <= 10000/v {
			t.Errorf("%+g W uphill: %.6f s, faster than equal speed", more, total)
		}
	}
}

// With a head wind w the best speeds hold v²(v + w) constant: 10 km against
// and 10 km with 3 m/s, mean 250 W over time.
func TestAnalyticHeadWindOptimum(t *testing.T) {
	m := reference()
	constant := 10000/m.SpeedAt(250, 0, 3) + 10000/m.SpeedAt(250, 0, -3)
	near(t, "constant power", constant, 1942.171161, 1e-6)
	plan := meanPowerPlan(m, 10000, 0, 3)
	lo, hi := 251.0, 400.0
	for range 100 {
		a, b := lo+(hi-lo)*0.382, hi-(hi-lo)*0.382
		ta, _ := plan(a)
		tb, _ := plan(b)
		if ta < tb {
			hi = b
		} else {
			lo = a
		}
	}
	into := 0.5 * (lo + hi)
	total, with := plan(into)
	near(t, "best time", total, 1929.247133, 1e-6)
	// the optimum is flat, so powers and speeds come out of a search less sharply
	near(t, "power into the wind", into, 300.771466, 1e-3)
	near(t, "power with the wind", with, 188.425610, 1e-3)
	v1, v2 := m.SpeedAt(into, 0, 3), m.SpeedAt(with, 0, -3)
	near(t, "speed into the wind", v1, 9.457342, 2e-5)
	near(t, "speed with the wind", v2, 11.469632, 2e-5)
	near(t, "v²(v+w) into the wind", v1*v1*(v1+3), 1114.200959, 0.01)
	near(t, "v²(v+w) with the wind", v2*v2*(v2-3), 1114.200959, 0.01)
}

// meanPowerPlan gives the time of two equal lengths, the second with the
// opposite gradient and wind, and the power of the second that keeps the mean
// over time at 250 W when the first is ridden at hard watts.
func meanPowerPlan(m Motion, length, gradient, wind float64) func(hard float64) (seconds, easy float64) {
	return func(hard float64) (float64, float64) {
		t1 := length / m.SpeedAt(hard, gradient, wind)
		easy := solve(func(p float64) float64 {
			t2 := length / m.SpeedAt(p, -gradient, -wind)
			return hard*t1 + p*t2 - 250*(t1+t2)
		}, 1, 250)
		return t1 + length/m.SpeedAt(easy, -gradient, -wind), easy
	}
}
