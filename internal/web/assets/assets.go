// Package assets is what pages load: one style sheet, one script and the
// fonts, each under a path that holds a hash of its content, so that a
// browser may keep it for ever and never has an old one.
package assets

import (
	"crypto/sha256"
	"embed"
	"encoding/hex"
	"fmt"
	"io/fs"
	"net/http"
	"strconv"
	"strings"

	"chainline/internal/render"
)

//go:generate go run ./build

//go:embed css/*.css
var styles embed.FS

// Bundled from ts/ by `go generate`; committed, so that building the program
// needs neither node nor the bundler.
//
//go:embed dist/app.js
var script []byte

// Prefix is the path below which everything is served.
const Prefix = "/assets/"

type file struct {
	media string
	data  []byte
}

// Set is the assets ready to be served.
type Set struct {
	files map[string]file   // by path
	paths map[string]string // by plain name
}

// New puts the style sheet together and names everything by its content.
func New() (*Set, error) {
	s := &Set{files: map[string]file{}, paths: map[string]string{}}
	var css strings.Builder
	for _, f := range render.Fonts() {
		at := s.add(fmt.Sprintf("font-%d.woff", f.Weight), "font/woff", f.WOFF)
		fmt.Fprintf(&css, "@font-face{font-family:Brief;font-weight:%d;font-display:block;src:url(%s) format('woff')}\n", f.Weight, at)
	}
	css.WriteString(colours())
	wide, phone := render.TypeScale()
	fmt.Fprintf(&css, ":root{%s}\n@media screen and (max-width:640px){:root{%s}}\n", wide, phone)
	css.WriteString(sheetStyle())
	names, err := fs.Glob(styles, "css/*.css")
	if err != nil {
		return nil, err
	}
	for _, name := range names {
		b, err := styles.ReadFile(name)
		if err != nil {
			return nil, err
		}
		css.Write(b)
		css.WriteByte('\n')
	}
	s.add("app.css", "text/css; charset=utf-8", []byte(css.String()))
	s.add("app.js", "text/javascript; charset=utf-8", script)
	return s, nil
}

// colours follow the system unless the page's data-theme says otherwise, so
// that the first paint already has them. Paper is always ink on white.
func colours() string {
	light, dark := render.Tokens(false), render.Tokens(true)
	return fmt.Sprintf(":root{color-scheme:light;%s}\n"+
		"@media screen and (prefers-color-scheme:dark){:root:not([data-theme=light]){color-scheme:dark;%s}}\n"+
		"@media screen{:root[data-theme=dark]{color-scheme:dark;%s}}\n"+
		"@media print{:root{--paper:#fff}}\n", light, dark, dark)
}

// add keeps data under a path with its hash before the ending.
func (s *Set) add(name, media string, data []byte) string {
	sum := sha256.Sum256(data)
	stem, ending, _ := strings.Cut(name, ".")
	path := Prefix + stem + "." + hex.EncodeToString(sum[:8]) + "." + ending
	s.files[path] = file{media, data}
	s.paths[name] = path
	return path
}

// Path is where the asset of a plain name (app.css, app.js) is served. It
// panics for a name that does not exist: a template asked for it.
func (s *Set) Path(name string) string {
	p, ok := s.paths[name]
	if !ok {
		panic("assets: there is no " + name)
	}
	return p
}

// ServeHTTP serves one asset, or answers 404.
func (s *Set) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	f, ok := s.files[r.URL.Path]
	if !ok {
		http.NotFound(w, r)
		return
	}
	h := w.Header()
	h.Set("Content-Type", f.media)
	h.Set("Cache-Control", "public, max-age=31536000, immutable")
	h.Set("Content-Length", strconv.Itoa(len(f.data)))
	if r.Method != http.MethodHead {
		w.Write(f.data)
	}
}
