package web_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"html"
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
	"testing"

	"chainline/internal/render"
	"chainline/internal/render/font"
	"chainline/internal/web/gallery"
)

// lent are characters that the font does not have, and why that does no harm.
var lent = map[rune]string{
	'\ufeff': "read away at the beginning of a file", '\u202f': "read as a space", '\u2009': "read as a space", '≈': "read as a word for about",
}

// speaking are the packages whose sentences pages show. Faces for terminals
// are no pages.
var speaking = []string{"brief", "capacity", "course", "debrief", "pacing", "race", "rig", "room", "session", "internal/form", "internal/live", "internal/problem", "internal/render",
	"internal/ride", "internal/service", "internal/sensor", "internal/web", "internal/web/gallery"}

// The font that pages carry can show what they say: whatever stands in the
// gallery, in templates, style sheets and scripts, and in sentences that only
// some rides bring up.
func TestTheFontHasEveryCharacter(t *testing.T) {
	var fonts []*font.Font
	for _, f := range render.Fonts() {
		read, err := font.Read(f.WOFF)
		if err != nil {
			t.Fatal(err)
		}
		fonts = append(fonts, read)
	}
	seen, missing := map[rune]bool{}, map[rune][]string{}
	look := func(where, text string) {
		for _, c := range text {
			if c < 0x80 {
				continue
			}
			seen[c] = true
			if slices.ContainsFunc(fonts, func(f *font.Font) bool { return !f.Has(c) }) && !slices.Contains(missing[c], where) {
				missing[c] = append(missing[c], where)
			}
		}
	}
	templates := load(t)
	for _, st := range gallery.States() {
		body, err := templates.Execute(st.Page)
		if err != nil {
			t.Fatal(err)
		}
		look("the gallery's "+st.Name, html.UnescapeString(string(body)))
	}
	for _, dir := range []string{"templates", "assets/css", "assets/ts", "../render"} {
		err := filepath.WalkDir(dir, func(path string, d fs.DirEntry, err error) error {
			if err != nil || d.IsDir() || !slices.Contains([]string{".html", ".css", ".ts", ".tmpl"}, filepath.Ext(path)) {
				return err
			}
			b, err := os.ReadFile(path)
			look(path, html.UnescapeString(string(b)))
			return err
		})
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, dir := range speaking {
		sayings(t, filepath.Join("../..", dir), look)
	}
	for c, where := range missing {
		if lent[c] == "" {
			t.Errorf("the font lacks %q (%U), said by %v", c, c, where[:min(len(where), 4)])
		}
	}
	for c := range lent {
		if len(missing[c]) == 0 {
			t.Errorf("%q (%U) is lent, but nobody says it or the font has it", c, c)
		}
	}
	for _, c := range "′–−×·±°²³‘’" { // such as they are known to be said
		if !seen[c] {
			t.Errorf("nobody says %q: this test looks at the wrong places", c)
		}
	}
}

// sayings are the strings in a package's code, but for those of the terminal.
func sayings(t *testing.T, dir string, look func(where, text string)) {
	t.Helper()
	files, err := filepath.Glob(filepath.Join(dir, "*.go"))
	if err != nil || len(files) == 0 {
		t.Fatal(dir, err)
	}
	for _, path := range files {
		if name := filepath.Base(path); strings.HasSuffix(name, "_test.go") || strings.HasPrefix(name, "text") || strings.HasSuffix(dir, "render") && strings.HasPrefix(name, "live") {
			continue
		}
		f, err := parser.ParseFile(token.NewFileSet(), path, nil, 0)
		if err != nil {
			t.Fatal(err)
		}
		ast.Inspect(f, func(n ast.Node) bool {
			if lit, ok := n.(*ast.BasicLit); ok && (lit.Kind == token.STRING || lit.Kind == token.CHAR) {
				if s, err := strconv.Unquote(lit.Value); err == nil {
					look(fmt.Sprint(filepath.ToSlash(path)), s)
				}
			}
			return true
		})
	}
}
