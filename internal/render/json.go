package render

import (
	"encoding/json"
	"io"
	"math"
	"strconv"

	"chainline/brief"
	"chainline/course"
	"chainline/estimate"
)

// Schema names the form of the JSON. It changes when a key is taken away or
// changes its meaning; added keys leave it as it is.
const Schema = "chainline-brief/1"

// JSON writes the brief as JSON, indented by two spaces, every number in full.
// The keys are in docs/formats.md. What is not a finite number is null: an
// open end of a rule's gradients, or what has no value.
func JSON(w io.Writer, b brief.Brief) error {
	out, err := json.MarshalIndent(newBriefJSON(b), "", "  ")
	if err != nil {
		return err
	}
	_, err = w.Write(append(out, '\n'))
	return err
}

// num is a float64 that is null where it is not finite.
type num float64

// MarshalJSON writes the shortest decimal that reads back as the same number.
func (n num) MarshalJSON() ([]byte, error) {
	x := float64(n)
	if math.IsNaN(x) || math.IsInf(x, 0) {
		return []byte("null"), nil
	}
	format := byte('f')
	if a := math.Abs(x); a != 0 && (a < 1e-6 || a >= 1e21) {
		format = 'e'
	}
	return strconv.AppendFloat(nil, x, format, -1, 64), nil
}

type briefJSON struct {
	Schema   string       `json:"schema"`
	Title    string       `json:"title"`
	When     string       `json:"when"`
	On       string       `json:"on"`
	Kind     string       `json:"kind"`
	Made     string       `json:"made"`
	Rider    riderJSON    `json:"rider"`
	Rig      rigJSON      `json:"rig"`
	Road     roadJSON     `json:"road"`
	Course   courseJSON   `json:"course"`
	Plan     planJSON     `json:"plan"`
	Forecast forecastJSON `json:"forecast"`
	Room     roomJSON     `json:"room"`

	WarmUp         []stepJSON   `json:"warm_up"`
	WarmUpBalance  num          `json:"warm_up_balance_at_gun_fraction"`
	WarmUpLastHard num          `json:"warm_up_last_hard_s"`
	WarmUpTimeline []momentJSON `json:"warm_up_timeline"`
	WarmUpCoolDown []stepJSON   `json:"warm_up_cool_down"`
	WarmUpWhy      string       `json:"warm_up_why"`

	Worth    []worthJSON `json:"worth"`
	NextTest testJSON    `json:"next_test"`

	Warnings []string `json:"warnings"`
	Cautions []string `json:"cautions"`
}

type estimateJSON struct {
	Mean   num    `json:"mean"`
	SD     num    `json:"sd"`
	Low80  num    `json:"low80"`
	High80 num    `json:"high80"`
	Origin string `json:"origin"`
}

func newEstimate(e estimate.Estimate) estimateJSON {
	return estimateJSON{num(e.Mean), num(e.SD), num(e.Low80), num(e.High80), e.Origin}
}

type riderJSON struct {
	Name          string         `json:"name"`
	Mass          num            `json:"mass_kg"`
	HeartRateMax  num            `json:"max_heart_rate_bpm"`
	HeartMaxFrom  string         `json:"max_heart_rate_from"`
	Capacity      capacityJSON   `json:"capacity"`
	CapacityExact bool           `json:"capacity_exact"`
	Model         string         `json:"model"`
	Evidence      []evidenceJSON `json:"evidence"`
	Next          string         `json:"next"`
}

type capacityJSON struct {
	CriticalPower estimateJSON `json:"critical_power_w"`
	WPrime        estimateJSON `json:"w_prime_j"`
	MaxPower      estimateJSON `json:"max_power_w"`
	Threshold     estimateJSON `json:"threshold_w"`
	Fade          estimateJSON `json:"fade_w"`
}

type evidenceJSON struct {
	What string `json:"what"`
	When string `json:"when"`
	Used string `json:"used"`
}

type rigJSON struct {
	Trainer   string `json:"trainer"`
	Source    string `json:"source"`
	Accuracy  num    `json:"accuracy_fraction"`
	Speaks    string `json:"speaks"`
	Floor     num    `json:"floor_w"`
	Ceiling   num    `json:"ceiling_w"`
	Room      string `json:"room"`
	CurveFrom string `json:"curve_from"`
	CurveSD   num    `json:"curve_sd_fraction"`
}

type roadJSON struct {
	Name          string       `json:"name"`
	BikeMass      num          `json:"bike_mass_kg"`
	CdA           estimateJSON `json:"cda_m2"`
	Crr           estimateJSON `json:"crr"`
	Efficiency    num          `json:"drivetrain_efficiency"`
	AirDensity    num          `json:"air_density_kg_m3"`
	AirFrom       string       `json:"air_from"`
	DescentCap    num          `json:"descent_cap_m_s"`
	StartSpeed    num          `json:"start_speed_m_s"`
	Bearings      bool         `json:"bearings"`
	WheelDragArea num          `json:"wheel_drag_area_m2"`
	WheelInertia  num          `json:"wheel_inertia_kg_m2"`
	WheelRadius   num          `json:"wheel_radius_m"`
}

type courseJSON struct {
	Name      string        `json:"name"`
	Known     string        `json:"known"`
	Distance  num           `json:"distance_m"`
	Ascent    num           `json:"ascent_m"`
	RawAscent num           `json:"raw_ascent_m"`
	Smoothing string        `json:"smoothing"`
	Laps      int           `json:"laps"`
	Sections  int           `json:"sections"`
	Climbs    []climbJSON   `json:"climbs"`
	Profile   profileJSON   `json:"profile"`
	Plausible []profileJSON `json:"plausible"`
}

type climbJSON struct {
	Start    num `json:"start_m"`
	Length   num `json:"length_m"`
	Ascent   num `json:"ascent_m"`
	Mean     num `json:"mean_gradient"`
	Steepest num `json:"steepest_gradient"`
}

type profileJSON struct {
	Distance  []num `json:"distance_m"`
	Elevation []num `json:"elevation_m"`
}

func newProfile(p course.Profile) profileJSON {
	return profileJSON{nums(p.Distance), nums(p.Elevation)}
}

func nums(xs []float64) []num {
	out := make([]num, len(xs))
	for i, x := range xs {
		out[i] = num(x)
	}
	return out
}

type planJSON struct {
	Style       string      `json:"style"`
	ChanceLimit num         `json:"chance_limit"`
	Recovery    string      `json:"recovery"`
	Reserve     num         `json:"reserve_j"`
	ForCP       num         `json:"for_critical_power_w"`
	ForWPrime   num         `json:"for_w_prime_j"`
	Cues        []cueJSON   `json:"cues"`
	Rules       []ruleJSON  `json:"rules"`
	Time        num         `json:"time_s"`
	OptimumTime num         `json:"optimum_time_s"`
	EvenWatts   num         `json:"even_watts"`
	EvenTime    num         `json:"even_time_s"`
	RulesTime   num         `json:"rules_time_s"`
	BalanceMin  num         `json:"w_balance_min_j"`
	MeanWatts   num         `json:"mean_watts"`
	Kept        num         `json:"kept_fraction"`
	Equivalent  num         `json:"equivalent_watts"`
	OfThreshold num         `json:"share_of_threshold"`
	Load        num         `json:"load_threshold_hours"`
	Trace       []traceJSON `json:"trace"`
}

type cueJSON struct {
	Number    int    `json:"number"`
	From      num    `json:"from_m"`
	To        num    `json:"to_m"`
	Start     num    `json:"start_s"`
	Last      num    `json:"last_s"`
	Watts     num    `json:"watts"`
	Name      string `json:"name"`
	WPerKg    num    `json:"w_per_kg"`
	Share     num    `json:"share_of_critical_power"`
	Wheel     num    `json:"wheel_km_h"`
	WheelLow  num    `json:"wheel_low80_km_h"`
	WheelHigh num    `json:"wheel_high80_km_h"`
	Exertion  int    `json:"exertion"`
	Feel      string `json:"feel"`
	HeartLow  num    `json:"heart_low_bpm"`
	HeartHigh num    `json:"heart_high_bpm"`
	Balance   num    `json:"w_balance_end_j"`
	Gear      string `json:"gear"`
	Flag      string `json:"flag"`
}

type ruleJSON struct {
	From      num    `json:"from_gradient"`
	To        num    `json:"to_gradient"`
	Name      string `json:"name"`
	Watts     num    `json:"watts"`
	WPerKg    num    `json:"w_per_kg"`
	Wheel     num    `json:"wheel_km_h"`
	WheelLow  num    `json:"wheel_low80_km_h"`
	WheelHigh num    `json:"wheel_high80_km_h"`
	Exertion  int    `json:"exertion"`
	Feel      string `json:"feel"`
	HeartLow  num    `json:"heart_low_bpm"`
	HeartHigh num    `json:"heart_high_bpm"`
	Share     num    `json:"share_of_time"`
	Gear      string `json:"gear"`
	Flag      string `json:"flag"`
}

type traceJSON struct {
	At        num `json:"m"`
	Elevation num `json:"elevation_m"`
	Watts     num `json:"watts"`
	Optimum   num `json:"optimum_watts"`
	Speed     num `json:"speed_m_s"`
	Seconds   num `json:"seconds"`
	Balance   num `json:"w_balance_j"`
}

type forecastJSON struct {
	Draws       int    `json:"draws"`
	Seed        uint64 `json:"seed"`
	Median      num    `json:"median_s"`
	Low80       num    `json:"low80_s"`
	High80      num    `json:"high80_s"`
	EvenMedian  num    `json:"even_median_s"`
	ChanceEmpty num    `json:"chance_empty"`
	EmptyAt     num    `json:"empty_at_m"`
	EmptyCue    int    `json:"empty_cue"`
	Alone       bool   `json:"alone"`
	Rest        string `json:"drawn"`
	FiveWatts   num    `json:"five_watts_more_saves_s"`
	DragArea    num    `json:"drag_area_0_01_m2_less_saves_s"`
	OneKg       num    `json:"one_kg_more_costs_s"`
}
