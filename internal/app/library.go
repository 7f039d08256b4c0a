package app

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"chainline/internal/service"
	"chainline/internal/store"
)

// Library opens the rides of a data folder for a command, without pages. Close
// what it returns; errors are those of opening and closing.
func Library(ctx context.Context, dir string, now func() time.Time, log *slog.Logger, workers int) (*service.App, func() error, error) {
	s, err := store.Open(ctx, dir)
	if err != nil {
		return nil, nil, err
	}
	s.Now, s.Check = now, check
	a := service.NewApp(service.AppConfig{Store: s, Now: now, Log: log, Workers: workers})
	return a, func() error { return errors.Join(a.Close(), s.Close()) }, nil
}
