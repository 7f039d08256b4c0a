package room

import (
	"math/rand/v2"

	"chainline/estimate"
)

// Doubt is one draw of everything this package does not know, as standard
// normal numbers, so that the same draw can be looked at in two rooms.
type Doubt struct {
	temperature, humidity, volume, changes, walls, store, airflow float64
	efficiency, height, wettedness, sweat, penalty                float64
}

// NewDoubt draws one.
func NewDoubt(rng *rand.Rand) Doubt { return Doubt{} }

// Case is a ride in a room with every uncertain input a number: the
// deterministic core. Make one with NewCase.
type Case struct{}

// NewCase is a room, a body and an effort as one draw has them; the zero Doubt
// is the typical case.
func NewCase(r Room, b Body, e Effort, d Doubt) Case { return Case{} }

// Share is the share of the power sustainable in a cool room that is left in
// this one, 0 to 1. About 10 µs for an hour.
func (c Case) Share() float64 { return 1 }

// Share is the same as an estimate over draws of what is not known.
func Share(r Room, b Body, e Effort) estimate.Estimate { return estimate.Exact(1, "") }

// Outlook is all a sheet needs to say about the room. Watts are true watts.
type Outlook struct {
	Assumed     string  // what of the room was not typed and is taken as usual; empty if nothing
	Temperature float64 // °C at the start, as used
	Humidity    float64 // fraction, as used
	Airflow     float64 // m/s over the rider, without own movement
	AirflowFrom string

	MetabolicHeatW float64           // W
	EndTemperature estimate.Estimate // °C
	EndHumidity    estimate.Estimate // fraction
	AirflowNeeded  float64           // m/s; 0 still air will do, +Inf none suffices
	WattsThatWould float64           // W true with the given airflow; 0 if the effort is below
	WattsAtBest    float64           // W true with the best possible airflow
	HeatSteadyS    float64           // s after which no longer steady; 0 if it is to the end
	CoreEnd        estimate.Estimate // °C predicted at the end
	Share          estimate.Estimate // of cool-room sustainable power
	Standard       string            // the heat-strain standard's verdict, or why it has none

	SweatLPerH          estimate.Estimate // l/h
	LossL               estimate.Estimate // l over the ride
	FluidLow, FluidHigh float64           // l
	LossPercent         float64           // of body mass if nothing is drunk
	Drink, Food         string
	Lines               []string // for the sheet, most important first
	Warnings            []string // about numbers: wide, outside a range
	Cautions            []string // about safety
}

// Look works everything out.
func Look(r Room, b Body, e Effort) Outlook { return Outlook{} }

// SweatMeasurement is one weighing before and after a ride.
type SweatMeasurement struct {
	BeforeKg, AfterKg, DrinkL, UrineL, Seconds float64
}

// SweatMeasurements are all of a rider's.
type SweatMeasurements []SweatMeasurement
