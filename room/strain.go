package room

import (
	"fmt"
	"math"

	"chainline/physics"
)

// The heat-strain standard ISO 7933 (predicted heat strain), minute by minute.
// The text of the standard was not available. Equations and constants were
// read in pythermalcomfort (pythermalcomfort/models/phs.py, commit 0108a6dd,
// MIT licence, Center for the Built Environment) and written anew here.

// Edition is an edition of ISO 7933; they differ in a few constants.
type Edition int

// The editions.
const (
	Edition2023 Edition = iota
	Edition2004
)

// Posture is how a person stands to the radiation around.
type Posture int

// The postures of the standard. A rider counts as sitting.
const (
	Sitting Posture = iota
	Standing
	Crouching
)

// Exposure is what the standard asks for.
type Exposure struct {
	Edition      Edition
	Temperature  float64 // °C of the air
	Radiant      float64 // °C, mean radiant temperature
	Vapour       float64 // kPa, partial pressure of water vapour; see Vapour2004 and Vapour2023
	AirSpeed     float64 // m/s
	Metabolic    float64 // W/m²
	Work         float64 // W/m² that leave as external work
	Clo          float64 // clo
	Permeability float64 // static moisture permeability index; 0 stands for 0.38
	Posture      Posture
	Acclimatised bool
	Mass, Height float64 // kg, m
	WalkSpeed    float64 // m/s; 0 if the person does not walk
	WalkAngle    float64 // degrees between walking and wind
	Covered      float64 // fraction of the body under reflective clothing; 0 stands for 0.54
	Emissivity   float64 // of that clothing, as the edition defines it; 0 stands for its default
	Minutes      int
	NoDrink      bool // no drink at hand
}

// StrainResult is what the standard predicts.
type StrainResult struct {
	Rectal, Core, Skin float64 // °C at the end
	LossG              float64 // g of water, respiration included
	SweatWM2           float64 // W/m² at the end
	LimitLossMean      float64 // min until a mean person has lost too much
	LimitLoss95        float64 // min until one person in twenty has
	LimitRectal        float64 // min until the rectal temperature is 38 °C
}

// Vapour2004 and Vapour2023 are the partial pressure (kPa) of vapour in air of
// a temperature (°C) and a relative humidity (fraction), as the two editions'
// code takes it: the later with the standard's own equation.
func Vapour2004(temperature, humidity float64) float64 {
	return humidity * physics.SaturationPressure(temperature) / 1000
}

// Vapour2023 is described beside Vapour2004.
func Vapour2023(temperature, humidity float64) float64 {
	return humidity * skinVapour(temperature)
}

// skinVapour is ISO 7933's saturation pressure in kPa at a temperature in °C.
func skinVapour(t float64) float64 { return 0.6105 * math.Exp(17.27*t/(t+237.3)) }

// BodySurface is the surface of the body in m² for a mass in kg and a height
// in m: DuBois and DuBois 1916, read in code of ISO 7933.
func BodySurface(mass, height float64) float64 {
	return 0.202 * math.Pow(mass, 0.425) * math.Pow(height, 0.725)
}

// respiration is the heat lost by breathing, W/m², dry and as vapour.
func respiration(metabolic, temperature, vapour float64) (dry, wet float64) {
	expired := 28.56 + 0.115*temperature + 0.641*vapour
	return 0.001516 * metabolic * (expired - temperature),
		0.00127 * metabolic * (59.34 + 0.53*temperature - 11.63*vapour)
}

// strainState is what the minute loop carries on.
type strainState struct {
	Exposure
	area, heat              float64 // m²; J/(m²·K) per minute, as W·min/(m²·K)
	sweatMax, wettednessMax float64
	fcl, icl, rt, hc, fclr  float64
	radiating               float64

	skin, core, rectal, coreEq, weight, sweat, load float64
}

// PredictedStrain runs the standard. Check Outside first: outside its range
// the numbers are computed all the same and mean little.
func PredictedStrain(x Exposure) StrainResult {
	s := newStrain(x)
	lossLimit95, lossLimit50 := 0.05, 0.05
	if x.Edition == Edition2004 {
		lossLimit50 = 0.075
	} else if x.NoDrink {
		lossLimit95, lossLimit50 = 0.03, 0.03
	}
	var r StrainResult
	for minute := 1; minute <= x.Minutes; minute++ {
		s.minute()
		r.LossG = s.load * 2.67 * s.area / 1.8 / 60
		mark(&r.LimitRectal, minute, s.rectal >= 38)
		mark(&r.LimitLossMean, minute, r.LossG >= lossLimit50*1000*x.Mass)
		mark(&r.LimitLoss95, minute, r.LossG >= lossLimit95*1000*x.Mass)
	}
	if x.NoDrink {
		r.LimitLoss95 *= 0.6
		r.LimitLossMean = r.LimitLoss95
	}
	for _, limit := range []*float64{&r.LimitRectal, &r.LimitLossMean, &r.LimitLoss95} {
		if *limit == 0 {
			*limit = float64(x.Minutes)
		}
	}
	r.Rectal, r.Core, r.Skin, r.SweatWM2 = s.rectal, s.core, s.skin, s.sweat
	return r
}

// mark notes the first minute at which something is true.
func mark(first *float64, minute int, is bool) {
	if *first == 0 && is {
		*first = float64(minute)
	}
}

func newStrain(x Exposure) *strainState {
	s := &strainState{Exposure: x, area: BodySurface(x.Mass, x.Height)}
	s.heat = 58.15 * x.Mass / s.area
	s.skin, s.core, s.rectal, s.coreEq, s.weight = 34.1, 36.8, 36.8, 36.8, 0.3
	s.wettednessMax, s.sweatMax = 0.85, 400
	if x.Acclimatised {
		s.wettednessMax, s.sweatMax = 1, 500
	}
	s.fcl = 1 + 0.28*x.Clo
	if x.Edition == Edition2004 {
		s.fcl = 1 + 0.3*x.Clo
		s.sweatMax = max(250, min(400, (x.Metabolic-32)*s.area))
		if x.Acclimatised {
			s.sweatMax *= 1.25
		}
	}
	s.radiating = [...]float64{Sitting: 0.7, Standing: 0.77, Crouching: 0.67}[x.Posture]
	s.clothe()
	s.reflect()
	return s
}

// reflect finds how much of the radiation the clothing lets through.
func (s *strainState) reflect() {
	covered, emissivity := s.Covered, s.Emissivity
	if covered == 0 {
		covered = 0.54
	}
	if emissivity == 0 {
		emissivity = 0.42
		if s.Edition == Edition2004 {
			emissivity = 0.97
		}
	}
	if s.Edition == Edition2023 {
		emissivity = 1 - emissivity
	}
	s.fclr = (1-covered)*0.97 + covered*emissivity
}

// clothe finds the dynamic insulation and vapour resistance of the clothing
// and the air about it, and the convective coefficient.
func (s *strainState) clothe() {
	const still = 0.111 // m²K/W, the air's layer at rest
	total := 0.155*s.Clo + still/s.fcl
	walk, wind := s.WalkSpeed, s.AirSpeed
	switch {
	case walk == 0:
		walk = min(0.0052*(s.Metabolic-58), 0.7)
	case s.WalkAngle != 0:
		wind = math.Abs(s.AirSpeed - walk*math.Cos(3.14159*s.WalkAngle/180))
	default:
		wind = max(s.AirSpeed, walk)
	}
	v, w := min(wind, 3), min(walk, 1.5)
	clothed := min(1, 1.044*math.Exp((0.066*v-0.398)*v+(0.094*w-0.378)*w))
	nude := min(1, math.Exp((0.047*wind-0.472)*wind+(0.117*w-0.342)*w))
	both := clothed
	if s.Clo <= 0.6 {
		both = ((0.6-s.Clo)*nude + s.Clo*clothed) / 0.6
	}
	dynamic := total * both
	s.icl = dynamic - nude*still/s.fcl
	permeability := s.Permeability
	if permeability == 0 {
		permeability = 0.38
	}
	s.rt = dynamic / min(0.9, permeability*((2.6*both-6.5)*both+4.9)) / 16.7
	forced := 3.5 + 5.2*wind
	if wind > 1 {
		forced = 8.7 * math.Pow(wind, 0.6)
	}
	surface := s.Radiant + 0.1
	if s.Edition == Edition2004 {
		surface = s.skin
	}
	s.hc = max(2.38*math.Pow(math.Abs(surface-s.Temperature), 0.25), forced)
}

// skinTowards is the skin temperature the regression heads for.
func (s *strainState) skinTowards() float64 {
	clothed := 12.165 + 0.02017*s.Temperature + 0.04361*s.Radiant + 0.19354*s.Vapour - 0.25315*s.AirSpeed + 0.005346*s.Metabolic + 0.51274*s.rectal
	nude := 7.191 + 0.064*s.Temperature + 0.061*s.Radiant + 0.198*s.Vapour - 0.348*s.AirSpeed + 0.616*s.rectal
	return nude + max(0, min(1, 2.5*(s.Clo-0.2)))*(clothed-nude)
}

// dryLoss is convection plus radiation from the clothing's surface, W/m².
func (s *strainState) dryLoss() float64 {
	surface := s.Radiant + 0.1
	for range 200 {
		hr := s.fclr * 5.67e-8 * s.radiating * (math.Pow(surface+273, 4) - math.Pow(s.Radiant+273, 4)) / (surface - s.Radiant)
		next := (s.fcl*(s.hc*s.Temperature+hr*s.Radiant) + s.skin/s.icl) / (s.fcl*(s.hc+hr) + 1/s.icl)
		if math.Abs(next-surface) <= 0.001 {
			return s.fcl*s.hc*(surface-s.Temperature) + s.fcl*hr*(surface-s.Radiant)
		}
		surface = (surface + next) / 2
		if surface == s.Radiant {
			surface += 1e-6
		}
	}
	return 0
}

// evaporate is the required evaporation, then the sweat that follows it with
// a lag of ten minutes and the evaporation it yields; all W/m².
func (s *strainState) evaporate(stored float64) (required, actual float64) {
	dry, wet := respiration(s.Metabolic, s.Temperature, s.Vapour)
	most := (skinVapour(s.skin) - s.Vapour) / s.rt
	if most == 0 {
		most = 0.001
	}
	required = s.Metabolic - stored - s.Work - dry - wet - s.dryLoss()
	needed, wettedness := s.sweatMax, required/most
	switch {
	case required <= 0:
		required, needed = 0, 0
	case most <= 0:
		most = 0
	case wettedness < 1.7:
		efficiency := 1 - wettedness*wettedness/2
		if wettedness > 1 {
			efficiency = (2 - wettedness) * (2 - wettedness) / 2
		}
		needed = min(s.sweatMax, required/max(0.05, efficiency))
	}
	s.sweat += (needed - s.sweat) * (1 - lagTenMinutes)
	if s.sweat > 0 {
		actual = most * min(s.wettednessMax, wettednessOf(most/s.sweat))
	}
	s.load += max(0, s.sweat) + wet
	return required, actual
}

// wettednessOf is the skin wettedness at which what evaporates balances what
// is sweated, k being the most that can evaporate over the sweat.
func wettednessOf(k float64) float64 {
	if k < 0.5 {
		return 1
	}
	return -k + math.Sqrt(k*k+2)
}

// Decay over a minute with time constants of 10 and 3 minutes.
var (
	lagTenMinutes   = math.Exp(-1.0 / 10)
	lagThreeMinutes = math.Exp(-1.0 / 3)
)

func (s *strainState) minute() {
	skin0, core0, weight0 := s.skin, s.core, s.weight
	towards := s.coreEq*lagTenMinutes + (0.0036*s.Metabolic+36.6)*(1-lagTenMinutes)
	stored := s.heat * (towards - s.coreEq) * (1 - weight0)
	s.coreEq = towards
	s.skin = skin0*lagThreeMinutes + s.skinTowards()*(1-lagThreeMinutes)
	required, actual := s.evaporate(stored)
	storage := required - actual + stored
	guess := core0
	for range 200 {
		s.weight = shellShare(guess)
		s.core = (storage/s.heat + skin0*weight0/2 - s.skin*s.weight/2 + core0*(1-weight0/2)) / (1 - s.weight/2)
		if math.Abs(s.core-guess) <= 0.001 {
			break
		}
		guess = (guess + s.core) / 2
	}
	s.rectal += (2*s.core - 1.962*s.rectal - 1.31) / 9
}

// shellShare is the share of the body's mass at skin temperature.
func shellShare(core float64) float64 {
	return max(0.1, min(0.3, 0.3-0.09*(core-36.8)))
}

// Outside says in a sentence how an exposure leaves the range of the
// standard, or is empty inside it: air 15 to 50 °C, vapour 0 to 4.5 kPa,
// radiant temperature 0 to 60 °C, air 0 to 3 m/s, metabolism 100 to 450 W/m²,
// clothing 0.1 to 1 clo (as coded in pythermalcomfort, read).
func (x Exposure) Outside() string {
	for _, limit := range []struct {
		what      string
		value     float64
		low, high float64
		unit      string
	}{
		{"metabolism", x.Metabolic, 100, 450, "W/m²"},
		{"air temperature", x.Temperature, 15, 50, "°C"},
		{"vapour pressure", x.Vapour, 0, 4.5, "kPa"},
		{"radiant temperature", x.Radiant, 0, 60, "°C"},
		{"air speed", x.AirSpeed, 0, 3, "m/s"},
		{"clothing", x.Clo, 0.1, 1, "clo"},
	} {
		if !(limit.value >= limit.low && limit.value <= limit.high) {
			return fmt.Sprintf("The published heat-strain standard (ISO 7933) says nothing here: %s of %.3g %s is outside its %g to %g.", limit.what, limit.value, limit.unit, limit.low, limit.high)
		}
	}
	return ""
}
