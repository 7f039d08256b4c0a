package web

import (
	"net/http"
)

// SettingsPage is what is chosen for all pages.
type SettingsPage struct {
	Base
	Form       *Form
	Passphrase Field
	Set        bool // a passphrase is kept
}

// Template names the page's template.
func (*SettingsPage) Template() string { return "settings.html" }

func (s *Server) settingRoutes() {
	s.get("/settings", s.settings)
	s.post("/settings/theme", s.setTheme)
	s.post("/settings/passphrase", s.setPassphrase)
}

func (s *Server) settings(w http.ResponseWriter, r *http.Request) error {
	return s.showSettings(w, r, http.StatusOK, nil)
}

func (s *Server) showSettings(w http.ResponseWriter, r *http.Request, status int, errs map[string]string) error {
	kept, err := s.store.Setting(r.Context(), SettingPassphrase)
	if err != nil {
		return err
	}
	f := NewForm("/settings/passphrase", nil, errs)
	return s.show(w, r, status, &SettingsPage{
		Base: Base{Title: "Settings", Section: "/settings"},
		Form: f, Set: kept != "",
		Passphrase: f.Field(Field{Name: "passphrase", Label: "New passphrase", Kind: "secret", Fill: "new-password", Hint: "12 characters or more. Four or five words in a row are easy to type and hard to guess."}),
	})
}

// setTheme keeps light or dark, and goes back to where one was.
func (s *Server) setTheme(w http.ResponseWriter, r *http.Request) error {
	if err := s.store.SetSetting(r.Context(), settingTheme, knownTheme(r.PostFormValue("theme"))); err != nil {
		return err
	}
	return s.see(w, r, localPath(r.PostFormValue("back")), "")
}

// setPassphrase keeps a new passphrase and ends all visits: everybody, this
// browser too, comes back with the new one.
func (s *Server) setPassphrase(w http.ResponseWriter, r *http.Request) error {
	hash, err := HashPassphrase(r.PostFormValue("passphrase"))
	if err != nil {
		return s.showSettings(w, r, http.StatusBadRequest, map[string]string{"passphrase": "Expected 12 to 200 characters."})
	}
	if err := s.store.SetSetting(r.Context(), SettingPassphrase, hash); err != nil {
		return err
	}
	if err := s.store.DeleteVisits(r.Context()); err != nil {
		return err
	}
	if s.guarded() {
		s.hash.Store(&hash)
	}
	return s.see(w, r, "/settings", "The passphrase is kept. It is asked for whenever the program listens on a network.")
}
