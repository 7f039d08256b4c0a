package web

import (
	"fmt"
	"net/http"
	"slices"
	"sync"
)

// ErrorPage says what went wrong in a sentence.
type ErrorPage struct {
	Base
	Status  int
	Message string
	Hint    string
}

// Template names the page's template.
func (*ErrorPage) Template() string { return "error.html" }

// DeletePage asks once more before something is deleted.
type DeletePage struct {
	Base
	Says         string // what goes and what stays
	Action, Keep string // where one goes with yes and with no
	Button       string
	Stay         string // the way back in words; empty: Keep it
	Version      string // of what it is part of, see meanwhile.go; empty where all of it goes
}

// Template names the page's template.
func (*DeletePage) Template() string { return "delete.html" }

// LoginPage asks for the passphrase.
type LoginPage struct {
	Base
	To         string
	Passphrase Field
}

// Template names the page's template.
func (*LoginPage) Template() string { return "login.html" }

// GalleryPage lists every state of every page.
type GalleryPage struct {
	Base
	States []State
}

// Template names the page's template.
func (*GalleryPage) Template() string { return "gallery.html" }

// galleryRoutes serve canned pages as they are: nothing is read from the
// store, and what is sent is counted and forgotten.
func (s *Server) galleryRoutes() {
	if len(s.gallery) == 0 {
		return
	}
	var mu sync.Mutex // canned pages are shared
	s.get("/gallery", func(w http.ResponseWriter, r *http.Request) error {
		return s.write(w, http.StatusOK, &GalleryPage{Base: Base{Title: "Gallery"}, States: s.gallery})
	})
	s.get("/gallery/{name}", func(w http.ResponseWriter, r *http.Request) error {
		mu.Lock()
		defer mu.Unlock()
		i := slices.IndexFunc(s.gallery, func(st State) bool { return st.Name == r.PathValue("name") })
		if i < 0 {
			return notFound("The gallery has no such state.")
		}
		b := s.gallery[i].Page.base()
		b.Theme, b.Here = knownTheme(r.FormValue("theme")), r.URL.RequestURI()
		return s.write(w, http.StatusOK, s.gallery[i].Page)
	})
	s.upload("/gallery/upload", func(_ http.ResponseWriter, r *http.Request) error {
		_, file, err := r.FormFile("file")
		if err != nil {
			return refuse(http.StatusBadRequest, "There was no file.")
		}
		return refuse(http.StatusBadRequest, fmt.Sprintf("The gallery keeps nothing: %s has %d bytes.", file.Filename, file.Size))
	})
}

// FieldsPage shows every kind of field; only the gallery has one.
type FieldsPage struct {
	Base
	Form       *Form
	Fields     []Field
	Drop, Live Field
}

// Template names the page's template.
func (*FieldsPage) Template() string { return "fields.html" }
