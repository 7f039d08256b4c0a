package room

// Case is a ride in a room with every uncertain input a number: the
// deterministic core of this package. NewCase makes one from what people type.
type Case struct {
	Zone          Zone    // the room
	Temperature   float64 // °C at the start
	StartVapour   float64 // kg/m³ at the start
	Airflow       float64 // m/s over the rider, own movement aside
	FanWatts      float64 // W the fans draw
	Clo           float64 // clo
	Permeability  float64 // vapour permeability index of the clothing
	Mass, Height  float64 // kg, m
	WettednessMax float64 // most of the skin that can be wet, fraction
	SweatMax      float64 // W/m², most sweat as if all evaporated
	Watts         float64 // W true
	Seconds       float64 // s
	Efficiency    float64 // gross, fraction
	Penalty       float64 // scale of what heat costs; 1 as calibrated
	SweatScale    float64 // this rider's sweat over the model's
}

// Ride is what a Case leads to.
type Ride struct {
	MetabolicHeat float64 // W the body has to get rid of
	Core, Skin    float64 // °C at the end
	CorePeak      float64 // °C
	End           Air     // the room at the end
	Loss          float64 // kg of water lost, breath included
	Evaporated    float64 // kg of it that went into the room's air
	Left          float64 // mean share of a cool room's capacity over the ride, at these watts
	SteadyFor     float64 // s until the core leaves the level it would keep in cool air; 0 if it keeps it to the end
	Required      float64 // W/m² of evaporation asked at the end
	Most          float64 // W/m² that could evaporate at the end
}

// What heat costs at one moment: a share of the power that can be sustained per °C of core
// above its level, and per °C of skin above coolSkin. Calibrated on Bright et
// al. 2023 and Otani et al. 2018 (both abstract); that skin alone costs power
// without a hot core is Ely et al. 2010, MSSE 42:135 (abstract).
const (
	costOfCore = 0.03
	costOfSkin = 0.03
	coolSkin   = 33.0
	// Beyond hottestCore °C nobody holds on: 77-minute trials in 37 °C ended at
	// 40.2 ± 0.4 °C (Racinais et al. 2015, abstract). The steep cost is our
	// judgement.
	costOfHottest = 0.20
	hottestCore   = 40.5
)

// load is what the case asks of the body at some watts.
func (c Case) load(watts float64) (l load, area float64) {
	area = BodySurface(c.Mass, c.Height)
	return load{
		metabolic:   watts / c.Efficiency / area,
		work:        watts / area,
		heatPerArea: bodyHeat * c.Mass / area,

		wettednessMost: c.WettednessMax,
		sweatLimit:     c.SweatMax * max(1, watts/c.Efficiency/area/450),
	}, area
}

// Run rides the case at its own watts.
func (c Case) Run() Ride { return c.run(c.Watts, nil) }

// run rides at some watts; each, if not nil, sees every minute.
func (c Case) run(watts float64, each func(second float64, b bodyState, a Air)) Ride {
	l, area := c.load(watts)
	x := newExchange(c.Airflow, c.Clo, c.Permeability)
	air := Air{Temperature: c.Temperature, Surface: c.Temperature, Vapour: c.StartVapour}
	b := newBody(c.Temperature)
	r := Ride{MetabolicHeat: (l.metabolic - l.work) * area, CorePeak: b.core}
	seconds := 0.0
	for seconds < c.Seconds {
		dt := min(step, c.Seconds-seconds)
		b.minute(l, x, air)
		seconds += dt
		evaporated := (b.evaporated + b.breathWet) * area / vapourHeat
		air = c.Zone.Step(air, dt, (b.dry+b.breathDry)*area+watts+c.FanWatts, evaporated)
		r.Evaporated += dt * evaporated
		r.Loss += dt * (b.sweat*c.SweatScale + b.breathWet) * area / vapourHeat
		r.Left += dt * c.left(b)
		r.CorePeak = max(r.CorePeak, b.core)
		if b.core > b.level+steadyMargin {
			if r.SteadyFor == 0 {
				r.SteadyFor = seconds
			}
		} else {
			r.SteadyFor = 0
		}
		if each != nil {
			each(seconds, b, air)
		}
	}
	if c.Seconds > 0 {
		r.Left /= c.Seconds
	} else {
		r.Left = 1
	}
	r.Core, r.Skin, r.End, r.Required, r.Most = b.core, b.skin, air, b.required, b.most
	return r
}

// left is the share of a cool room's sustainable power at one moment.
func (c Case) left(b bodyState) float64 {
	cost := costOfCore*max(0, b.core-b.level-steadyMargin) + costOfSkin*max(0, b.skin-coolSkin) +
		costOfHottest*max(0, b.core-hottestCore)
	return max(0, 1-c.Penalty*cost)
}
