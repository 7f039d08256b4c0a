package gallery

import "chainline/internal/web"

func shared() []web.State {
	secret := web.Field{Name: "passphrase", Label: "Passphrase", Kind: "secret", Fill: "current-password"}
	wrong := secret
	wrong.Error = "That is not the passphrase."
	return []web.State{
		{Name: "error-not-found", Page: &web.ErrorPage{Base: web.Base{Title: "Nothing here"}, Status: 404, Message: "There is no page at this address."}},
		{Name: "error-inside", Page: &web.ErrorPage{Base: web.Base{Title: "That went wrong"}, Status: 500, Message: "Something went wrong inside the program.", Hint: "What you have saved is safe. The program's log says more under ABCD1234."}},
		{Name: "delete", Page: &web.DeletePage{Base: web.Base{Title: "Delete Box room?", Section: "/rigs"}, Action: "/rigs/b1/delete", Keep: "/rigs", Button: "Delete Box room",
			Says: "The rig and its room are really deleted; there is no way back. Briefs made with it stay as they are."}},
		{Name: "login", Page: &web.LoginPage{Base: web.Base{Title: "Passphrase", Bare: true}, To: "/", Passphrase: secret}},
		{Name: "login-wrong", Page: &web.LoginPage{Base: web.Base{Title: "Passphrase", Bare: true}, To: "/", Passphrase: wrong}},
		{Name: "gallery", Page: &web.GalleryPage{Base: web.Base{Title: "Gallery"}}},
		{Name: "every-field", Page: everyField()},
	}
}

// everyField shows each kind of question, right and wrong.
func everyField() *web.FieldsPage {
	f := web.NewForm("/", map[string]string{"mass": "15o lb", "kind": "road", "unknown.watts": "yes", "note": "two lines\nof text"},
		map[string]string{"mass": "Found 15o lb; expected a mass like 68 kg or 150 lb.", "kind": "Choose one."})
	two := []web.Option{{Value: "road", Label: "A bike on a trainer"}, {Value: "bike", Label: "A bike built for indoors", Hint: "it has no wheels"}}
	drop := f.Field(web.Field{Name: "file", Label: "File", Kind: "file", Accept: ".gpx,.csv"})
	live := f.Field(web.Field{Name: "degrees", Label: "Temperature", Unit: "°C", Numeric: true})
	return &web.FieldsPage{Base: web.Base{Title: "Every field", Flash: "This was done."}, Form: f, Drop: drop, Live: live, Fields: []web.Field{
		f.Field(web.Field{Name: "mass", Label: "Mass", Unit: "kg", Numeric: true, Hint: "As you ride: 68 kg or 150 lb."}),
		f.Field(web.Field{Name: "watts", Label: "Power you hold for an hour", Unit: "W", Numeric: true, Unknown: true}),
		f.Field(web.Field{Name: "kind", Label: "What do you ride on?", Kind: "radio", Options: two, Unknown: true}),
		f.Field(web.Field{Name: "style", Label: "Style", Kind: "select", Options: two, Unknown: true}),
		f.Field(web.Field{Name: "note", Label: "Note", Kind: "area"}),
		f.Field(web.Field{Name: "agreed", Label: "I have read this", Kind: "check"}),
		f.Field(web.Field{Name: "day", Label: "Day", Kind: "date"}),
		f.Field(web.Field{Name: "start", Label: "Start", Kind: "time"}),
		f.Field(web.Field{Name: "id", Kind: "hidden"}),
	}}
}
