package api

import (
	"context"
	"encoding/json"
	"net/http"
	"path"
	"reflect"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// CheckEntry is a rig check in a list.
type CheckEntry struct {
	ID    string    `json:"id"`
	Title string    `json:"title"`
	Made  time.Time `json:"made"`
	Rider string    `json:"rider" doc:"ID."`
	Rig   string    `json:"rig" doc:"ID."`
	Ride  string    `json:"ride" doc:"ID of the ride it was made of; empty: of recordings from elsewhere."`
}

// AppliedCorrection is a correction that was applied on purpose.
type AppliedCorrection struct {
	Check   string     `json:"check" doc:"ID."`
	Source  string     `json:"source" doc:"As the check's verdict calls it."`
	Applied time.Time  `json:"applied"`
	Taken   *time.Time `json:"taken_back,omitempty" doc:"Left out while it stands."`
}

// SourceBody names a source of watts.
type SourceBody struct {
	Source string `json:"source" minLength:"1" maxLength:"200" doc:"As the check's verdict calls it."`
}

type (
	checksInput struct {
		Rig string `query:"rig" maxLength:"40" doc:"Of this rig only."`
	}
	checksOutput struct {
		Body struct {
			Items []CheckEntry `json:"items"`
		}
	}
	checkInput struct {
		Rider    string  `query:"rider" required:"true" maxLength:"40" doc:"ID of a rider: errors are stated at their threshold."`
		Rig      string  `query:"rig" required:"true" maxLength:"40" doc:"ID of the rig that is checked."`
		Filename string  `query:"filename" required:"true" minLength:"1" maxLength:"200" example:"evening.fit" doc:"What the file is called."`
		WheelMM  float64 `query:"wheel_mm" minimum:"0" maximum:"5000" doc:"The wheel's circumference as a tape measured it; left out: not measured."`
		RawBody  []byte  `contentType:"application/octet-stream"`
	}
	correctionInput struct {
		IDInput
		Body SourceBody
	}
	correctionsOutput struct {
		Body struct {
			Items []AppliedCorrection `json:"items"`
		}
	}
)

func (a *api) checkRoutes() {
	form := reflect.TypeFor[service.CheckSheet]()
	huma.Register(a.huma, operation(http.MethodGet, "/checks", "list-checks", "All rig checks, the newest first", "checks", http.StatusUnprocessableEntity), a.listChecks)

	create := operation(http.MethodPost, "/checks", "create-check", "Check a rig by a recording and keep the report", "checks",
		http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity)
	create.Description = "The body is the recording as it is: FIT, GPX, CSV, a recording of this program, or an archive of one. The answer is what the command 'chainline check --json' writes; Location says where it is kept."
	create.DefaultStatus, create.MaxBodyBytes = http.StatusCreated, maxUpload
	file := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	create.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"application/octet-stream": file}}
	a.raw(&create, "201", "application/json", "The report", form)
	huma.Register(a.huma, create, a.createCheck)

	get := operation(http.MethodGet, "/checks/{id}", "get-check", "Get a check's report as it was made", "checks", http.StatusNotFound, http.StatusUnprocessableEntity)
	a.raw(&get, "200", "application/json", "The report", form)
	huma.Register(a.huma, get, func(ctx context.Context, in *IDInput) (*fileOutput, error) {
		c, err := a.Store.RigCheck(ctx, in.ID)
		return &fileOutput{Type: "application/json", Body: c.Report}, a.failed(ctx, err)
	})
	huma.Register(a.huma, operation(http.MethodDelete, "/checks/{id}", "delete-check", "Delete a check and its corrections for good", "checks", http.StatusNotFound, http.StatusUnprocessableEntity),
		func(ctx context.Context, in *IDInput) (*struct{}, error) {
			return nil, a.failed(ctx, a.Store.DeleteRigCheck(ctx, in.ID))
		})

	huma.Register(a.huma, operation(http.MethodGet, "/checks/{id}/corrections", "list-corrections", "The corrections that were applied from a check", "checks", http.StatusNotFound, http.StatusUnprocessableEntity),
		func(ctx context.Context, in *IDInput) (*correctionsOutput, error) { return a.corrections(ctx, in.ID) })
	refusals := append(slices.Clone(bodyErrors), http.StatusNotFound)
	huma.Register(a.huma, operation(http.MethodPost, "/checks/{id}/apply", "apply-correction", "Correct the watts of a source from now on", "checks", refusals...),
		func(ctx context.Context, in *correctionInput) (*correctionsOutput, error) {
			return a.correct(ctx, in, a.Store.ApplyCorrection)
		})
	huma.Register(a.huma, operation(http.MethodPost, "/checks/{id}/take-back", "take-back-correction", "Take the watts of a source as they are shown from now on", "checks", refusals...),
		func(ctx context.Context, in *correctionInput) (*correctionsOutput, error) {
			return a.correct(ctx, in, a.Store.TakeBackCorrection)
		})
}

func (a *api) listChecks(ctx context.Context, in *checksInput) (*checksOutput, error) {
	all, err := a.Store.RigChecks(ctx, in.Rig)
	out := &checksOutput{}
	out.Body.Items = []CheckEntry{}
	for _, c := range all {
		out.Body.Items = append(out.Body.Items, CheckEntry{ID: c.ID, Title: c.Title, Made: c.Made, Rider: c.RiderID, Rig: c.RigID, Ride: c.Ride})
	}
	return out, a.failed(ctx, err)
}

// createCheck looks at a recording as the page and the command do, but at no
// earlier rides: those are not the API's to read.
func (a *api) createCheck(ctx context.Context, in *checkInput) (*briefOutput, error) {
	brief, err := a.request(ctx, named{Rider: in.Rider, Rig: in.Rig})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	rig, err := a.object(ctx, store.Rig, in.Rig)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	name := path.Base(strings.ReplaceAll(in.Filename, "\\", "/"))
	rec, losses, err := service.ReadRecording(name, in.RawBody)
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	brief.Draws = 1
	q := service.CheckRequest{Brief: brief, RigName: rig.Name, Looks: []service.CheckLook{{Recording: rec, Name: name}},
		From: append([]string{name}, losses...), TrueCircumference: in.WheelMM / 1000}
	if q.Before, err = a.checkBefore(ctx, in.Rig); err != nil {
		return nil, a.failed(ctx, err)
	}
	sheet, err := service.CheckRig(ctx, q)
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	report, err := json.Marshal(sheet)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	kept, err := a.Store.PutRigCheck(ctx, store.RigCheck{Made: a.Now(), Title: "Check of " + rig.Name, RiderID: in.Rider, RigID: in.Rig, Report: report})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return &briefOutput{Location: Prefix + "/checks/" + kept.ID, Type: "application/json", Body: report}, nil
}

// checkBefore is the last report of a rig; nil if there is none that this
// version can read.
func (a *api) checkBefore(ctx context.Context, rig string) (*service.CheckSheet, error) {
	all, err := a.Store.RigChecks(ctx, rig)
	if err != nil || len(all) == 0 {
		return nil, err
	}
	_, sheet, err := a.sheet(ctx, all[0].ID)
	if err != nil {
		return nil, nil //nolint:nilerr // nothing to compare with
	}
	return &sheet, nil
}

func (a *api) sheet(ctx context.Context, id string) (store.RigCheck, service.CheckSheet, error) {
	var sheet service.CheckSheet
	c, err := a.Store.RigCheck(ctx, id)
	if err == nil && (json.Unmarshal(c.Report, &sheet) != nil || sheet.Schema != service.CheckSchema) {
		err = problem.Bad("this report was written by another version of the program")
	}
	return c, sheet, err
}

// correct applies or takes back the correction of one of a check's sources.
func (a *api) correct(ctx context.Context, in *correctionInput, do func(ctx context.Context, check, source string) error) (*correctionsOutput, error) {
	_, sheet, err := a.sheet(ctx, in.ID)
	if err == nil && !slices.ContainsFunc(sheet.Verdicts, func(v service.CheckVerdict) bool { return v.Source == in.Body.Source && v.Correction != nil }) {
		err = &problem.Error{Kind: problem.Misuse, Path: "source", Message: "source: this check has no correction for it; expected one of those whose verdict is 'use corrected'"}
	}
	if err == nil {
		err = do(ctx, in.ID, in.Body.Source)
	}
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return a.corrections(ctx, in.ID)
}

func (a *api) corrections(ctx context.Context, id string) (*correctionsOutput, error) {
	c, err := a.Store.RigCheck(ctx, id)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	all, err := a.Store.Corrections(ctx, c.RigID)
	out := &correctionsOutput{}
	out.Body.Items = []AppliedCorrection{}
	for _, k := range all {
		if k.CheckID != id {
			continue
		}
		one := AppliedCorrection{Check: k.CheckID, Source: k.Source, Applied: k.Applied}
		if !k.Stands() {
			one.Taken = &k.Taken
		}
		out.Body.Items = append(out.Body.Items, one)
	}
	return out, a.failed(ctx, err)
}
