package web

import (
	"strings"

	"chainline/internal/form"
)

// RoadPart is some questions about a road.
type RoadPart struct {
	Title, Hint string
	Fields      []Field
	Folded      bool // opened only if somebody wants to
	Open        bool // something in it is answered or wrong
}

// Place is the part's id on the page.
func (p RoadPart) Place() string {
	return "h-" + strings.ToLower(strings.ReplaceAll(strings.Split(p.Title, ",")[0], " ", "-"))
}

// roadParts are the questions about a road, in the words of docs/formats.md
// where it says what counts if one is left out.
func roadParts(units form.Units) []RoadPart {
	return []RoadPart{
		{Title: "Bike and rider on it", Hint: "What the bike on the course weighs and how hard air and ground hold it back.", Fields: []Field{
			{Name: "bike_mass_kg", Label: "Mass of the bike", Hint: "With everything on it. Left empty: a usual road bike."},
			{Name: "cda_m2", Label: "Drag area, CdA", Hint: "Of rider and bike in the air. Left empty: hands on the hoods, from your height and mass."},
			{Name: "crr", Label: "Rolling resistance, Crr", Hint: "Such as 0.004 for fast tyres on smooth ground. Left empty: road tyres on asphalt."},
		}},
		{Title: "Air", Hint: "The air on the course, which is not that of your room.", Fields: []Field{
			{Name: "temperature_c", Label: "Temperature on the road", Hint: "Left empty: " + units.Temperature(15) + "."},
			{Name: "altitude_m", Label: "Altitude", Hint: "Left empty: that of the course."},
			{Name: "humidity_percent", Label: "Humidity", Hint: "Left empty: dry air."},
			{Name: "pressure_hpa", Label: "Air pressure on the spot", Hint: "Not reduced to sea level. Left empty: what is usual at that altitude."},
			{Name: "air_density_kg_m3", Label: "Density of the air", Hint: "Instead of the four above, not beside them."},
		}},
		{Title: "Start and descents", Fields: []Field{
			{Name: "start_speed_m_s", Label: "Speed at the start line", Hint: "Left empty: from a standstill."},
			{Name: "descent_cap_m_s", Label: "Speed that is never exceeded downhill", Hint: "If the road, or your nerve, has one. Left empty: none."},
		}},
		{Title: "Finer points, if they were measured", Folded: true, Fields: []Field{
			{Name: "cda_sd_m2", Label: "Doubt about the drag area", Hint: "Standard deviation, only with a drag area."},
			{Name: "crr_sd", Label: "Doubt about the rolling resistance", Hint: "Standard deviation, only with a rolling resistance."},
			{Name: "drivetrain_efficiency", Label: "Share of your power that reaches the wheel", Hint: "Left empty: 0.976."},
			{Name: "wheel_radius_m", Label: "Radius of a wheel at the tyre", Hint: "Left empty: " + units.Words("33.4 cm") + "."},
			{Name: "wheel_inertia_kg_m2", Label: "Inertia of both wheels together", Hint: "Left empty: 0.14 kg m²."},
			{Name: "wheel_drag_area_m2", Label: "Drag area of both wheels turning", Hint: "It is added to the drag area. Left empty: 0.0044 m²."},
			{Name: "bearings", Label: "Do the wheel bearings cost power?", Kind: "select", Unknown: true, Options: []Option{{Value: "yes", Label: "Yes, as usual"}, {Value: "no", Label: "No"}}},
		}},
	}
}

// NewRoadForm asks for a road. The name comes first and stands by itself.
func NewRoadForm(action string, values, errs map[string]string, units form.Units) (*Form, []RoadPart) {
	f := NewForm(action, values, errs)
	parts := append([]RoadPart{{Fields: []Field{{Name: "name", Label: "Name", Hint: "By which you will find it again: Rough lane, Track, Wet cobbles."}}}}, roadParts(units)...)
	for i, p := range parts {
		for j, q := range p.Fields {
			p.Fields[j] = keyField(f, form.Road, units, q)
			p.Open = p.Open || p.Fields[j].Value != "" || p.Fields[j].Error != ""
		}
		parts[i] = p
	}
	return f, parts
}

// sayRoad says what was given of a road.
func sayRoad(values map[string]string, units form.Units) string {
	var all []string
	for _, k := range []struct{ path, before, after string }{
		{"bike_mass_kg", "a bike of ", ""}, {"cda_m2", "a drag area of ", ""}, {"crr", "a rolling resistance of ", ""},
		{"temperature_c", "air at ", ""}, {"air_density_kg_m3", "air of ", ""}, {"altitude_m", "", " above the sea"},
		{"descent_cap_m_s", "at most ", " downhill"},
	} {
		if v := values[k.path]; v != "" {
			about, _ := form.About(form.Road, k.path, units)
			if about.Unit != "" {
				v = joinUnit(v, about.Unit)
			}
			all = append(all, k.before+v+k.after)
		}
	}
	if len(all) == 0 {
		return "As the open road."
	}
	says := strings.Join(all, ", ") + "; the rest as the open road."
	return strings.ToUpper(says[:1]) + says[1:]
}
