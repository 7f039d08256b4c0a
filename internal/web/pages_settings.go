package web

import (
	"errors"
	"fmt"
	"mime"
	"net/http"
	"strings"

	"chainline/internal/problem"
	"chainline/internal/store"
)

// SettingsPage is what is chosen for all pages, and what goes in and out as a
// whole.
type SettingsPage struct {
	Base
	Look       *Form // theme
	Colours    Field
	Units      *Form
	Measures   Field
	Riders     []SettingsRider // whose things can be saved alone
	Import     *Form
	Archive    Field
	Demo       bool // the invented club is here
	Form       *Form
	Passphrase Field
	Set        bool // a passphrase is kept
}

// SettingsRider is a rider whose things can be saved.
type SettingsRider struct{ ID, Name string }

// Template names the page's template.
func (*SettingsPage) Template() string { return "settings.html" }

// NewSettingsPage is the page with what is chosen and what is wrong, by field.
func NewSettingsPage(theme, units string, errs map[string]string) *SettingsPage {
	p := &SettingsPage{Base: Base{Title: "Settings", Section: "/settings"},
		Look:   NewForm("/settings/theme", map[string]string{"theme": theme}, nil),
		Units:  NewForm("/settings/units", map[string]string{settingUnits: units}, nil),
		Import: NewForm("/settings/import", nil, only(errs, "archive")),
		Form:   NewForm("/settings/passphrase", nil, only(errs, "passphrase"))}
	p.Colours = p.Look.Field(Field{Name: "theme", Label: "Colours", Kind: "radio", Options: themes})
	p.Measures = p.Units.Field(Field{Name: settingUnits, Label: "Units", Kind: "radio", Hint: "Whatever you choose, you may type either: 70 kg or 154 lb.", Options: []Option{
		{Value: "", Label: "Kilometres, kilograms, °C"}, {Value: "imperial", Label: "Miles, pounds, °F"}}})
	p.Archive = p.Import.Field(Field{Name: "archive", Label: "Archive", Kind: "file", Accept: ".zip", Hint: "A .zip that was saved here or elsewhere, at most 50 MB. What is here already is not added again."})
	p.Passphrase = p.Form.Field(Field{Name: "passphrase", Label: "New passphrase", Kind: "secret", Fill: "new-password", Hint: "12 characters or more. Four or five words in a row are easy to type and hard to guess."})
	return p
}

// only are the errors of one field: the page has several forms.
func only(errs map[string]string, field string) map[string]string {
	if errs[field] == "" {
		return nil
	}
	return map[string]string{field: errs[field]}
}

func (s *Server) settingRoutes() {
	s.get("/settings", s.settings)
	s.post("/settings/theme", s.setTheme)
	s.post("/settings/units", s.setUnits)
	s.get("/settings/export", s.export)
	s.upload("/settings/import", s.importArchive)
	s.post("/settings/demo", s.addDemo)
	s.post("/settings/demo/remove", s.removeDemo)
	s.post("/settings/passphrase", s.setPassphrase)
}

func (s *Server) settings(w http.ResponseWriter, r *http.Request) error {
	return s.showSettings(w, r, http.StatusOK, nil)
}

func (s *Server) showSettings(w http.ResponseWriter, r *http.Request, status int, errs map[string]string) error {
	ctx := r.Context()
	chosen := map[string]string{}
	for _, key := range []string{settingTheme, settingUnits, SettingPassphrase} {
		value, err := s.store.Setting(ctx, key)
		if err != nil {
			return err
		}
		chosen[key] = value
	}
	p := NewSettingsPage(knownTheme(chosen[settingTheme]), chosen[settingUnits], errs)
	p.Set = chosen[SettingPassphrase] != ""
	riders, err := s.store.Objects(ctx, store.Rider)
	if err != nil {
		return err
	}
	for _, o := range riders {
		p.Riders = append(p.Riders, SettingsRider{o.ID, o.Name})
	}
	if p.Demo, err = s.hasDemo(ctx); err != nil {
		return err
	}
	return s.show(w, r, status, p)
}

// setTheme keeps light or dark, and goes back to where one was.
func (s *Server) setTheme(w http.ResponseWriter, r *http.Request) error {
	if err := s.store.SetSetting(r.Context(), settingTheme, knownTheme(r.PostFormValue("theme"))); err != nil {
		return err
	}
	return s.see(w, r, localPath(r.PostFormValue("back")), "")
}

func (s *Server) setUnits(w http.ResponseWriter, r *http.Request) error {
	units := ""
	if r.PostFormValue(settingUnits) == "imperial" {
		units = "imperial"
	}
	if err := s.store.SetSetting(r.Context(), settingUnits, units); err != nil {
		return err
	}
	return s.see(w, r, "/settings", "The units are changed.")
}

// export sends an archive while it is written. If that breaks off, so does the
// download: half an archive must not look whole.
func (s *Server) export(w http.ResponseWriter, r *http.Request) error {
	name, id := "chainline", r.FormValue("rider")
	if id != "" {
		o, err := s.ofKind(r.Context(), store.Rider, id)
		if err != nil {
			return err
		}
		name += " " + strings.Map(func(c rune) rune {
			if strings.ContainsRune(`/\:*?"<>|`, c) {
				return '-'
			}
			return c
		}, o.Name)
	}
	h := w.Header()
	h.Set("Content-Type", "application/zip")
	h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": name + " " + s.now().Format("2006-01-02") + ".zip"}))
	if err := s.store.Export(r.Context(), w, id); err != nil {
		s.log.Error("an export broke off", "id", requestID(r), "err", err)
		panic(http.ErrAbortHandler)
	}
	return nil
}

// importArchive adds what an archive has, all of it or nothing.
func (s *Server) importArchive(w http.ResponseWriter, r *http.Request) error {
	again := func(says string) error {
		return s.showSettings(w, r, http.StatusUnprocessableEntity, map[string]string{"archive": says})
	}
	sent, head, err := r.FormFile("archive")
	if err != nil || head.Filename == "" {
		return again("No file came with it; choose an archive that ends in .zip.")
	}
	defer sent.Close()
	report, err := s.store.Import(r.Context(), sent, head.Size)
	if _, ok := errors.AsType[*problem.Error](err); ok {
		return again("Nothing was added: " + oneLine(err))
	}
	if err != nil {
		return err
	}
	return s.see(w, r, "/settings", importSaid(report))
}

// importSaid is what an import did, in a sentence or two.
func importSaid(report store.Report) string {
	added := map[string]int{}
	for _, e := range report.Added {
		added[e.Kind]++
	}
	var parts []string
	for _, kind := range append(append([]store.Kind{}, store.Kinds...), "brief", "check", "ride", "calendar", "result list", "start list") {
		switch n := added[string(kind)]; {
		case n == 1:
			parts = append(parts, "1 "+string(kind))
		case n > 1:
			parts = append(parts, fmt.Sprintf("%d %ss", n, kind))
		}
	}
	said := "Nothing new was in it."
	if len(parts) > 0 {
		said = "Added: " + strings.Join(parts, ", ") + "."
	}
	switch n := len(report.Known); {
	case n == 1:
		said += " 1 was here already."
	case n > 1:
		said += fmt.Sprintf(" %d were here already.", n)
	}
	return said
}

func (s *Server) addDemo(w http.ResponseWriter, r *http.Request) error {
	if err := s.loadDemo(r.Context()); err != nil {
		return err
	}
	return s.see(w, r, "/", "The invented club is here: three riders with their rigs, courses and events. Settings removes it again.")
}

func (s *Server) removeDemo(w http.ResponseWriter, r *http.Request) error {
	if err := s.store.RemoveDemo(r.Context()); err != nil {
		return err
	}
	return s.see(w, r, "/settings", "The invented club is gone, and the briefs made for its riders.")
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
