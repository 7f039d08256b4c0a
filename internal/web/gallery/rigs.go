package gallery

import "chainline/internal/web"

func rigs() []web.State {
	base := func(title string) web.Base { return web.Base{Title: title, Section: "/rigs"} }
	plain := map[string]string{"wheel": "on", "plug": "no", "harder": "no", "watts": "nothing"}
	smart := map[string]string{"wheel": "off", "plug": "yes", "harder": "yes", "watts": "crank"}
	drums := map[string]string{"wheel": "rollers", "watts": "nothing"}
	machine := map[string]string{"wheel": "no_bike", "watts": "trainer"}
	ask := func(answers map[string]string) *web.RigAskPage {
		return &web.RigAskPage{Base: base("A new rig"), Form: web.NewForm("/rigs/new", answers, nil),
			Questions: web.RigQuestions(answers), Said: web.SayRig(answers, ""), Next: "/rigs/new/details"}
	}
	page := func(title, id string, answers, values, errs map[string]string) *web.RigPage {
		return &web.RigPage{Base: base(title), ID: id, Said: web.SayRig(answers, ""), Ask: "/rigs/new",
			Form: web.NewRigForm("/rigs/new/details", values, errs, answers, 0)}
	}
	filled := map[string]string{"called": "Box room", "room.temperature_c": "20", "room.humidity_percent": "55", "room.volume_m3": "24", "room.openings": "closed",
		"room.fans.0.kind": "pedestal", "room.fans.0.distance_m": "1.5", "room.fans.0.setting": "high", "room.fans.0.count": "1",
		"room.clothing": "shorts", "trainer.power_curve": "20 90\n30 190\n40 340", "trainer.gears.chainrings": "48, 34", "sensors.speed": "yes"}
	wrong := map[string]string{"room.temperature_c": "warm", "room.fans.0.distance_m": "2", "room.fans.1.kind": "desk", "room.fans.1.count": "many",
		"trainer.power_curve": "20\n30 190", "sensors.none": "yes", "sensors.speed": "yes"}
	errs := map[string]string{"room.temperature_c": "Found warm; expected a temperature like 21 °C.",
		"room.fans.0.kind": "Choose which fan this is, or leave empty what follows.", "room.fans.1.count": "A whole number, please.",
		"trainer.power_curve": "Row 1 is not a wheel speed and its watts, such as 30 200.", "sensors.none": "Either none of these or those that are ticked."}
	return []web.State{
		{Name: "rigs-empty", Page: &web.RigsPage{Base: base("Rigs"), Empty: web.Empty{Says: "There is no rig yet.", Why: "A rig is what you ride on and the room it stands in.", Path: "/rigs/new", Link: "Add a rig"}}},
		{Name: "rigs", Page: &web.RigsPage{Base: base("Rigs"), Rigs: []web.RigLine{
			{ID: "b1", Name: "Box room", Said: web.SayRig(plain, "speed"), Room: "The room: 20\u00a0°C, 55\u00a0% humidity, 24\u00a0m³, door and window shut, a pedestal fan 1.5\u00a0m away on high.", Demo: true},
			{ID: "b2", Name: "Garage", Said: web.SayRig(smart, ""), Unknown: "temperature, humidity, size, what stands open and fans"},
			{ID: "b3", Name: "Club night", Said: web.SayRig(drums, "none"), Unknown: "humidity"},
			{ID: "b4", Name: "At the gym", Said: web.SayRig(machine, "none"), Unknown: "fans"},
			{ID: "b5", Name: "From elsewhere", Unread: "This rig cannot be read by this version of the program."},
		}}},
		{Name: "rig-ask", Page: ask(nil)},
		{Name: "rig-ask-answered", Page: ask(smart)},
		{Name: "rig-new", Page: page("A new rig", "", nil, nil, nil)},
		{Name: "rig", Page: page("Box room", "b1", plain, filled, nil)},
		{Name: "rig-watts", Page: page("Garage", "b2", smart, map[string]string{"called": "Garage", "trainer.ceiling": "15 450\n40 1600", "power_source.accuracy_percent": "2", "room.fans.0.kind": "none"}, nil)},
		{Name: "rig-wrong", Page: page("A new rig", "", plain, wrong, errs)},
	}
}
