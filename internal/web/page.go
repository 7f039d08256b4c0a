package web

import (
	"net/http"
)

// Page is the struct of one page: it embeds Base and names its template.
type Page interface {
	Template() string // file in templates/, like "riders.html"
	base() *Base
}

// Base is what every page has. A handler sets Title and Section; the rest is
// set when the page is written.
type Base struct {
	Title   string // of the tab: say where one is
	Section string // path of the entry of the navigation that is marked, like "/riders"

	Theme   string // "light", "dark", or empty: as the system has it
	Here    string // path and query of this page
	Flash   string // said once after something was done
	Guide   *Guide // the way to a first brief, until there is one
	Version string
	Guarded bool // a passphrase is set: offer to log out
	Dark    bool // dark unless light was chosen: read from afar, in a dim room
	Bare    bool // no navigation: whoever sees this is not in yet
	Waits   bool // for something that goes on: without script it is asked for again
}

func (b *Base) base() *Base { return b }

// entry is one line of the navigation.
type entry struct {
	Path, Name string
	Current    bool
}

// sections are the navigation, in the order a person meets the pages.
var sections = []entry{
	{Path: "/", Name: "Next ride"},
	{Path: "/riders", Name: "Riders"},
	{Path: "/rigs", Name: "Rigs"},
	{Path: "/courses", Name: "Courses"},
	{Path: "/roads", Name: "Roads"},
	{Path: "/events", Name: "Events"},
	{Path: "/races", Name: "Races"},
	{Path: "/briefs", Name: "Briefs"},
	{Path: "/ride", Name: "Ride"},
	{Path: "/rides", Name: "Debriefs"},
	{Path: "/settings", Name: "Settings"},
}

// Navigation is the sections with this page's marked.
func (b *Base) Navigation() []entry {
	all := make([]entry, len(sections))
	for i, e := range sections {
		e.Current = e.Path == b.Section
		all[i] = e
	}
	return all
}

// themes are the choices of the switch between light and dark.
var themes = []Option{{Value: "", Label: "As the system"}, {Value: "light", Label: "Light"}, {Value: "dark", Label: "Dark"}}

// Themes are the choices of the switch between light and dark.
func (b *Base) Themes() []Option { return themes }

// show writes a page with what every page has filled in.
func (s *Server) show(w http.ResponseWriter, r *http.Request, status int, p Page) error {
	b := p.base()
	theme, err := s.store.Setting(r.Context(), settingTheme)
	if err != nil {
		return err
	}
	b.Theme = knownTheme(theme)
	b.Version = s.version
	b.Guarded = s.guarded()
	if r.Method == http.MethodGet {
		b.Here = r.URL.RequestURI()
	}
	b.Flash = takeFlash(w, r)
	if b.Guide, err = s.guide(r, b); err != nil {
		return err
	}
	u, err := s.units(r.Context())
	if err != nil {
		return err
	}
	body, err := s.templates.Execute(p)
	if err != nil {
		return err
	}
	if u != asFiled && spokenInMetric(p) {
		text, err := s.restated(r.Context(), string(body), p, u)
		if err != nil {
			return err
		}
		body = []byte(text)
	}
	send(w, status, body)
	if !ahead(r) {
		s.warmed.Do(s.warm)
	}
	return nil
}

// write executes a page in memory and then sends it, so that nothing
// half-made is ever seen.
func (s *Server) write(w http.ResponseWriter, status int, p Page) error {
	body, err := s.templates.Execute(p)
	if err != nil {
		return err
	}
	send(w, status, body)
	return nil
}

func send(w http.ResponseWriter, status int, body []byte) {
	h := w.Header()
	h.Set("Content-Type", "text/html; charset=utf-8")
	h.Set("Cache-Control", "no-store")
	w.WriteHeader(status)
	w.Write(body)
}

func knownTheme(s string) string {
	if s == "light" || s == "dark" {
		return s
	}
	return ""
}
