package room

import "math"

// Constants of the heat balance of a rider.
const (
	bodyHeat = 3490.0 // J/(kg·K), ISO 7933's as coded in pythermalcomfort (read)
	step     = 60.0   // s

	// ownMovement is the air speed in m/s that pedalling makes in still air:
	// where 8.3·v^0.6 is the 4.7 W/(m²·K) that the still-air evaporative
	// capacity of Bright et al. 2023 asks for (computed).
	ownMovement = 0.388
	// Seated in moving air: 8.3·v^0.6 W/(m²·K), at least 3.1 (ASHRAE 1997,
	// secondary in its I-P form, memory in this one).
	convection, convectionPower, leastConvection = 8.3, 0.6, 3.1
	radiation                                    = 4.7  // W/(m²·K), linear exchange with the surfaces around (memory, ASHRAE)
	lewis                                        = 16.5 // K/kPa, evaporative over convective coefficient at sea level (memory)

	usualClo = 0.3 // shorts and a jersey; our judgement
	// usualPermeability makes usualClo's vapour resistance the 0.00848
	// m²·kPa/W that fits Bright et al. 2023 at 16 km/h (computed).
	usualPermeability = 0.155 * usualClo / (lewis * 0.00848)

	// The level the core heads for at a metabolism M (W/m²): 36.6 + 0.0036·M
	// °C with a time constant of 10 min (ISO 7933, read in code), here at most
	// warmestSetPoint. The cap is our judgement: the regression ends at 450
	// W/m², and trained riders end hour-long time trials in cool air at 38.5 ±
	// 0.6 °C (Racinais et al. 2015, MSSE 47:601, abstract).
	warmestSetPoint = 38.6
	startCore       = 37.0  // °C, after a warm-up; our judgement
	startSweat      = 100.0 // W/m², after a warm-up; our judgement
	// sweatGain adds evaporation for each °C the core is above that level
	// (170 g/(m²·h·K) of the two-node model as coded in pythermalcomfort, read).
	sweatGain = 116.0 // W/(m²·K)

	// Heat from core to skin: 5.28 + 1.163·flow W/(m²·K), flow = (6.3 +
	// flowGain·(core − 36.8) + errorGain·(core − level))/(1 + constricts·(34 −
	// skin)) l/(m²·h), at most 90 above the line and no bracket below zero: the
	// two-node model's form (read in code), whose numbers are for rest (gain
	// 200, no second gain, 0.1 below 33.7 °C). Ours are our judgement, so that
	// a rider's skin follows the air as in Jenkins et al. 2023 (0.5 °C per °C
	// with a fan, abstract) and steady cores settle at their level.
	tissue, perWarmBlood           = 5.28, 1.163
	restFlow, flowGain, mostFlow   = 6.3, 31.0, 90.0
	warmCore, warmSkin, constricts = 36.8, 34.0, 0.2
	errorGain                      = 80.0 // l/(m²·h·K)

	// steadyMargin is how far, in °C, the core may be above the level it would
	// settle at in cool air for the effort to count as steady. Our judgement.
	steadyMargin = 0.3
)

// exchange is what air and clothing let pass at one air speed.
type exchange struct {
	convective float64 // W/(m²·K)
	dry        float64 // W/(m²·K) from skin to the surroundings
	wet        float64 // W/(m²·kPa) from wet skin
	airShare   float64 // of the surroundings' temperature that is the air's
}

// newExchange is that at an air speed in m/s, own movement included.
//
//	dry = 1/(0.155·clo + 1/(f·(hc + hr)))        f = 1 + 0.3·clo
//	wet = 1/(0.155·clo/(16.5·i) + 1/(16.5·hc))
func newExchange(airflow, clo, permeability float64) exchange {
	hc := max(leastConvection, convection*math.Pow(math.Hypot(airflow, ownMovement), convectionPower))
	area := 1 + 0.3*clo
	return exchange{
		convective: hc,
		dry:        1 / (0.155*clo + 1/(area*(hc+radiation))),
		wet:        1 / (0.155*clo/(lewis*permeability) + 1/(lewis*hc)),
		airShare:   hc / (hc + radiation),
	}
}

// surroundings is the temperature dry heat goes to.
func (x exchange) surroundings(a Air) float64 {
	return x.airShare*a.Temperature + (1-x.airShare)*a.Surface
}

// conductance is that of heat from core to skin in W/(m²·K), level being the
// core temperature the effort leads to.
func conductance(core, skin, level float64) float64 {
	flow := (restFlow + flowGain*max(0, core-warmCore) + errorGain*max(0, core-level)) / (1 + constricts*max(0, warmSkin-skin))
	return tissue + perWarmBlood*min(mostFlow, flow)
}

// setPoint is the core temperature a metabolism (W/m²) leads to where the
// heat can leave.
func setPoint(metabolic float64) float64 {
	return min(warmestSetPoint, 36.6+0.0036*metabolic)
}

// bodyState is the rider between two minutes; rates are of the last one.
type bodyState struct {
	core, skin, shell float64 // °C, °C, share of mass
	level             float64 // °C, the set point as it follows the effort
	sweat             float64 // W/m², as if all evaporated

	required, most, evaporated float64 // W/m²
	dry, breathDry, breathWet  float64 // W/m²
	stored                     float64 // W/m²
}

// newBody is a rider at the start: a warm core, and skin that follows the
// room, 33 °C at 21 °C and 0.15 °C more per °C, from 31 to 35 (our judgement).
func newBody(room float64) bodyState {
	skin := max(31, min(35, 33+0.15*(room-21)))
	return bodyState{core: startCore, skin: skin, shell: shellShare(startCore), level: startCore, sweat: startSweat}
}

// load is what the ride asks of the body.
type load struct {
	metabolic, work            float64 // W/m²
	heatPerArea                float64 // J/(m²·K) of the whole body
	wettednessMost, sweatLimit float64 // -, W/m²
}

// minute moves the body on by one step in the air about it. Energy is kept:
// metabolism less work is what is lost and what is stored.
func (b *bodyState) minute(l load, x exchange, a Air) {
	vapour := a.Pressure()
	b.breathDry, b.breathWet = respiration(l.metabolic, a.Temperature, vapour)
	before := b.level
	b.level += (setPoint(l.metabolic) - b.level) * (1 - lagTenMinutes)
	heat := l.metabolic - l.work - b.breathDry - b.breathWet
	about := x.surroundings(a)
	planned := l.heatPerArea * (1 - b.shell) * (b.level - before) / step
	b.required = max(0, heat-x.dry*(b.skin-about)-planned+sweatGain*(b.core-b.level))
	b.most = max(0, x.wet*(skinVapour(b.skin)-vapour))
	b.perspire(l)

	k := conductance(b.core, b.skin, b.level)
	shell, inner := l.heatPerArea*b.shell/step, l.heatPerArea*(1-b.shell)/step
	skin := (shell*b.skin + k*b.core + x.dry*about - b.evaporated) / (shell + k + x.dry)
	core := b.core + (heat-k*(b.core-skin))/inner
	b.dry = x.dry * (skin - about)
	b.stored = heat - b.dry - b.evaporated
	b.core, b.skin, b.shell = regroup(core, skin, b.shell)
}

// perspire lets the sweat follow what is required, with a lag of ten minutes,
// and evaporates what of it can: ISO 7933's efficiency 1 − w²/2.
func (b *bodyState) perspire(l load) {
	wanted := l.sweatLimit
	if w := b.required / b.most; b.most > 0 && w < 1.7 {
		efficiency := 1 - w*w/2
		if w > 1 {
			efficiency = (2 - w) * (2 - w) / 2
		}
		wanted = min(l.sweatLimit, b.required/max(0.05, efficiency))
	} else if b.required == 0 {
		wanted = 0
	}
	b.sweat += (wanted - b.sweat) * (1 - lagTenMinutes)
	b.evaporated = 0
	if b.sweat > 0 {
		b.evaporated = b.most * min(l.wettednessMost, wettednessOf(b.most/b.sweat))
	}
}

// regroup moves mass between shell and core as the core warms, keeping heat.
func regroup(core, skin, shell float64) (newCore, newSkin, newShell float64) {
	next := shellShare(core)
	if next < shell {
		return ((1-shell)*core + (shell-next)*skin) / (1 - next), skin, next
	}
	return core, (shell*skin + (next-shell)*core) / next, next
}
