package gallery

import "chainline/internal/web"

func roads() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/roads"} }
	page := func(title, id string, values, errs map[string]string) *web.RoadPage {
		p := &web.RoadPage{Base: base(title), ID: id}
		p.Form, p.Parts = web.NewRoadForm("/roads/new", values, errs, 0)
		return p
	}
	lane := map[string]string{"name": "Rough lane", "bike_mass_kg": "11", "crr": "0.009", "crr_sd": "0.002", "bearings": "no"}
	overtaken := map[string]string{"name": "Rough lane", "bike_mass_kg": "11", "kept.bike_mass_kg": "9.5", "crr": "0.009", "kept.crr": "", "bearings": "no", "kept.bearings": ""}
	return []web.State{
		{Name: "roads-empty", Page: &web.RoadsPage{Usual: "15 °C", Base: base("Roads")}},
		{Name: "roads", Page: &web.RoadsPage{Usual: "15 °C", Base: base("Roads"), Roads: []web.RoadLine{
			{ID: "a1", Name: "Rough lane", Says: "A bike of 11\u00a0kg, a rolling resistance of 0.009; the rest as the open road."},
			{ID: "a2", Name: "Harbour front", Demo: true, Says: "As the open road."},
			{ID: "a3", Name: "From elsewhere", Unread: "This road cannot be read by this version of the program."},
		}}},
		{Name: "road-new", Page: page("A new road", "", nil, nil)},
		{Name: "road", Page: page("Rough lane", "a1", lane, nil)},
		{Name: "road-overtaken", Page: page("Rough lane", "a1", overtaken, map[string]string{"": "This was changed in another window since you opened it here. Where an answer below is not the one that is kept now, the kept one stands beside it. Change what you like and keep it: what stands in the form then replaces the other's."})},
		{Name: "road-wrong", Page: page("A new road", "", map[string]string{"bike_mass_kg": "light", "cda_sd_m2": "0.02"}, map[string]string{
			"name": "Give it a name, by which a course can be ridden on it.", "bike_mass_kg": "Found light; expected a mass like 8.6 kg.",
			"cda_sd_m2": "Only with a drag area."})},
	}
}
