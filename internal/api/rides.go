package api

import (
	"bytes"
	"context"
	"errors"
	"io"
	"net/http"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// rideLibrary is what these routes need.
type rideLibrary interface {
	Rides(ctx context.Context, riderID string, f service.RideFilter) ([]service.RideRow, error)
	Ride(ctx context.Context, rideID string) (service.RideRow, error)
	RideDebrief(ctx context.Context, rideID string) (service.DebriefSheet, error)
	AnswerRide(ctx context.Context, rideID, harder string) error
	DeleteRide(ctx context.Context, rideID string) error
	ShareRide(ctx context.Context, w io.Writer, rideID, version string, without []string) error
	Season(ctx context.Context, riderID string, asOf time.Time) (service.DebriefSeason, error)
	StartImport(ctx context.Context, q service.ImportRequest) (service.ImportID, error)
	Import(ctx context.Context, id service.ImportID) (service.ImportProgress, error)
	CancelImport(ctx context.Context, id service.ImportID) error
	ResumeImport(ctx context.Context, id service.ImportID) error
}

// RideList are rides, the newest first.
type RideList struct {
	Items []service.RideRow `json:"items"`
}

// ImportBody is what is to be brought in.
type ImportBody struct {
	Paths []string `json:"paths" minItems:"1" maxItems:"1000" doc:"Files, archives or folders on the machine this program runs on, as whole paths."`
	Rider string   `json:"rider,omitempty" maxLength:"40" doc:"ID of the rider whose rides they are."`
	Rig   string   `json:"rig,omitempty" maxLength:"40" doc:"ID of the rig of those ridden indoors."`
}

type (
	ridesInput struct {
		Rider string `query:"rider" maxLength:"40" doc:"ID of a rider; left out: everybody's."`
		Limit int    `query:"limit" minimum:"0" maximum:"10000" doc:"How many, the newest first; 0: all."`
	}
	ridesOutput  struct{ Body RideList }
	rideOutput   struct{ Body service.RideRow }
	sheetOutput  struct{ Body service.DebriefSheet }
	seasonOutput struct{ Body service.DebriefSeason }
	answerInput  struct {
		IDInput
		Body struct {
			Harder string `json:"could_have_gone_harder" enum:"no,little,much," doc:"Empty takes the answer back."`
		}
	}
	shareInput struct {
		IDInput
		Without []string `query:"without" doc:"What is left out: heart_rate, mass, name."`
	}
	shareOutput struct {
		Type        string `header:"Content-Type"`
		Disposition string `header:"Content-Disposition"`
		Body        []byte
	}
	importInput  struct{ Body ImportBody }
	importOutput struct{ Body service.ImportProgress }
)

func (a *api) rideRoutes() {
	const tag = "rides"
	wrong := []int{http.StatusNotFound, http.StatusUnprocessableEntity}
	huma.Register(a.huma, operation(http.MethodGet, "/rides", "list-rides", "The rides that are kept", tag, wrong...), a.listRides)
	huma.Register(a.huma, operation(http.MethodGet, "/rides/{id}", "get-ride", "One ride in short", tag, wrong...), a.getRide)
	huma.Register(a.huma, operation(http.MethodGet, "/rides/{id}/debrief", "get-debrief", "What a ride was, how it went against its plan and what it taught", tag, wrong...), a.getDebrief)
	huma.Register(a.huma, operation(http.MethodPut, "/rides/{id}/answer", "answer-ride", "Answer whether one could have gone harder", tag, append(wrong, http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType)...), a.answerRide)
	huma.Register(a.huma, operation(http.MethodDelete, "/rides/{id}", "delete-ride", "Really delete a ride, its file and what it taught", tag, wrong...), a.deleteRide)
	share := operation(http.MethodGet, "/rides/{id}/share", "share-ride", "The share file of a ride", tag, wrong...)
	a.raw(&share, "200", "application/zip", "The share file; its form is in docs/formats.md", nil)
	huma.Register(a.huma, share, a.shareRide)
	huma.Register(a.huma, operation(http.MethodGet, "/riders/{id}/season", "get-season", "What a rider's rides come to", tag, wrong...), a.getSeason)
	begin := operation(http.MethodPost, "/imports", "start-import", "Bring rides in, in the background", tag, append(bodyErrors, http.StatusNotFound)...)
	begin.DefaultStatus = http.StatusAccepted
	huma.Register(a.huma, begin, a.startImport)
	huma.Register(a.huma, operation(http.MethodGet, "/imports/{id}", "get-import", "How an import stands", tag, wrong...), a.getImport)
	huma.Register(a.huma, operation(http.MethodPost, "/imports/{id}/cancel", "cancel-import", "Stop an import; what it brought in stays", tag, wrong...), a.changeImport(rideLibrary.CancelImport))
	huma.Register(a.huma, operation(http.MethodPost, "/imports/{id}/resume", "resume-import", "Go on with an import that was stopped", tag, wrong...), a.changeImport(rideLibrary.ResumeImport))
}

// rideLibrary is the library, or that there is none.
func (a *api) rideLibrary() (rideLibrary, error) {
	if a.Library == nil {
		return nil, &problem.Error{Kind: problem.Misuse, Message: "this program was started without a library of rides", Err: store.ErrNotFound}
	}
	return a.Library, nil
}

// missing gives what is not there a sentence.
func missing(what string, err error) error {
	if errors.Is(err, store.ErrNotFound) {
		return &problem.Error{Kind: problem.Misuse, Message: "there is no such " + what, Err: err}
	}
	return err
}

func (a *api) listRides(ctx context.Context, in *ridesInput) (*ridesOutput, error) {
	l, err := a.rideLibrary()
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	rows, err := l.Rides(ctx, in.Rider, service.RideFilter{Limit: in.Limit})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	if rows == nil {
		rows = []service.RideRow{}
	}
	return &ridesOutput{RideList{rows}}, nil
}

func (a *api) getRide(ctx context.Context, in *IDInput) (*rideOutput, error) {
	l, err := a.rideLibrary()
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	row, err := l.Ride(ctx, in.ID)
	return &rideOutput{row}, a.failed(ctx, missing("ride", err))
}

func (a *api) getDebrief(ctx context.Context, in *IDInput) (*sheetOutput, error) {
	l, err := a.rideLibrary()
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	sheet, err := l.RideDebrief(ctx, in.ID)
	return &sheetOutput{sheet}, a.failed(ctx, missing("ride", err))
}

func (a *api) answerRide(ctx context.Context, in *answerInput) (*struct{}, error) {
	l, err := a.rideLibrary()
	if err == nil {
		err = missing("ride", l.AnswerRide(ctx, in.ID, in.Body.Harder))
	}
	return nil, a.failed(ctx, err)
}

func (a *api) deleteRide(ctx context.Context, in *IDInput) (*struct{}, error) {
	l, err := a.rideLibrary()
	if err == nil {
		err = missing("ride", l.DeleteRide(ctx, in.ID))
	}
	return nil, a.failed(ctx, err)
}

func (a *api) shareRide(ctx context.Context, in *shareInput) (*shareOutput, error) {
	l, err := a.rideLibrary()
	var b bytes.Buffer
	if err == nil {
		err = missing("ride", l.ShareRide(ctx, &b, in.ID, a.Version, in.Without))
	}
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	return &shareOutput{"application/zip", attachment("ride-" + in.ID + ".chainline.zip"), b.Bytes()}, nil
}

func (a *api) getSeason(ctx context.Context, in *IDInput) (*seasonOutput, error) {
	l, err := a.rideLibrary()
	if err == nil {
		_, err = a.object(ctx, store.Rider, in.ID)
	}
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	season, err := l.Season(ctx, in.ID, time.Time{})
	return &seasonOutput{season}, a.failed(ctx, err)
}

func (a *api) startImport(ctx context.Context, in *importInput) (*importOutput, error) {
	l, err := a.rideLibrary()
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	id, err := l.StartImport(ctx, service.ImportRequest{Paths: in.Body.Paths, RiderID: in.Body.Rider, RigID: in.Body.Rig})
	if err != nil {
		return nil, a.failed(ctx, missing("rider or rig", err))
	}
	m, err := l.Import(ctx, id)
	return &importOutput{m}, a.failed(ctx, err)
}

func (a *api) getImport(ctx context.Context, in *IDInput) (*importOutput, error) {
	l, err := a.rideLibrary()
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	m, err := l.Import(ctx, service.ImportID(in.ID))
	return &importOutput{m}, a.failed(ctx, missing("import", err))
}

func (a *api) changeImport(change func(rideLibrary, context.Context, service.ImportID) error) func(context.Context, *IDInput) (*importOutput, error) {
	return func(ctx context.Context, in *IDInput) (*importOutput, error) {
		l, err := a.rideLibrary()
		if err == nil {
			err = missing("import", change(l, ctx, service.ImportID(in.ID)))
		}
		if err != nil {
			return nil, a.failed(ctx, err)
		}
		return a.getImport(ctx, in)
	}
}
