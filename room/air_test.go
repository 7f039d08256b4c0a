package room

import (
	"math"
	"testing"
)

// With surfaces that never warm the air obeys C·dT/dt = Q − G·(T − T₀): an
// exponential approach, exact whatever the step; without surfaces the steady
// state is T₀ + Q/(ρc·V̇), and water ρ₀ + ṁ/V̇ (own derivation).
func TestAnalyticZoneApproach(t *testing.T) {
	z := Zone{Volume: 30, Exchange: 0.05, OutsideTemperature: 12, OutsideVapour: 0.006, Conductance: 80, VapourStore: 2}
	const heat, vapour, seconds = 500.0, 1e-4, 1800.0
	for _, steps := range []int{1, 7, 60} {
		a := Air{Temperature: 20, Surface: 20, Vapour: 0.008}
		for range steps {
			a = z.Step(a, seconds/float64(steps), heat, vapour)
		}
		g := airHeat*0.05 + 80
		steady := (heat + airHeat*0.05*12 + 80*20) / g
		near(t, "temperature", a.Temperature, steady+(20-steady)*math.Exp(-seconds*g/(airHeat*30)), 1e-9)
		wet := 0.006 + vapour/0.05
		near(t, "vapour", a.Vapour, wet+(0.008-wet)*math.Exp(-seconds*0.05/60), 1e-12)
	}
	open := Zone{Volume: 30, Exchange: 0.05, OutsideTemperature: 12, VapourStore: 1}
	near(t, "steady", open.Step(Air{Temperature: 20}, 1e6, heat, 0).Temperature, 12+heat/(airHeat*0.05), 1e-9)
}

// With surfaces, air and surface are two coupled linear stores. The eigenvalues
// λ of the 2×2 system give the exact answer; minute steps meet it to 0.02 °C
// (own derivation).
func TestAnalyticZoneWithWalls(t *testing.T) {
	z := newZone(30, 0.02, 1, 1)
	z.OutsideTemperature = 20
	const heat, seconds = 600.0, 3600.0
	a := Air{Temperature: 20, Surface: 20}
	for range 60 {
		a = z.Step(a, 60, heat, 0)
	}
	// d/dt (x, y) = M·(x − x∞, y − x∞) with x, y above 20 °C and x∞ = Q/(ρcV̇).
	ca, in := airHeat*30, airHeat*0.02
	m11, m12, m21 := -(in+z.Conductance)/ca, z.Conductance/ca, z.Conductance/z.Capacity
	m22 := -m21
	mean, root := (m11+m22)/2, math.Sqrt((m11-m22)*(m11-m22)/4+m12*m21)
	l1, l2, end := mean+root, mean-root, heat/in
	// exp(M·t) by Sylvester's formula applied to (−end, −end).
	e1, e2 := math.Exp(l1*seconds), math.Exp(l2*seconds)
	mx, my := -end*(m11+m12), -end*(m21+m22)
	x := end + (e1*(mx+l2*end)-e2*(mx+l1*end))/(l1-l2)
	y := end + (e1*(my+l2*end)-e2*(my+l1*end))/(l1-l2)
	near(t, "air", a.Temperature, 20+x, 0.02)
	near(t, "surface", a.Surface, 20+y, 0.02)
}

// Energy and water are kept: what the rider, trainer and fan put in is in the
// air, in the surfaces, or has gone out; what evaporated is in the air and the
// surfaces, has gone out or has condensed; and metabolism is work, loss and
// storage in the body (own derivation).
func TestAnalyticBalancesClose(t *testing.T) {
	for _, volume := range []float64{8, 30} {
		c := NewCase(Room{Temperature: 22, TemperatureKnown: true, Humidity: 0.7, HumidityKnown: true, Volume: volume, Openings: Closed,
			Fans: []Fan{{1, Floor, 1, High}}}, Body{Mass: 80}, Effort{Watts: 250, Seconds: 5400}, Doubt{})
		var in, out, water, wet, stored, produced float64
		area := BodySurface(c.Mass, c.Height)
		last := Air{Temperature: c.Temperature, Surface: c.Temperature, Vapour: c.StartVapour}
		first, before := last, newBody(c.Temperature)
		begin := before
		l, _ := c.load(c.Watts)
		ride := c.run(c.Watts, func(_ float64, b bodyState, a Air) {
			heat := (b.dry+b.breathDry)*area + c.Watts + c.FanWatts
			_, mean := approach(last.Temperature, step, airHeat*c.Zone.Volume, airHeat*c.Zone.Exchange+c.Zone.Conductance, heat+airHeat*c.Zone.Exchange*c.Zone.OutsideTemperature+c.Zone.Conductance*last.Surface)
			in += step * heat
			out += step * airHeat * c.Zone.Exchange * (mean - c.Zone.OutsideTemperature)
			vapour := (b.evaporated + b.breathWet) * area / vapourHeat
			_, wetMean := approach(last.Vapour, step, c.Zone.VapourStore*c.Zone.Volume, c.Zone.Exchange, vapour+c.Zone.Exchange*c.Zone.OutsideVapour)
			water += step * vapour
			wet += step * c.Zone.Exchange * (wetMean - c.Zone.OutsideVapour)
			produced += step * (l.metabolic - l.work - b.dry - b.evaporated - b.breathDry - b.breathWet)
			held := l.heatPerArea * (b.shell*b.skin + (1-b.shell)*b.core - before.shell*before.skin - (1-before.shell)*before.core)
			near(t, "heat stored in a minute", held, step*b.stored, 1e-6*l.heatPerArea)
			stored += held
			last, before = a, b
		})
		air := airHeat*c.Zone.Volume*(last.Temperature-first.Temperature) + c.Zone.Capacity*(last.Surface-first.Surface)
		near(t, "room's heat", (air+out)/in, 1, 1e-9)
		kept := c.Zone.VapourStore * c.Zone.Volume * (last.Vapour - first.Vapour)
		near(t, "room's water", (kept+wet+last.Condensed)/water, 1, 1e-9)
		near(t, "evaporated", ride.Evaporated/water, 1, 1e-9)
		near(t, "body's heat", stored/produced, 1, 1e-9)
		if volume == 8 && last.Condensed == 0 {
			t.Error("a closed cupboard did not condense: the balance above did not cover it")
		}
		if begin.core >= before.core {
			t.Error("nobody got warmer")
		}
	}
}

func TestRoomNotTypedIsWide(t *testing.T) {
	known := Look(Room{Temperature: 21, TemperatureKnown: true, Humidity: 0.5, HumidityKnown: true, Volume: 30, Openings: DoorOpen}, Body{Mass: 75}, Effort{Watts: 180, Seconds: 3600})
	unknown := Look(Room{}, Body{Mass: 75}, Effort{Watts: 180, Seconds: 3600})
	width := func(o Outlook) (t, h float64) {
		return o.EndTemperature.High80 - o.EndTemperature.Low80, o.EndHumidity.High80 - o.EndHumidity.Low80
	}
	kt, kh := width(known)
	ut, uh := width(unknown)
	if ut < 1.3*kt || uh < 1.3*kh {
		t.Errorf("unknown room %.2f °C and %.2f wide, known %.2f and %.2f", ut, uh, kt, kh)
	}
	if known.Assumed != "" || unknown.Assumed == "" {
		t.Errorf("assumed: %q, %q", known.Assumed, unknown.Assumed)
	}
}
