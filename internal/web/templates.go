package web

import (
	"bytes"
	"embed"
	"fmt"
	"html/template"
	"io/fs"
	"path"
	"slices"

	"chainline/internal/web/assets"
)

//go:embed templates/*.html templates/parts/*.html
var templateFiles embed.FS

// Templates are all pages' templates, parsed.
type Templates struct {
	pages map[string]*template.Template
}

// LoadTemplates parses every page with the layout and the parts.
func LoadTemplates(files *assets.Set) (*Templates, error) {
	shared, err := template.New("").Option("missingkey=error").Funcs(template.FuncMap{
		"asset": files.Path,
		"nb":    func() string { return "\u00a0" },
	}).ParseFS(templateFiles, "templates/parts/*.html")
	if err != nil {
		return nil, err
	}
	names, err := fs.Glob(templateFiles, "templates/*.html")
	if err != nil {
		return nil, err
	}
	t := &Templates{pages: map[string]*template.Template{}}
	for _, name := range names {
		p, err := shared.Clone()
		if err != nil {
			return nil, err
		}
		if p, err = p.ParseFS(templateFiles, name); err != nil {
			return nil, err
		}
		t.pages[path.Base(name)] = p.Lookup("layout")
	}
	return t, nil
}

// Names are the pages' templates, sorted.
func (t *Templates) Names() []string {
	var names []string
	for n := range t.pages {
		names = append(names, n)
	}
	slices.Sort(names)
	return names
}

// Lookup is the template of a page, nil if there is none.
func (t *Templates) Lookup(name string) *template.Template { return t.pages[name] }

// Execute is the page as HTML.
func (t *Templates) Execute(p Page) ([]byte, error) {
	tmpl := t.pages[p.Template()]
	if tmpl == nil {
		return nil, fmt.Errorf("web: there is no template %q", p.Template())
	}
	var out bytes.Buffer
	if err := tmpl.Execute(&out, p); err != nil {
		return nil, err
	}
	return out.Bytes(), nil
}
