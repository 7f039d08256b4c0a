package room

import (
	"fmt"
	"math"

	"chainline/estimate"
)

// Outlook is all a sheet needs to say about the room. Watts are true watts.
type Outlook struct {
	Assumed     string  // what of the room was not typed and is taken as usual; empty if nothing
	Temperature float64 // °C at the start, as used
	Humidity    float64 // fraction, as used
	Airflow     float64 // m/s over the rider, own movement aside
	AirflowFrom string  // "one pedestal fan, 1 m away, high", "as typed", "no fan: only your own movement"

	MetabolicHeatW float64           // W the body has to get rid of
	EndTemperature estimate.Estimate // °C, the room at the end
	EndHumidity    estimate.Estimate // fraction
	AirflowNeeded  float64           // m/s at which the heat leaves in the room as it is at the end; 0 if still air will do, +Inf if none suffices
	WattsThatWould float64           // W that would leave steadily with the given airflow; 0 if this effort does
	WattsAtBest    float64           // W with the best airflow; 0 if WattsThatWould is
	HeatSteadyS    float64           // s after which the effort is no longer steady; 0 if it is to the end
	CoreEnd        estimate.Estimate // °C of the body if these watts were held to the end; in still air about 1 °C too hot (see TestPublishedFanTimeTrial)
	Share          estimate.Estimate // of the power sustainable in a cool room
	Standard       string            // the heat-strain standard's verdict, or that this is outside its range

	SweatLPerH          estimate.Estimate // l/h
	LossL               estimate.Estimate // l over the ride
	FluidLow, FluidHigh float64           // l to drink
	LossPercent         float64           // of body mass if nothing is drunk
	Drink, Food         string            // sentences; Food is empty for short rides

	Lines    []string // sentences for the sheet, most important first
	Warnings []string // about the numbers: wide, outside a range
	Cautions []string // about safety
}

// lookDraws is how many draws stand behind an Outlook's intervals.
const lookDraws = 200

// lookDoubts are the draws of every Outlook, always the same, so that Look is
// a function of what was typed and two rooms meet the same riders.
func lookDoubts() []Doubt {
	doubts := make([]Doubt, lookDraws)
	for i := range doubts {
		doubts[i] = NewDoubt(estimate.Stream(7933, i))
	}
	return doubts
}

// Look works everything out: the typical case for single figures, 200 seeded
// draws for intervals. About 15 ms for a ride of an hour.
func Look(r Room, b Body, e Effort) Outlook {
	typical := NewCase(r, b, e, Doubt{})
	ride := typical.Run()
	flow := r.airflow()
	o := Outlook{Assumed: r.assumed(), Airflow: flow.Mean, AirflowFrom: flow.Origin,
		MetabolicHeatW: ride.MetabolicHeat, AirflowNeeded: typical.AirflowNeeded(ride.End)}
	o.Temperature, o.Humidity = r.startAir()
	if o.AirflowNeeded > typical.Airflow {
		o.WattsThatWould = typical.SteadyWatts(ride.End, typical.Airflow)
		o.WattsAtBest = typical.BestSteadyWatts(ride.End)
		o.HeatSteadyS = ride.SteadyFor
	}
	o.Standard = typical.standard(ride)
	o.draw(r, b, e)
	o.drink(b, e, typical.sweatRate(ride))
	o.speak(typical, ride, e)
	return o
}

// draw fills the estimates.
func (o *Outlook) draw(r Room, b Body, e Effort) {
	var temperature, humidity, core, share []float64
	for _, d := range lookDoubts() {
		c := NewCase(r, b, e, d)
		ride := c.Run()
		temperature = append(temperature, ride.End.Temperature)
		humidity = append(humidity, ride.End.Humidity())
		core = append(core, ride.Core)
		share = append(share, c.Share())
	}
	const origin = "heat balance over draws of what is not known"
	o.EndTemperature = estimate.FromDraws(temperature, origin)
	o.EndHumidity = estimate.FromDraws(humidity, origin)
	o.CoreEnd = estimate.FromDraws(core, origin)
	o.Share = estimate.FromDraws(share, origin)
}

// drink fills in sweat and fluid.
func (o *Outlook) drink(b Body, e Effort, rate float64) {
	median, spread, weighings := b.SweatRate.afterWeighing(max(0.01, rate), sweatSpread)
	origin := "heat balance and, in their range, two published regressions"
	if weighings > 0 {
		origin = fmt.Sprintf("%d weighings and the heat balance", weighings)
		if weighings == 1 {
			origin = "a weighing and the heat balance"
		}
	}
	o.SweatLPerH = logNormal(median, spread, origin)
	o.LossL = logNormal(median*e.Seconds/3600, spread, origin)
	f := PlanFluid(o.LossL, b.Mass, e.Seconds, weighings > 0)
	o.FluidLow, o.FluidHigh, o.LossPercent, o.Drink, o.Food = f.Low, f.High, f.LossPercent, f.Drink, f.Food
	o.Warnings = append(o.Warnings, f.Warnings...)
	if e.Seconds > thirstFor {
		o.Cautions = append(o.Cautions, "Never drink more than you lose: it can make you seriously ill. Feeling sick, headache, dizziness or weight gained are signs to stop drinking; confusion or a seizure is an emergency.")
	}
}

// standard asks ISO 7933, in the air of the end of the ride.
func (c Case) standard(ride Ride) string {
	l, _ := c.load(c.Watts)
	x := Exposure{Temperature: ride.End.Temperature, Radiant: ride.End.Surface, Vapour: ride.End.Pressure(), AirSpeed: c.Airflow,
		Metabolic: l.metabolic, Work: l.work, Clo: c.Clo, Posture: Sitting, Mass: c.Mass, Height: c.Height,
		Acclimatised: c.WettednessMax >= mostWettedness, Minutes: int(math.Ceil(min(c.Seconds, 8*3600) / 60))}
	if outside := x.Outside(); outside != "" {
		return outside
	}
	s := PredictedStrain(x)
	if s.LimitRectal < float64(x.Minutes) || s.Rectal >= 38 {
		return fmt.Sprintf("The published heat-strain standard (ISO 7933) has a worker at its limit of 38 °C after %.0f min of this, and at %.1f °C at the end.", s.LimitRectal, s.Rectal)
	}
	return fmt.Sprintf("The published heat-strain standard (ISO 7933) sees no limit passed: %.1f °C at the end, %.1f l lost.", s.Rectal, s.LossG/1000)
}

// stopCore is the predicted core temperature, in °C, from which a brief warns
// of heat illness: heat stroke is above 40 °C with signs from the brain (ACSM
// 2007, abstract). The balance runs warm in still air, so this comes early.
const stopCore = 40.0

// speak writes the sentences.
func (o *Outlook) speak(c Case, ride Ride, e Effort) {
	o.say("At %.0f °C and %.0f %% you make %.0f W of heat.", o.Temperature, 100*o.Humidity, roundTo(o.MetabolicHeatW, 10))
	o.say("%s", o.aboutAir(c, ride))
	if o.Share.Mean < 0.99 {
		o.say("Heat leaves about %.0f %% (%.0f to %.0f) of the power you could hold in a cool room.", 100*o.Share.Mean, 100*o.Share.Low80, 100*o.Share.High80)
	}
	o.say("%s", o.Drink)
	if o.Food != "" {
		o.say("%s", o.Food)
	}
	o.say("The room ends at about %.0f °C and %.0f %%.", o.EndTemperature.Mean, 100*o.EndHumidity.Mean)
	if o.EndTemperature.High80-o.EndTemperature.Low80 > 4 || o.EndHumidity.High80-o.EndHumidity.Low80 > 0.35 {
		o.Warnings = append(o.Warnings, fmt.Sprintf("The room at the end is not well known: %.0f to %.0f °C, %.0f to %.0f %%. Its size, and what is open, would narrow it.",
			o.EndTemperature.Low80, o.EndTemperature.High80, 100*o.EndHumidity.Low80, 100*o.EndHumidity.High80))
	}
	if ride.End.Temperature > 40 || o.Temperature < 5 {
		o.Warnings = append(o.Warnings, "This room is outside the 5 to 40 °C this heat model has been looked at in.")
	}
	if ride.CorePeak >= stopCore {
		o.Cautions = append(o.Cautions, "This effort in this room could make you dangerously hot. Cool the room, ride easier or shorter, and do not ride alone. Stop if you feel confused, faint, sick or oddly cold: that is an emergency, cool down at once and call for help. Some medicines and illnesses lower what you stand; ask a doctor.")
	}
}

func (o *Outlook) say(format string, args ...any) {
	o.Lines = append(o.Lines, fmt.Sprintf(format, args...))
}

// aboutAir is the sentence on airflow.
func (o *Outlook) aboutAir(c Case, ride Ride) string {
	minutes := max(1, math.Floor(o.HeatSteadyS/60))
	past := "this ride is over before that matters"
	if o.HeatSteadyS > 0 {
		past = fmt.Sprintf("without it this effort is not steady past %.0f min", minutes)
		if o.Airflow > 0 {
			past = fmt.Sprintf("as it is this effort is not steady past %.0f min", minutes)
		}
	}
	have := ""
	if o.Airflow > 0 {
		have = fmt.Sprintf(" You have about %.1f m/s (%s).", o.Airflow, o.AirflowFrom)
	}
	switch {
	case !FansHelp(o.Temperature, o.Humidity) || !FansHelp(ride.End.Temperature, ride.End.Humidity()):
		return fmt.Sprintf("In dry air this hot a fan is no help and may heat you: cool the room first, or stay below about %.0f W.", roundDown(o.WattsThatWould, 5))
	case o.AirflowNeeded == 0:
		return "Still air carries that away; it takes no fan." + have
	case math.IsInf(o.AirflowNeeded, 1):
		until := ""
		if o.HeatSteadyS > 0 {
			until = fmt.Sprintf(" past %.0f min", minutes)
		}
		return fmt.Sprintf("No fan keeps this steady%s in this room as it gets. As it is about %.0f W would be, with the best fan %.0f W.%s", until, roundDown(o.WattsThatWould, 5), roundDown(o.WattsAtBest, 5), have)
	case c.Airflow >= o.AirflowNeeded:
		return fmt.Sprintf("Your air does it: about %.1f m/s on chest and face (%s), %.1f m/s is enough.", o.Airflow, o.AirflowFrom, roundUp(o.AirflowNeeded, 0.1))
	}
	return fmt.Sprintf("A fan at %g m/s or more on chest and face; %s.%s", roundUp(o.AirflowNeeded, 0.5), past, have)
}

func roundTo(x, unit float64) float64   { return unit * math.Round(x/unit) }
func roundDown(x, unit float64) float64 { return unit * math.Floor(x/unit) }
func roundUp(x, unit float64) float64   { return unit * math.Ceil(x/unit-1e-9) }
