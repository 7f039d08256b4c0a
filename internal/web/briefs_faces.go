package web

import (
	"bytes"
	"mime"
	"net/http"

	"chainline/internal/render"
)

// sheetPolicy is for a brief by itself: one file with its style and fonts in
// it, and nothing else. A page from an archive may be anybody's, so it is
// shut in as well.
const sheetPolicy = "default-src 'none'; style-src 'unsafe-inline'; font-src data:; base-uri 'none'; form-action 'none'; frame-ancestors 'none'; sandbox"

// briefFace is a brief as something to print, to save or to read by programs.
func (s *Server) briefFace(w http.ResponseWriter, r *http.Request) error {
	b, err := s.keptBrief(r)
	if err != nil {
		return err
	}
	face, media, data := r.PathValue("face"), "text/html; charset=utf-8", b.Page
	switch face {
	case "delete":
		return s.show(w, r, http.StatusOK, &DeletePage{Base: briefsBase("Delete " + b.Title + "?"), Action: "/briefs/" + b.ID + "/delete", Keep: "/briefs/" + b.ID, Button: "Delete it",
			Says: "The brief for " + b.Title + " is really deleted. The rider, the rig and the course stay."})
	case "page", "file":
	case "json":
		media, data = "application/json", b.Result
	case "card":
		kept, err := readKept(b.Result)
		if err != nil {
			return err
		}
		var card bytes.Buffer
		if err := render.Card(&card, kept.forCard()); err != nil {
			return err
		}
		data = card.Bytes()
	default:
		return notFound("There is no page at this address.")
	}
	if len(data) == 0 {
		return notFound("This brief was kept without that.")
	}
	if face != "json" {
		u, err := s.units(r.Context())
		if err != nil {
			return err
		}
		data = shown(r, data, u, s.namesOf(r.Context(), b)...)
	}
	h := w.Header()
	h.Set("Content-Type", media)
	if face == "page" || face == "card" {
		h.Set("Content-Security-Policy", sheetPolicy)
	} else {
		ending := map[string]string{"file": ".html", "json": ".json"}[face]
		h.Set("Content-Disposition", mime.FormatMediaType("attachment", map[string]string{"filename": "brief " + b.Title + ending}))
	}
	w.Write(data)
	return nil
}
