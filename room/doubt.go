package room

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"

	"chainline/estimate"
)

// What is taken where nothing was typed, and how sure what was typed is. All
// our judgement unless a source stands beside it.
const (
	usualTemperature, usualTemperatureSD = 20.0, 2.0 // °C
	typedTemperatureSD                   = 0.5
	usualHumidity, usualHumiditySD       = 0.50, 0.10
	typedHumiditySD                      = 0.05
	usualVolume, usualVolumeSpread       = 30.0, 0.35 // m³, sd of the logarithm
	hallVolume, hallVolumeSpread         = 150.0, 0.5
	typedVolumeSpread                    = 0.05
	wallsSpread, storeSpread             = 0.5, 0.4 // sd of the logarithms

	// Moseley and Jeukendrup 2001, MSSE 33:621 (abstract: 19.8 ± 0.6 %); the
	// bounds hold what Nickleberry and Brooks 1996 and Lucía et al. 2002 saw
	// (abstracts: 13 to 24.5 %).
	usualEfficiency, efficiencySD       = 0.20, 0.02
	lowestEfficiency, highestEfficiency = 0.13, 0.25

	// ISO 7933: skin wet to 0.85 at most unless acclimatised, then 1; sweat to
	// 400 W/m², acclimatised 500 (read in code). Riders who train sweat more
	// freely: 0.95 and a limit that grows with the metabolism above the
	// standard's 450 W/m² are our judgement.
	trainedWettedness, wettednessSD   = 0.95, 0.04
	sweatLimit, acclimatisedSweat     = 400.0, 500.0
	lowestWettedness, mostWettedness  = 0.80, 1.0
	sweatSpread                       = 0.30 // sd of the logarithm between riders; Baker et al. 2016, J Sports Sci 34:358 saw 0.56 over all sports and weathers (abstract)
	costSpread                        = 0.35 // sd of the logarithm of what heat costs a rider
	typicalMan, typicalWoman, typical = 1.78, 1.65, 1.72
	heightSD, anyoneSD                = 0.07, 0.09
)

// changes is how much air an opening lets through: so many room volumes an
// hour through cracks, and so many m³/h through door and window. Closed: 0.41
// ± 0.19 per hour in one house (Howard-Reed, Wallace and Ott 2002, J Air Waste
// Manage Assoc 52:147, abstract). Bedrooms measured from 0.01 to 12.3 per hour
// "depending on inhabitant behaviour" (Fehlmann and Wanner 1990, AIVC,
// abstract). The flows through openings are our judgement.
type changes struct {
	perHour float64 // 1/h
	flow    float64 // m³/h
	spread  float64 // sd of the logarithm of both
}

var openingChanges = [...]changes{
	OpeningsUnknown:   {0.4, 40, 1.0},
	Closed:            {0.4, 0, 0.5},
	DoorOpen:          {0.4, 180, 0.6},
	WindowOpen:        {0.4, 150, 0.6},
	DoorAndWindowOpen: {0.4, 400, 0.6},
	Hall:              {1.0, 0, 0.7},
}

var openingNames = [...]string{"openings unknown", "door and window closed", "door open", "window open", "door and window open", "a garage or hall"}

// String says the openings in words.
func (o Openings) String() string { return openingNames[o] }

// Clothing is the insulation in clo of "shorts", "shorts_and_jersey" or "long";
// 0, the usual, for any other word. Our judgement: garments of this kind are
// usually tabled at 0.06 to 0.08 for shorts, 0.17 for a short-sleeved shirt,
// 0.2 to 0.25 for long sleeves or legs, 0.02 each for socks and shoes (from
// memory of such tables).
func Clothing(word string) float64 {
	return map[string]float64{"shorts": 0.15, "shorts_and_jersey": 0.3, "long": 0.5}[word]
}

// AirChanges is the room volumes of air exchanged in an hour, for a volume in
// m³ (0 if unknown).
func (o Openings) AirChanges(volume float64) estimate.Estimate {
	if volume == 0 {
		volume, _ = o.volume(0)
	}
	c := openingChanges[o]
	return logNormal(c.perHour+c.flow/volume, c.spread, o.String())
}

// volume is the median and log-sd for a typed volume in m³, 0 if unknown.
func (o Openings) volume(typed float64) (median, spread float64) {
	switch {
	case typed > 0:
		return typed, typedVolumeSpread
	case o == Hall:
		return hallVolume, hallVolumeSpread
	}
	return usualVolume, usualVolumeSpread
}

// Doubt is one draw of everything this package does not know, as standard
// normal numbers, so that the same draw can be looked at in two rooms. The
// zero value is the typical case.
type Doubt struct {
	temperature, humidity, volume, changes, walls, store, airflow float64
	efficiency, height, wettedness, sweat, cost                   float64
}

// NewDoubt draws one.
func NewDoubt(rng *rand.Rand) Doubt {
	var d Doubt
	for _, x := range []*float64{&d.temperature, &d.humidity, &d.volume, &d.changes, &d.walls, &d.store, &d.airflow,
		&d.efficiency, &d.height, &d.wettedness, &d.sweat, &d.cost} {
		*x = rng.NormFloat64()
	}
	return d
}

func clamp(x, low, high float64) float64 { return max(low, min(high, x)) }

// NewCase is a room, a body and an effort as one draw has them. What is not
// typed takes its usual value with a spread. It panics on a mass that is not
// above zero.
func NewCase(r Room, b Body, e Effort, d Doubt) Case {
	if !(b.Mass > 0) {
		panic("room: a rider's mass has to be above zero")
	}
	temperature, humidity := r.startAir()
	sdT, sdH := usualTemperatureSD, usualHumiditySD
	if r.TemperatureKnown {
		sdT = typedTemperatureSD
	}
	if r.HumidityKnown {
		sdH = typedHumiditySD
	}
	temperature += sdT * d.temperature
	humidity = clamp(humidity+sdH*d.humidity, 0.02, 0.99)
	median, spread := r.Openings.volume(r.Volume)
	volume := median * math.Exp(spread*d.volume)
	air := openingChanges[r.Openings]
	exchange := (air.perHour*volume + air.flow) * math.Exp(air.spread*d.changes) / 3600

	c := Case{
		Zone:        newZone(volume, exchange, math.Exp(wallsSpread*d.walls), 1+(vapourStore-1)*math.Exp(storeSpread*d.store)),
		Temperature: temperature, StartVapour: VapourDensity(temperature, humidity),
		FanWatts: fanWatts(r.Fans), Clo: r.Clo, Permeability: usualPermeability,
		Mass: b.Mass, Watts: e.Watts, Seconds: e.Seconds,
		Penalty: math.Exp(costSpread * d.cost), SweatScale: math.Exp(sweatSpread * d.sweat),
	}
	if c.Clo == 0 {
		c.Clo = usualClo
	}
	c.Zone.OutsideTemperature, c.Zone.OutsideVapour = c.Temperature, c.StartVapour
	if r.OutsideKnown {
		c.Zone.OutsideTemperature, c.Zone.OutsideVapour = r.OutsideTemperature, VapourDensity(r.OutsideTemperature, r.OutsideHumidity)
	}
	flow := r.airflow()
	c.Airflow = flow.Mean
	if flow.Mean > 0 {
		c.Airflow *= math.Exp(flow.SD / flow.Mean * d.airflow)
	}
	if start, wet := r.startAir(); !FansHelp(start, wet) {
		c.Airflow = 0
	}
	c.drawBody(b, e, d)
	return c
}

// drawBody fills in what the rider is like.
func (c *Case) drawBody(b Body, e Effort, d Doubt) {
	c.Height = b.Height
	if b.Height == 0 {
		median, sd := typical, anyoneSD
		if b.SexKnown {
			median, sd = typicalMan, heightSD
			if b.Female {
				median = typicalWoman
			}
		}
		c.Height = clamp(median+sd*d.height, 1.2, 2.2)
	}
	efficiency := e.Efficiency
	if efficiency == 0 {
		efficiency = usualEfficiency
	}
	c.Efficiency = clamp(efficiency+efficiencySD*d.efficiency, lowestEfficiency, highestEfficiency)
	c.WettednessMax, c.SweatMax = clamp(trainedWettedness+wettednessSD*d.wettedness, lowestWettedness, mostWettedness), sweatLimit
	if b.Acclimatised {
		c.WettednessMax, c.SweatMax = mostWettedness, acclimatisedSweat
	}
}

// startAir is the temperature (°C) and humidity at the start, usual if not typed.
func (r Room) startAir() (temperature, humidity float64) {
	temperature, humidity = usualTemperature, usualHumidity
	if r.TemperatureKnown {
		temperature = r.Temperature
	}
	if r.HumidityKnown {
		humidity = r.Humidity
	}
	return temperature, humidity
}

// airflow is the air speed over the rider in m/s, own movement aside.
func (r Room) airflow() estimate.Estimate {
	if r.AirflowKnown {
		if r.Airflow == 0 {
			return estimate.Exact(0, "still air, as typed")
		}
		return logNormal(r.Airflow, typedSpread, "as typed")
	}
	return FanSpeed(r.Fans)
}

// assumed says what was not typed.
func (r Room) assumed() string {
	var said []string
	if !r.TemperatureKnown {
		said = append(said, fmt.Sprintf("%.0f °C", usualTemperature))
	}
	if !r.HumidityKnown {
		said = append(said, fmt.Sprintf("%.0f %% humidity", 100*usualHumidity))
	}
	if r.Volume == 0 {
		volume, _ := r.Openings.volume(0)
		said = append(said, fmt.Sprintf("a room of %.0f m³", volume))
	}
	if r.Openings == OpeningsUnknown {
		said = append(said, "a door that is not quite shut")
	}
	if len(said) == 0 {
		return ""
	}
	return strings.Join(said, ", ")
}
