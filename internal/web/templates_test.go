package web_test

import (
	"bytes"
	"regexp"
	"slices"
	"testing"

	"github.com/jba/templatecheck"

	"chainline/internal/web"
	"chainline/internal/web/assets"
	"chainline/internal/web/gallery"
)

func load(t *testing.T) *web.Templates {
	t.Helper()
	files, err := assets.New()
	if err != nil {
		t.Fatal(err)
	}
	templates, err := web.LoadTemplates(files)
	if err != nil {
		t.Fatal(err)
	}
	return templates
}

var (
	inline = regexp.MustCompile(`(?i)<style|\sstyle=|\son[a-z]+=|<script(?:>|\s+(?:[^s>]|s[^r>]))|javascript:`)
	ids    = regexp.MustCompile(`\sid="([^"]*)"`)
)

// Every branch of every template asks only for what its struct has, whether
// a state reaches the branch or not.
func TestEveryTemplateFitsItsStruct(t *testing.T) {
	templates := load(t)
	var shown []string
	for _, st := range gallery.States() {
		name := st.Page.Template()
		shown = append(shown, name)
		tmpl := templates.Lookup(name)
		if tmpl == nil {
			t.Errorf("%s: there is no template %s", st.Name, name)
			continue
		}
		if err := templatecheck.CheckHTML(tmpl, st.Page); err != nil {
			t.Errorf("%s: %v", st.Name, err)
		}
	}
	for _, name := range templates.Names() {
		if !slices.Contains(shown, name) {
			t.Errorf("%s has no state in the gallery", name)
		}
	}
}

func TestEveryStateIsAPage(t *testing.T) {
	templates := load(t)
	names := map[string]bool{}
	for _, st := range gallery.States() {
		if names[st.Name] {
			t.Errorf("two states are called %s", st.Name)
		}
		names[st.Name] = true
		body, err := templates.Execute(st.Page)
		if err != nil {
			t.Errorf("%s: %v", st.Name, err)
			continue
		}
		if n := bytes.Count(body, []byte("<h1")); n != 1 {
			t.Errorf("%s has %d headings of the first level; expected 1", st.Name, n)
		}
		if at := inline.Find(body); at != nil {
			t.Errorf("%s has something inline, which the policy refuses: %q", st.Name, at)
		}
		seen := map[string]bool{}
		for _, id := range ids.FindAllSubmatch(body, -1) {
			if seen[string(id[1])] {
				t.Errorf("%s has two elements with id %q", st.Name, id[1])
			}
			seen[string(id[1])] = true
		}
	}
}

// odd asks riders.html to show what it does not have.
type odd struct{ web.Base }

func (*odd) Template() string { return "login.html" }

func TestUnknownFieldsFail(t *testing.T) {
	templates := load(t)
	if _, err := templates.Execute(&odd{}); err == nil {
		t.Error("a struct without the template's fields was taken")
	}
	if err := templatecheck.CheckHTML(templates.Lookup("login.html"), &odd{}); err == nil {
		t.Error("the check takes a struct without the template's fields")
	}
}
