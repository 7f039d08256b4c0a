package live

import (
	"errors"
	"slices"
)

// Riding is whether a rider of the store rides just now.
func (m *Manager) Riding(rider string) bool {
	return slices.ContainsFunc(m.Rides(), func(r *Ride) bool { return r.Riding.Setup.Of.Rider == rider })
}

// Forget removes the rides of riders of the store, begun or not: they were
// deleted, and nothing of theirs may stay. What goes on is left alone.
func (m *Manager) Forget(riders ...string) error {
	all, err := m.list()
	for _, s := range all {
		if s.Of.Rider != "" && slices.Contains(riders, s.Of.Rider) {
			err = errors.Join(err, m.Delete(s.ID))
		}
	}
	return err
}
