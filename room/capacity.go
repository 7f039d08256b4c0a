package room

import "math"

const (
	// strongestAir is the most a fan can be asked for, m/s: beyond it more air
	// adds little (Bright et al. 2023 found nothing above 16 km/h). Our judgement.
	strongestAir = 8.0
	// Above harmfulHeat °C in air drier than harmfulHumidity a fan is
	// ineffective or harmful: Foster et al. 2022, Int J Biometeorol 66:507
	// (abstract; 300 trials).
	harmfulHeat, harmfulHumidity = 35.0, 0.5
)

// FansHelp is false where fans are ineffective or harmful: from 35 °C on in
// air drier than 50 % (Foster et al. 2022, Int J Biometeorol 66:507,
// abstract). Found on people at rest; a fan gets no credit there.
func FansHelp(temperature, humidity float64) bool {
	return !(temperature >= harmfulHeat && humidity < harmfulHumidity)
}

// warmestSkin is the skin temperature at which a core passes on the heat given
// (W/m²): the hottest skin the effort allows, which sheds most.
func warmestSkin(core, level, heat float64) float64 {
	const coldest = 15.0
	low, high := coldest, core
	for s := core; s >= coldest; s-- { // the first crossing from the top
		if conductance(core, s, level)*(core-s) >= heat {
			low, high = s, min(core, s+1)
			break
		}
	}
	for range 40 {
		if mid := (low + high) / 2; conductance(core, mid, level)*(core-mid) >= heat {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// surplus is how much more heat (W/m²) the skin can shed than it has to with
// the core at the warmest that still counts as steady, 38.9 °C.
func (c Case) surplus(a Air, airflow, watts float64) float64 {
	l, _ := c.load(watts)
	dry, wet := respiration(l.metabolic, a.Temperature, a.Pressure())
	heat := l.metabolic - l.work - dry - wet
	x := newExchange(airflow, c.Clo, c.Permeability)
	level := setPoint(l.metabolic)
	skin := warmestSkin(warmestSetPoint+steadyMargin, level, heat)
	most := max(0, x.wet*(skinVapour(skin)-a.Pressure()))
	evaporated := 0.0
	if most > 0 {
		evaporated = most * min(l.wettednessMost, wettednessOf(most/l.sweatLimit))
	}
	return x.dry*(skin-x.surroundings(a)) + evaporated - heat
}

// AirflowNeeded is the smallest air speed in m/s at which the case's heat
// leaves steadily in the air given (its end, say): 0 if still air will do,
// +Inf if none suffices or a fan does not help there.
func (c Case) AirflowNeeded(a Air) float64 {
	switch {
	case c.surplus(a, 0, c.Watts) >= 0:
		return 0
	case !FansHelp(a.Temperature, a.Humidity()) || c.surplus(a, strongestAir, c.Watts) < 0:
		return math.Inf(1)
	}
	low, high := 0.0, strongestAir
	for range 40 {
		if mid := (low + high) / 2; c.surplus(a, mid, c.Watts) >= 0 {
			high = mid
		} else {
			low = mid
		}
	}
	return high
}

// SteadyWatts is the greatest power (W) whose heat leaves steadily in the air
// given at an air speed (m/s); 0 if none does.
func (c Case) SteadyWatts(a Air, airflow float64) float64 {
	low, high := 0.0, 2000.0
	for range 40 {
		if mid := (low + high) / 2; c.surplus(a, airflow, mid) >= 0 {
			low = mid
		} else {
			high = mid
		}
	}
	return low
}

// BestSteadyWatts is the same at the best airflow that can be had.
func (c Case) BestSteadyWatts(a Air) float64 {
	if !FansHelp(a.Temperature, a.Humidity()) {
		return c.SteadyWatts(a, 0)
	}
	return max(c.SteadyWatts(a, 0), c.SteadyWatts(a, strongestAir))
}

// Share is the share of the power sustainable for the case's time in a cool
// room that is left in this one, 0 to 1: the s at which riding s times the
// watts leaves s on average. It is 1 in cool rooms with good fans and for
// short efforts. Valid for 20 to 90 min near the most one can hold, 15 to 35
// °C; elsewhere it extends the same cost. Takes about 50 µs for an hour.
func (c Case) Share() float64 {
	if c.Watts <= 0 || c.Seconds <= 0 {
		return 1
	}
	// Left falls as watts grow, so that s − Left(s·watts) has one root.
	low, high := 0.0, 1.0
	s := c.run(c.Watts, nil).Left
	if s >= 1 {
		return 1
	}
	gapHigh := 1 - s
	gap, last, lastGap := 0.0, 1.0, gapHigh
	for range 6 {
		gap = s - c.run(s*c.Watts, nil).Left
		if math.Abs(gap) < 1e-4 {
			return s
		}
		if gap > 0 {
			high = s
		} else {
			low = s
		}
		next := s - gap*(s-last)/(gap-lastGap)
		last, lastGap = s, gap
		if !(next > low && next < high) {
			next = (low + high) / 2
		}
		s = next
	}
	return s
}
