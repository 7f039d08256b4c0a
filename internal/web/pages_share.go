package web

import (
	"bytes"
	"io"
	"net/http"

	"chainline/internal/service"
)

// Opening a share file that somebody gave.

// OpenSharePage asks for a share file.
type OpenSharePage struct {
	Base
	Form *Form
	File Field
}

// Template names the page's template.
func (*OpenSharePage) Template() string { return "rides-open.html" }

// NewOpenSharePage is the page that asks for a share file.
func NewOpenSharePage(errs map[string]string) *OpenSharePage {
	p := &OpenSharePage{Base: ridesBase("Open a share file"), Form: NewForm("/share/open", nil, errs)}
	p.File = p.Form.Field(Field{Name: "file", Label: "The share file", Kind: "file", Accept: ".zip", Hint: "A ride with its debrief, as another Chainline wrote it."})
	return p
}

func (s *Server) askOpenShare(w http.ResponseWriter, r *http.Request) error {
	return s.show(w, r, http.StatusOK, NewOpenSharePage(nil))
}

// openShare shows what is in a share file; nothing of it is kept.
func (s *Server) openShare(w http.ResponseWriter, r *http.Request) error {
	refused := func(why string) error {
		return s.show(w, r, http.StatusUnprocessableEntity, NewOpenSharePage(map[string]string{"file": why}))
	}
	sent, head, err := r.FormFile("file")
	if err != nil || head.Filename == "" {
		return refused("No file came with it; choose one.")
	}
	defer sent.Close()
	b, err := io.ReadAll(sent)
	if err != nil {
		return err
	}
	shared, err := service.OpenShare(r.Context(), courseFilename(head.Filename), bytes.NewReader(b), int64(len(b)), s.workers)
	if err != nil {
		if r.Context().Err() != nil {
			return err
		}
		return refused(capital(oneLine(err)) + ".")
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	p := newDebriefPage(shared.Sheet, service.Shape(shared.Recording, debriefPieces), units, datesOf(r))
	p.Shared = []string{shared.Words() + " It is not kept; bring in the ride's own file to keep it."}
	return s.show(w, r, http.StatusOK, p)
}
