package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/store"
)

type (
	exportInput struct {
		Rider string `query:"rider" maxLength:"40" doc:"ID of a rider: with their briefs and what these refer to; left out: everything."`
	}
	exportOutput struct {
		Body func(huma.Context)
	}
)

func (a *api) exportRoutes() {
	op := operation(http.MethodGet, "/export", "export", "An archive of one rider or of everything", "export", http.StatusNotFound, http.StatusUnprocessableEntity)
	op.Description = "The form of the archive is in docs/formats.md."
	a.raw(&op, "200", "application/zip", "The archive", nil)
	huma.Register(a.huma, op, a.export)
}

func (a *api) export(ctx context.Context, in *exportInput) (*exportOutput, error) {
	if in.Rider != "" {
		if _, err := a.object(ctx, store.Rider, in.Rider); err != nil {
			return nil, a.failed(ctx, err)
		}
	}
	return &exportOutput{func(c huma.Context) {
		c.SetHeader("Content-Type", "application/zip")
		c.SetHeader("Content-Disposition", attachment("chainline.zip"))
		c.SetStatus(http.StatusOK)
		if err := a.Store.Export(ctx, c.BodyWriter(), in.Rider); err != nil {
			a.Log.ErrorContext(ctx, "export broke off", "err", err)
			panic(http.ErrAbortHandler) // so that half an archive does not look whole
		}
	}}, nil
}
