package physics

import (
	"fmt"
	"math"
)

// Standard sea-level air of the road's default: U.S. Standard Atmosphere 1976.
const (
	StandardPressure    = 101325.0 // Pa
	StandardTemperature = 15.0     // °C
)

// Air is what the rider pushes through.
type Air struct {
	Temperature float64 // °C
	Pressure    float64 // Pa, at the place itself, not reduced to sea level
	Humidity    float64 // relative, 0 to 1
}

// DefaultAir is the air of a road of which nothing is known: 15 °C, dry,
// 1013.25 hPa at sea level reduced to the altitude (m) by the standard
// atmosphere. The temperature is not lowered with altitude: 15 °C is a riding
// day, our judgement, not a claim about the place.
func DefaultAir(altitude float64) Air {
	return Air{Temperature: StandardTemperature, Pressure: PressureAt(StandardPressure, altitude)}
}

// Density is the density of moist air in kg/m³ by the CIPM-2007 equation with
// a carbon dioxide fraction of 400 parts per million:
//
//	ρ = 3.483740·10⁻³·p/(Z·T)·(1 − 0.3780·x_v)
//
// Source: Picard, Davis, Gläser and Fujii (2008), Metrologia 45:149-155,
// known from a secondary text that quotes it. Its relative standard
// uncertainty is 22·10⁻⁶ where Valid returns nil. Outside, the formula is
// still evaluated: down to 0 °C and up to 40 °C it stays within 0.1 % of the
// ideal gas of dry air and vapour, far below what matters to a ride.
func (a Air) Density() float64 {
	t := a.Temperature + zeroCelsius
	x := a.vapourFraction()
	return 3.483740e-3 * a.Pressure / (a.compressibility(x) * t) * (1 - 0.3780*x)
}

// Valid says whether the air is inside the stated range of the CIPM-2007
// equation: 600 to 1100 hPa and 15 to 27 °C. The error is a warning; Density
// computes all the same.
func (a Air) Valid() error {
	switch {
	case !(a.Pressure >= 60000 && a.Pressure <= 110000):
		return fmt.Errorf("air pressure %.1f hPa is outside 600 to 1100 hPa, where the density equation is stated to hold", a.Pressure/100)
	case !(a.Temperature >= 15 && a.Temperature <= 27):
		return fmt.Errorf("air temperature %.1f °C is outside 15 to 27 °C, where the density equation is stated to hold", a.Temperature)
	case !(a.Humidity >= 0 && a.Humidity <= 1):
		return fmt.Errorf("relative humidity %.0f %% is outside 0 to 100 %%", 100*a.Humidity)
	}
	return nil
}

const zeroCelsius = 273.15 // K

// SaturationPressure is the saturation vapour pressure over water in Pa at a
// temperature in °C, in the form that belongs to CIPM-2007 (same source):
//
//	p_sv = exp(A·T² + B·T + C + D/T)
func SaturationPressure(temperature float64) float64 {
	t := temperature + zeroCelsius
	return math.Exp(1.2378847e-5*t*t - 1.9121316e-2*t + 33.93711047 - 6.3431645e3/t)
}

// enhancement is how much more vapour air holds than a vacuum.
func (a Air) enhancement() float64 {
	return 1.00062 + 3.14e-8*a.Pressure + 5.6e-7*a.Temperature*a.Temperature
}

// vapourFraction is the mole fraction of water vapour.
func (a Air) vapourFraction() float64 {
	return a.Humidity * a.enhancement() * SaturationPressure(a.Temperature) / a.Pressure
}

// compressibility is Z for a mole fraction x of vapour.
func (a Air) compressibility(x float64) float64 {
	t, p := a.Temperature, a.Pressure/(a.Temperature+zeroCelsius)
	first := 1.58123e-6 + t*(-2.9331e-8+1.1043e-10*t) + (5.707e-6-2.051e-8*t)*x + (1.9898e-4-2.376e-6*t)*x*x
	return 1 - p*first + p*p*(1.83e-11-0.765e-8*x*x)
}

// Constants of the U.S. Standard Atmosphere 1976 (equal to ICAO and ISO 2533
// in this layer), known from a secondary text that read the tables.
const (
	earthRadius     = 6356766.0         // m, of the geopotential
	lapseRate       = 0.0065            // K per geopotential metre
	gasConstantAir  = 8314.32 / 28.9644 // J/(kg·K)
	standardKelvin  = StandardTemperature + zeroCelsius
	barometricPower = Gravity / (gasConstantAir * lapseRate)
)

// StandardAtmosphere is temperature (°C), pressure (Pa) and density (kg/m³)
// of the U.S. Standard Atmosphere 1976 at a geometric altitude in metres,
// from -500 to 11,000 m, its lowest layer.
func StandardAtmosphere(altitude float64) (temperature, pressure, density float64) {
	geopotential := earthRadius * altitude / (earthRadius + altitude)
	kelvin := standardKelvin - lapseRate*geopotential
	pressure = StandardPressure * math.Pow(kelvin/standardKelvin, barometricPower)
	return kelvin - zeroCelsius, pressure, pressure / (gasConstantAir * kelvin)
}

// PressureAt is the pressure in Pa at an altitude in metres where it would be
// seaLevel (Pa) at sea level, by the ratio of the standard atmosphere.
func PressureAt(seaLevel, altitude float64) float64 {
	_, p, _ := StandardAtmosphere(altitude)
	return seaLevel * p / StandardPressure
}
