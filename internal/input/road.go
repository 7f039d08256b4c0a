package input

import "io"

// RoadFile is a road file in SI units. Whatever is unknown gets a prior from
// whoever builds the road.
type RoadFile struct {
	Name          string
	BikeMass      Optional[float64] // kg
	CdA           Optional[float64] // m²
	CdASD         Optional[float64] // m², standard deviation
	Crr           Optional[float64]
	CrrSD         Optional[float64]
	Efficiency    Optional[float64] // fraction
	WheelRadius   Optional[float64] // m
	WheelInertia  Optional[float64] // kg·m², both wheels
	WheelDragArea Optional[float64] // m², both wheels
	Bearings      Optional[bool]
	AirDensity    Optional[float64] // kg/m³; if known, the four below are not
	Altitude      Optional[float64] // m
	Temperature   Optional[float64] // °C
	Pressure      Optional[float64] // Pa, on the spot
	Humidity      Optional[float64] // fraction
	StartSpeed    Optional[float64] // m/s
	DescentCap    Optional[float64] // m/s
}

var roadFields = []field{
	{key: "name", form: text},
	{key: "bike_mass_kg", unit: "kg", low: 3, high: 50, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "cda_m2", unit: "m2", low: 0.05, high: 1.5},
	{key: "cda_sd_m2", unit: "m2", low: 0, high: 0.3},
	{key: "crr", low: 0, high: 0.05, hint: "Is it in per cent? 0.4 % is 0.004."},
	{key: "crr_sd", low: 0, high: 0.02},
	{key: "drivetrain_efficiency", low: 0.8, high: 1, hint: "Is it in per cent? 97.6 % is 0.976."},
	{key: "wheel_radius_m", unit: "m", low: 0.15, high: 0.45},
	{key: "wheel_inertia_kg_m2", unit: "kg m2", low: 0, high: 2},
	{key: "wheel_drag_area_m2", unit: "m2", low: 0, high: 0.05},
	{key: "bearings", form: yesNo},
	{key: "air_density_kg_m3", unit: "kg/m3", low: 0.3, high: 2},
	{key: "altitude_m", unit: "m", low: -430, high: 6000},
	{key: "temperature_c", unit: "degrees C", low: -30, high: 50},
	{key: "pressure_hpa", unit: "hPa", low: 300, high: 1100},
	{key: "humidity_percent", unit: "%", low: 0, high: 100},
	{key: "start_speed_m_s", unit: "m/s", low: 0, high: 30, hint: "Is it in km/h? 36 km/h is 10 m/s."},
	{key: "descent_cap_m_s", unit: "m/s", low: 3, high: 50, hint: "Is it in km/h? 72 km/h is 20 m/s."},
}

// ReadRoad reads a road file; name is what its errors call it.
func ReadRoad(name string, r io.Reader) (RoadFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return RoadFile{}, f.err
	}
	o := f.open(top, "", roadFields, "", nil)
	road := RoadFile{
		Name:          o.text("name"),
		BikeMass:      o.number("bike_mass_kg"),
		CdA:           o.number("cda_m2"),
		CdASD:         o.number("cda_sd_m2"),
		Crr:           o.number("crr"),
		CrrSD:         o.number("crr_sd"),
		Efficiency:    o.number("drivetrain_efficiency"),
		WheelRadius:   o.number("wheel_radius_m"),
		WheelInertia:  o.number("wheel_inertia_kg_m2"),
		WheelDragArea: o.number("wheel_drag_area_m2"),
		Bearings:      o.yesNo("bearings"),
		AirDensity:    o.number("air_density_kg_m3"),
		Altitude:      o.number("altitude_m"),
		Temperature:   o.number("temperature_c"),
		Pressure:      o.scaled("pressure_hpa", 100),
		Humidity:      o.scaled("humidity_percent", 0.01),
		StartSpeed:    o.number("start_speed_m_s"),
		DescentCap:    o.number("descent_cap_m_s"),
	}
	if road.AirDensity.Known {
		for _, key := range []string{"altitude_m", "temperature_c", "pressure_hpa", "humidity_percent"} {
			o.refuse(key, "air_density_kg_m3 already says how dense the air is", "either the one or the other", "")
		}
	}
	if !road.CdA.Known {
		o.refuse("cda_sd_m2", "cda_m2 is not known", "a doubt only about a value that is given", "")
	}
	if !road.Crr.Known {
		o.refuse("crr_sd", "crr is not known", "a doubt only about a value that is given", "")
	}
	if f.err != nil {
		return RoadFile{}, f.err
	}
	return road, nil
}
