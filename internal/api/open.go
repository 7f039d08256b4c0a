package api

import (
	"context"
	"errors"
	"fmt"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Asked is who rides on what, in an address.
type Asked struct {
	Rider string `query:"rider" required:"true" maxLength:"40" doc:"ID of a rider."`
	Rig   string `query:"rig" required:"true" maxLength:"40" doc:"ID of a rig."`
	Date  string `query:"date" doc:"Day of the ride like 2026-12-03; left out: the event's, else today."`
}

// named are the IDs of what a request is about; empty means not given.
type named struct{ Rider, Rig, Road, Course, Event string }

// request is a request to internal/service about what the store keeps. All of
// it is fetched now, so that it is of one moment and a missing one is named by
// its key.
func (a *api) request(ctx context.Context, n named) (service.BriefRequest, error) {
	q := service.BriefRequest{Today: a.Now(), Workers: a.Workers, Seed: 1}
	files := map[string]string{}
	for _, want := range []struct {
		kind store.Kind
		id   string
		to   *string
	}{{store.Rider, n.Rider, &q.Rider}, {store.Rig, n.Rig, &q.Rig}, {store.Road, n.Road, &q.Road},
		{store.Course, n.Course, &q.Course}, {store.Event, n.Event, &q.Event}} {
		if want.id == "" {
			continue
		}
		o, err := a.object(ctx, want.kind, want.id)
		if errors.Is(err, store.ErrNotFound) {
			return q, &problem.Error{Kind: problem.Misuse, Path: string(want.kind),
				Message: fmt.Sprintf("%s: there is no %s %.60q; expected the ID of one that is kept", want.kind, want.kind, want.id)}
		}
		if err != nil {
			return q, err
		}
		name, text := o.File()
		*want.to, files[name] = name, text
	}
	q.Open = service.Texts(files)
	if a.Library != nil {
		var err error
		if q.Taught, err = a.Library.Taught(ctx, n.Rider); err != nil {
			return q, err
		}
	}
	return q, nil
}
