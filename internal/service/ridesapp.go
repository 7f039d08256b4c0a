package service

import (
	"context"
	"errors"
	"io"
	"time"
)

var errLater = errors.New("not built yet")

// NewApp opens the library of a store and goes on with imports that were
// running when the program stopped.
func NewApp(c AppConfig) *App { return &App{c: c} }

// Close stops what runs; imports go on when the program is started again.
func (a *App) Close() error { return nil }

// Rides lists rides, the newest first; of all riders if riderID is empty.
func (a *App) Rides(ctx context.Context, riderID string, f RideFilter) ([]RideRow, error) {
	return nil, errLater
}

// Ride is one ride's row.
func (a *App) Ride(ctx context.Context, rideID string) (RideRow, error) { return RideRow{}, errLater }

// RideDebrief is a ride's debrief as it stands now. It takes a second, with a
// brief some, unless the row says it is cached.
func (a *App) RideDebrief(ctx context.Context, rideID string) (DebriefSheet, error) {
	return DebriefSheet{}, errLater
}

// RideChanges are what cleaning found, in the order of time.
func (a *App) RideChanges(ctx context.Context, rideID string) ([]RideChange, error) {
	return nil, errLater
}

// RideOriginal is the file as it came.
func (a *App) RideOriginal(ctx context.Context, rideID string) (RideFile, error) {
	return RideFile{}, errLater
}

// AnswerRide keeps the answer to 'could you have gone harder': no, little,
// much, or empty to take it back.
func (a *App) AnswerRide(ctx context.Context, rideID, harder string) error { return errLater }

// WeighRide keeps what the scales said (kg) and what was drunk (l); all zero
// takes it back.
func (a *App) WeighRide(ctx context.Context, rideID string, before, after, drunk float64) error {
	return errLater
}

// AssignRide says whose ride it is, on what, along which course.
func (a *App) AssignRide(ctx context.Context, rideID string, to Assignment) error { return errLater }

// SetChange takes one change of cleaning back, or makes it again.
func (a *App) SetChange(ctx context.Context, rideID string, index int, undone bool) error {
	return errLater
}

// DeleteRide really deletes a ride, its file and what it taught.
func (a *App) DeleteRide(ctx context.Context, rideID string) error { return errLater }

// Season is what a rider's rides come to, as of a day (zero: today).
func (a *App) Season(ctx context.Context, riderID string, asOf time.Time) (DebriefSeason, error) {
	return DebriefSeason{}, errLater
}

// Learnt lists everything that rides taught of a rider.
func (a *App) Learnt(ctx context.Context, riderID string) ([]LearntItem, error) { return nil, errLater }

// LeaveOut takes one thing that was learnt out of the next briefs, or back in.
func (a *App) LeaveOut(ctx context.Context, riderID, key string, out bool) error { return errLater }

// Spool keeps an uploaded file until an import has taken it in; the name it
// returns is for ImportRequest.Spooled.
func (a *App) Spool(ctx context.Context, filename string, r io.Reader) (string, error) {
	return "", errLater
}

// StartImport begins an import in the background.
func (a *App) StartImport(ctx context.Context, q ImportRequest) (ImportID, error) {
	return "", errLater
}

// Import is how an import stands.
func (a *App) Import(ctx context.Context, id ImportID) (ImportProgress, error) {
	return ImportProgress{}, errLater
}

// Imports lists imports, the newest first.
func (a *App) Imports(ctx context.Context) ([]ImportProgress, error) { return nil, errLater }

// CancelImport stops an import; what it took in stays.
func (a *App) CancelImport(ctx context.Context, id ImportID) error { return errLater }

// ResumeImport goes on with one that was cancelled or failed.
func (a *App) ResumeImport(ctx context.Context, id ImportID) error { return errLater }

// CopyFolder is the folder that finished rides are copied to; empty: none.
func (a *App) CopyFolder(ctx context.Context) (string, error) { return "", errLater }

// SetCopyFolder chooses it. The folder must be there and writable.
func (a *App) SetCopyFolder(ctx context.Context, folder string) error { return errLater }
