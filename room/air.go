package room

import (
	"math"

	"chainline/physics"
)

// The room is one well-mixed zone of air that exchanges heat with the surfaces
// around it and air with the outside or the rest of the house.

const (
	airHeat      = 1.2 * 1006 // J/(m³·K), density times heat capacity of air
	vapourHeat   = 2.43e6     // J/kg, heat of evaporation of sweat at skin temperature (memory: 2430 J/g)
	gasOfVapour  = 461.5      // J/(kg·K), specific gas constant of water vapour
	surfaceHeat  = 5.0        // W/(m²·K) from air to walls; our judgement
	surfaceStore = 20e3       // J/(m²·K), what of walls and furniture warms within an hour or two; our judgement: a sheet of plasterboard and some
	// vapourStore is how much water the room takes up for each part its air
	// keeps, itself included: surfaces buffer moisture (Rode et al. 2005,
	// Nordic Symposium on Building Physics, abstract), the number is our
	// judgement.
	vapourStore = 3.0
)

// Zone is the room as an air volume with surfaces.
type Zone struct {
	Volume             float64 // m³
	Exchange           float64 // m³/s of air in and out
	OutsideTemperature float64 // °C of the air that comes in
	OutsideVapour      float64 // kg/m³
	Conductance        float64 // W/K from air to surfaces
	Capacity           float64 // J/K of the surfaces
	VapourStore        float64 // ≥ 1, water taken up over water kept in the air
}

// Air is the state of the zone. Surfaces start at the air's temperature.
type Air struct {
	Temperature float64 // °C
	Vapour      float64 // kg/m³
	Surface     float64 // °C of the walls
	Condensed   float64 // kg that found no room in the air
}

// newZone is the zone of a volume, with the surfaces of a cube.
func newZone(volume, exchange, walls, store float64) Zone {
	area := 6 * math.Cbrt(volume) * math.Cbrt(volume)
	return Zone{Volume: volume, Exchange: exchange, Conductance: surfaceHeat * walls * area,
		Capacity: surfaceStore * walls * area, VapourStore: store}
}

// VapourDensity is the kg/m³ of vapour in air at a temperature (°C) and a
// relative humidity (fraction).
func VapourDensity(temperature, humidity float64) float64 {
	return humidity * physics.SaturationPressure(temperature) / (gasOfVapour * (temperature + 273.15))
}

// Pressure is the partial pressure of the vapour in kPa.
func (a Air) Pressure() float64 { return a.Vapour * gasOfVapour * (a.Temperature + 273.15) / 1000 }

// Humidity is the relative humidity, fraction.
func (a Air) Humidity() float64 {
	return 1000 * a.Pressure() / physics.SaturationPressure(a.Temperature)
}

// Step moves the air on by dt seconds with constant sensible heat (W) and
// vapour (kg/s) put in. The air's exponential approach is exact while the
// surfaces stand still; they take the mean of the step, so that energy and
// water balance to rounding. Vapour beyond saturation condenses; its heat is
// left out.
func (z Zone) Step(a Air, dt, heat, vapour float64) Air {
	inflow := airHeat * z.Exchange
	next := a
	var mean float64
	next.Temperature, mean = approach(a.Temperature, dt, airHeat*z.Volume,
		inflow+z.Conductance, heat+inflow*z.OutsideTemperature+z.Conductance*a.Surface)
	if z.Capacity > 0 {
		next.Surface = a.Surface + dt*z.Conductance*(mean-a.Surface)/z.Capacity
	}
	next.Vapour, _ = approach(a.Vapour, dt, z.VapourStore*z.Volume, z.Exchange, vapour+z.Exchange*z.OutsideVapour)
	if most := VapourDensity(next.Temperature, 1); next.Vapour > most {
		next.Condensed += (next.Vapour - most) * z.VapourStore * z.Volume
		next.Vapour = most
	}
	return next
}

// approach solves capacity·dx/dt = source − loss·x over dt and gives x at the
// end and its mean.
func approach(x, dt, capacity, loss, source float64) (end, mean float64) {
	if loss == 0 {
		end = x + dt*source/capacity
		return end, (x + end) / 2
	}
	target, rate := source/loss, dt*loss/capacity
	decay := -math.Expm1(-rate)
	return x + (target-x)*decay, target + (x-target)*decay/rate
}
