package web

import (
	"net/http"
	"strings"

	"chainline/internal/store"
)

// Guide leads from page to page to a first brief.
type Guide struct {
	Number     int // of the step, from 1 to 4
	Path, Link string
}

// guide is the step that comes next, nil once there is a brief or where the
// page says it itself.
func (s *Server) guide(r *http.Request, b *Base) (*Guide, error) {
	if b.Bare || b.Section == "/" || b.Section == "" || b.Section == "/settings" {
		return nil, nil
	}
	briefs, err := s.store.Briefs(r.Context(), "")
	if err != nil || len(briefs) > 0 {
		return nil, err
	}
	g := &Guide{Number: 1}
	for _, step := range []struct {
		kind       store.Kind
		path, link string
	}{{store.Rider, "/riders/new", "Add yourself"}, {store.Rig, "/rigs/new", "Add what you ride on"}, {store.Course, "/courses/new", "Add a course"}} {
		all, err := s.store.Objects(r.Context(), step.kind)
		if err != nil {
			return nil, err
		}
		if len(all) == 0 {
			g.Path, g.Link = step.path, step.link
			break
		}
		g.Number++
	}
	if g.Path == "" {
		g.Path, g.Link = "/briefs/new", "Make the brief"
	}
	if asksFor(g.Path, r.URL.Path) {
		g.Path = ""
	}
	return g, nil
}

// asksFor is whether a page is the one of a step, or one of its forms shown
// again with what is wrong.
func asksFor(step, path string) bool {
	return path == step || strings.HasPrefix(path, step+"/") ||
		step == "/courses/new" && (path == "/courses/file" || path == "/courses/sketch") ||
		step == "/briefs/new" && strings.HasPrefix(path, "/briefs/making/")
}
