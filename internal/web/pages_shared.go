package web

import (
	"net/http"
	"strings"
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

// galleryRoutes serve canned pages as they are: nothing is read from the store.
func (s *Server) galleryRoutes() {
	if len(s.gallery) == 0 {
		return
	}
	s.get("/gallery", func(w http.ResponseWriter, r *http.Request) error {
		return s.write(w, http.StatusOK, &GalleryPage{Base: Base{Title: "Gallery"}, States: s.gallery})
	})
	s.get("/gallery/{name}", func(w http.ResponseWriter, r *http.Request) error {
		for _, st := range s.gallery {
			if st.Name == r.PathValue("name") {
				b := *st.Page.base() // canned pages are shared: put back what is changed
				defer func() { *st.Page.base() = b }()
				st.Page.base().Theme = knownTheme(r.FormValue("theme"))
				return s.write(w, http.StatusOK, st.Page)
			}
		}
		return notFound("There is no state " + strings.ToValidUTF8(r.PathValue("name"), "") + ".")
	})
}

// FieldsPage shows every kind of field; only the gallery has one.
type FieldsPage struct {
	Base
	Form   *Form
	Fields []Field
}

// Template names the page's template.
func (*FieldsPage) Template() string { return "fields.html" }
