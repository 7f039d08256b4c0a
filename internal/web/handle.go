package web

import (
	"context"
	"errors"
	"fmt"
	"maps"
	"net/http"
	"slices"
	"strings"

	"chainline/internal/problem"
)

// handler answers a request or says why it could not; the error becomes a
// page.
type handler func(w http.ResponseWriter, r *http.Request) error

// Sizes of what may be sent. An upload is a course file with its form.
const (
	maxForm   = 1 << 20
	maxUpload = 51 << 20
)

func (s *Server) get(pattern string, h handler)    { s.handle("GET "+pattern, maxForm, h) }
func (s *Server) post(pattern string, h handler)   { s.handle("POST "+pattern, maxForm, h) }
func (s *Server) upload(pattern string, h handler) { s.handle("POST "+pattern, maxUpload, h) }

func (s *Server) handle(pattern string, limit int64, h handler) {
	s.mux.HandleFunc(pattern, func(w http.ResponseWriter, r *http.Request) {
		r.Body = http.MaxBytesReader(w, r.Body, limit)
		err := parse(r, limit)
		if err == nil {
			err = h(w, r)
		}
		if err != nil {
			s.fail(w, r, err)
		}
	})
}

// parse reads the form, files and all, into memory: nothing a person sends is
// left in a temporary folder.
func parse(r *http.Request, limit int64) error {
	err := r.ParseForm()
	if err == nil && strings.HasPrefix(r.Header.Get("Content-Type"), "multipart/form-data") {
		err = r.ParseMultipartForm(limit)
	}
	if _, tooBig := errors.AsType[*http.MaxBytesError](err); err == nil || tooBig {
		return err
	}
	return refuse(http.StatusBadRequest, "That form could not be read. Go back and send it again.")
}

// refusal is an answer other than 200 in a sentence for a person.
type refusal struct {
	status  int
	message string
}

func (e *refusal) Error() string { return fmt.Sprintf("%d: %s", e.status, e.message) }

func refuse(status int, message string) error { return &refusal{status, message} }

// notFound says that what was asked for is not there (any more).
func notFound(message string) error { return refuse(http.StatusNotFound, message) }

// fail turns an error into a page. Only sentences written for a person are
// shown; the rest is logged.
func (s *Server) fail(w http.ResponseWriter, r *http.Request, err error) {
	if errors.Is(err, context.Canceled) && r.Context().Err() != nil {
		return // nobody waits for the answer any more
	}
	if ahead(r) {
		return // whoever asks for the page hears of it
	}
	p := &ErrorPage{Status: http.StatusInternalServerError}
	p.Message, p.Hint = problem.ForPerson(err)
	if no, ok := errors.AsType[*refusal](err); ok {
		p.Status, p.Message, p.Hint = no.status, no.message, ""
	} else if tooBig, ok := errors.AsType[*http.MaxBytesError](err); ok {
		limit := tooBig.Limit
		if limit == maxUpload {
			limit -= 1 << 20 // kept for what else is in the form
		}
		p.Status, p.Hint = http.StatusRequestEntityTooLarge, "Nothing was kept. Go back in the browser and choose a smaller one; what you typed is still there."
		p.Message = fmt.Sprintf("That is larger than the %d MB this page takes.", limit>>20)
	} else if e, ok := errors.AsType[*problem.Error](err); ok && e.Kind == problem.Misuse {
		p.Status = http.StatusBadRequest
	} else if !ok {
		p.Hint = "What you have saved is safe. The program's log says more under " + requestID(r) + "."
	}
	if p.Status >= 500 {
		s.log.Error("request failed", "id", requestID(r), "route", r.Pattern, "err", err)
	}
	s.showError(w, r, p)
}

// showError writes an error page, with as little as possible that could fail.
func (s *Server) showError(w http.ResponseWriter, r *http.Request, p *ErrorPage) {
	p.Title = errorTitle(p.Status)
	p.Bare = s.guarded() && !s.inside(r)
	if err := s.show(w, r, p.Status, p); err == nil {
		return
	}
	if err := s.write(w, p.Status, p); err != nil {
		http.Error(w, p.Title+". "+p.Message, p.Status)
	}
}

func errorTitle(status int) string {
	switch {
	case status == http.StatusNotFound:
		return "Nothing here"
	case status == http.StatusRequestEntityTooLarge:
		return "Too large"
	case status >= 500:
		return "That went wrong"
	}
	return "That cannot be done"
}

// see sends the browser to another page after something was done (so that
// loading again does not do it twice), with a sentence to show there.
func (s *Server) see(w http.ResponseWriter, r *http.Request, path, flash string) error {
	if flash != "" {
		putFlash(w, flash)
	}
	w.Header().Set("Cache-Control", "no-store")
	http.Redirect(w, r, path, http.StatusSeeOther)
	return nil
}

func sortedKeys(m map[string]string) []string { return slices.Sorted(maps.Keys(m)) }
