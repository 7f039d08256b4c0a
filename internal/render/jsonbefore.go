package render

import (
	"chainline/brief"
	"chainline/estimate"
)

// What has to be known and done before the start, as JSON.

type roomJSON struct {
	Known          bool         `json:"known"`
	Temperature    num          `json:"temperature_c"`
	Humidity       num          `json:"humidity_percent"`
	Assumed        string       `json:"assumed"`
	Airflow        num          `json:"airflow_m_s"`
	AirflowFrom    string       `json:"airflow_from"`
	MetabolicHeat  num          `json:"metabolic_heat_w"`
	EndTemperature estimateJSON `json:"end_temperature_c"`
	EndHumidity    estimateJSON `json:"end_humidity_percent"`
	AirflowNeeded  num          `json:"airflow_needed_m_s"` // null: none suffices
	WattsThatWould num          `json:"watts_that_would"`
	HeatSteady     num          `json:"heat_steady_s"`
	Standard       string       `json:"standard"`
	Sweat          estimateJSON `json:"sweat_l_per_h"`
	Fluid          fluidJSON    `json:"fluid_l"`
	LossPercent    num          `json:"loss_percent"`
	Drink          string       `json:"drink"`
	Food           string       `json:"food"`
	Lines          []string     `json:"lines"`
}

type fluidJSON struct {
	Low  num `json:"low"`
	High num `json:"high"`
}

type stepJSON struct {
	Start    num    `json:"start_s"`
	Duration num    `json:"duration_s"`
	Watts    num    `json:"watts"`
	Name     string `json:"name"`
	Exertion int    `json:"exertion"`
}

type momentJSON struct {
	At    num    `json:"at_s"`
	Clock string `json:"clock"`
	What  string `json:"what"`
}

type worthJSON struct {
	What        string `json:"what"`
	Seconds     num    `json:"seconds"`
	Low80       num    `json:"low80_s"`
	High80      num    `json:"high80_s"`
	NarrowsFrom num    `json:"narrows_from_s"`
	NarrowsTo   num    `json:"narrows_to_s"`
	Why         string `json:"why"`
	AlreadyDone bool   `json:"already_done"`
}

type testJSON struct {
	What        string `json:"what"`
	Maximal     bool   `json:"maximal"`
	Recommended bool   `json:"recommended"`
	SDNow       num    `json:"sd_now_w"`
	SDThen      num    `json:"sd_then_w"`
	Narrows     num    `json:"narrows_s"`
	Sentence    string `json:"sentence"`
}

func newRoom(r brief.RoomSheet) roomJSON {
	return roomJSON{Known: r.Known, Temperature: num(r.Temperature), Humidity: num(100 * r.Humidity), Assumed: r.Assumed,
		Airflow: num(r.Airflow), AirflowFrom: r.AirflowFrom, MetabolicHeat: num(r.MetabolicHeatW),
		EndTemperature: newEstimate(r.EndTemperature), EndHumidity: newEstimate(scaled(r.EndHumidity, 100)),
		AirflowNeeded: num(r.AirflowNeeded), WattsThatWould: num(r.WattsThatWould), HeatSteady: num(r.HeatSteadyS),
		Standard: r.Standard, Sweat: newEstimate(r.SweatLPerH), Fluid: fluidJSON{num(r.FluidLow), num(r.FluidHigh)},
		LossPercent: num(r.LossPercent), Drink: r.Drink, Food: r.Food, Lines: list(r.Lines)}
}

// scaled is an estimate in another unit.
func scaled(e estimate.Estimate, by float64) estimate.Estimate {
	return estimate.Estimate{Mean: by * e.Mean, SD: by * e.SD, Low80: by * e.Low80, High80: by * e.High80, Origin: e.Origin}
}

func newSteps(steps []brief.WarmUpStep) []stepJSON {
	out := []stepJSON{}
	for _, s := range steps {
		out = append(out, stepJSON{num(s.StartS), num(s.DurationS), num(s.Watts), s.Name, s.Exertion})
	}
	return out
}

func newTimeline(moments []brief.Moment) []momentJSON {
	out := []momentJSON{}
	for _, m := range moments {
		out = append(out, momentJSON{num(m.AtS), m.Clock, m.What})
	}
	return out
}

func newWorth(worth []brief.Worth) []worthJSON {
	out := []worthJSON{}
	for _, w := range worth {
		out = append(out, worthJSON{w.What, num(w.Seconds), num(w.Low80), num(w.High80), num(w.NarrowsFromS), num(w.NarrowsToS),
			w.Why, w.AlreadyDone})
	}
	return out
}

func newTest(t brief.NextTest) testJSON {
	return testJSON{t.What, t.Maximal, t.Recommended, num(t.SDNow), num(t.SDThen), num(t.Seconds), t.Sentence}
}
