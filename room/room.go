// Package room answers what an effort does to a rider and to the air around
// them: how much heat has to leave the body, how much of it this room and this
// airflow can carry away, what that leaves of a cool room's power, how the
// room ends up, and what to drink.
//
// The heat balance is partitional (metabolism, respiration, convection,
// radiation, evaporation, storage), minute by minute, with two compartments of
// the body and one zone of air; see Case.Run. The published heat-strain
// standard stands beside it in Strain as a check inside its range. Nothing
// here is medical advice.
//
// Units: °C, relative humidity as a fraction, kPa, m/s, W, W/m² of body
// surface, m³, kg, s; litres where people drink.
package room

// Openings is how the room is connected to other air.
type Openings int

// The openings people name.
const (
	OpeningsUnknown Openings = iota
	Closed                   // door and window shut
	DoorOpen
	WindowOpen
	DoorAndWindowOpen
	Hall // a garage or hall: large, leaky
)

// Room is the room as typed. The zero value is a room of which nothing is
// known.
type Room struct {
	Temperature      float64 // °C at the start
	TemperatureKnown bool
	Humidity         float64 // relative, fraction, at the start
	HumidityKnown    bool

	Volume   float64 // m³; 0 if unknown
	Openings Openings

	OutsideTemperature float64 // °C of the air that comes in
	OutsideHumidity    float64 // relative, fraction
	OutsideKnown       bool    // if false, the air that comes in is as the room at the start

	Fans         []Fan
	Airflow      float64 // m/s over the rider, as typed
	AirflowKnown bool    // if true, Airflow counts and Fans only add their heat

	Clo float64 // clothing insulation, clo; 0 stands for shorts and jersey, 0.3
}

// Body is the rider.
type Body struct {
	Mass         float64           // kg
	Height       float64           // m; 0 if unknown
	Female       bool              // used for the typical height only
	SexKnown     bool              //
	Acclimatised bool              // used to riding in the heat, for a week or more
	SweatRate    SweatMeasurements // from weighing before and after; nil if never done
}

// Effort is what is ridden, as a constant mean.
type Effort struct {
	Watts      float64 // W true, at the pedals
	Seconds    float64 // s
	Efficiency float64 // gross efficiency, fraction; 0 stands for 0.20
}
