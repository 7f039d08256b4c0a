package gallery

import "chainline/internal/web"

func settings() []web.State {
	full := web.NewSettingsPage("dark", "imperial", nil)
	full.Set, full.Demo = true, true
	full.Riders = []web.SettingsRider{{ID: "demo-newcomer", Name: "Aoife Tallon"}, {ID: "r1", Name: "Maren"}}
	return []web.State{
		{Name: "settings", Page: web.NewSettingsPage("", "", nil)},
		{Name: "settings-full", Page: full},
		{Name: "settings-wrong", Page: web.NewSettingsPage("", "", map[string]string{"passphrase": "Expected 12 to 200 characters.",
			"archive": "Nothing was added: this is no zip file."})},
	}
}
