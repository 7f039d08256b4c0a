package web

import (
	"io"
	"strings"

	"chainline/internal/problem"
	"chainline/internal/service"
)

// texts is a request about files that are at hand, named by what they are.
func (s *Server) texts(files map[string]string) service.BriefRequest {
	q := service.BriefRequest{Today: s.now(), Workers: s.workers, Seed: 1, Draws: 1}
	for kind, to := range map[string]*string{"rider": &q.Rider, "rig": &q.Rig, "road": &q.Road, "event": &q.Event} {
		if _, there := files[kind]; there {
			*to = kind
		}
	}
	q.Open = func(name string) (io.ReadCloser, error) {
		text, there := files[name]
		if !there {
			return nil, problem.Bad("%s: there is no such file", name)
		}
		return io.NopCloser(strings.NewReader(text)), nil
	}
	return q
}
