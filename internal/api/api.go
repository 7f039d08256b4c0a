// Package api answers programs: the same things as the pages, as JSON below
// /api/v1, described by an OpenAPI document that is generated from the types
// that are read and written. It decides nothing: internal/service computes,
// internal/store keeps.
package api

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"
	"github.com/danielgtaylor/huma/v2/adapters/humago"

	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Prefix is where everything lies.
const Prefix = "/api/v1"

// Store is what things are kept in; internal/store is one.
type Store interface {
	Object(ctx context.Context, id string) (store.Object, error)
	Objects(ctx context.Context, kind store.Kind) ([]store.Object, error)
	Put(ctx context.Context, o store.Object) (store.Object, error)
	PutOver(ctx context.Context, o store.Object, was string) (store.Object, error)
	Delete(ctx context.Context, id string) error
	DeleteOver(ctx context.Context, id, was string) error

	Brief(ctx context.Context, id string) (store.Brief, error)
	Briefs(ctx context.Context, riderID string) ([]store.Brief, error)
	PutBrief(ctx context.Context, b store.Brief) (store.Brief, error)
	DeleteBrief(ctx context.Context, id string) error

	RigCheck(ctx context.Context, id string) (store.RigCheck, error)
	RigChecks(ctx context.Context, rigID string) ([]store.RigCheck, error)
	PutRigCheck(ctx context.Context, c store.RigCheck) (store.RigCheck, error)
	DeleteRigCheck(ctx context.Context, id string) error
	Corrections(ctx context.Context, rigID string) ([]store.Correction, error)
	ApplyCorrection(ctx context.Context, checkID, source string) error
	TakeBackCorrection(ctx context.Context, checkID, source string) error

	Calendars(ctx context.Context) ([]store.Calendar, error)
	PutCalendar(ctx context.Context, c store.Calendar) (store.Calendar, error)
	DeleteCalendar(ctx context.Context, id string) error
	RaceResults(ctx context.Context, eventID string) ([]store.RaceResults, error)
	PutRaceResults(ctx context.Context, r store.RaceResults) (store.RaceResults, error)
	DeleteRaceResults(ctx context.Context, id string) error

	Export(ctx context.Context, w io.Writer, riderID string) error
}

// Config is what an API is made of. Store, Now and Log must be set.
type Config struct {
	Store   Store
	Now     func() time.Time
	Log     *slog.Logger
	Version string
	Workers int     // for a brief's computation; 0: all processors
	Library Library // nil: no rides are kept
}

// Library keeps rides and says what they taught; *service.App does.
type Library interface {
	rideLibrary
	Taught(ctx context.Context, riderID string) (*service.Taught, error)
}

type api struct {
	Config
	huma huma.API
	mux  *http.ServeMux
}

// about is what the document says first.
const about = `Riders, rigs, roads, courses, events, briefs, rig checks and rides of one Chainline program.

Objects are the text of their YAML files, in the formats of docs/formats.md. A refused request changes nothing. Errors are RFC 9457 problems; before the API itself, the program refuses in plain text what asks for it by another name (421), comes from another site (403), or lacks the passphrase where one is set (401).`

// New is the API, to be served below /api/ behind the guards of internal/web.
func New(c Config) http.Handler {
	a := &api{Config: c, mux: http.NewServeMux()}
	registry := huma.NewMapRegistry("#/components/schemas/", func(t reflect.Type, hint string) string {
		name := strings.TrimSuffix(huma.DefaultSchemaNamer(t, hint), "JSON")
		for t.Kind() == reflect.Pointer {
			t = t.Elem()
		}
		switch t.PkgPath() { // their short names are those of a brief's parts, too
		case "chainline/capacity":
			return "Capacity" + name
		case "chainline/debrief":
			return "Debrief" + name
		}
		return name
	})
	registry.RegisterTypeAlias(reflect.TypeFor[render.Number](), reflect.TypeFor[nullable]())
	version := c.Version
	if version == "" {
		version = "development"
	}
	a.huma = humago.New(a.mux, huma.Config{
		OpenAPI: &huma.OpenAPI{
			OpenAPI:    "3.1.0",
			Info:       &huma.Info{Title: "Chainline", Version: version, Description: about},
			Components: &huma.Components{Schemas: registry},
		},
		OpenAPIPath:                  Prefix + "/openapi",
		DocsPath:                     "", // its page would load scripts from elsewhere
		Formats:                      huma.DefaultFormats,
		DefaultFormat:                "application/json",
		RejectUnknownQueryParameters: true,
	})
	a.objectRoutes()
	a.courseRoutes()
	a.briefRoutes()
	a.checkRoutes()
	a.learnRoutes()
	a.exportRoutes()
	a.rideRoutes()
	a.raceRoutes()
	a.mux.HandleFunc("/", a.elsewhere)
	return a.mux
}

// nullable describes render.Number: null where there is no finite number.
type nullable float64

func (nullable) Schema(huma.Registry) *huma.Schema {
	return &huma.Schema{Type: huma.TypeNumber, Format: "double", Nullable: true}
}

// elsewhere answers what no route takes: 405 if another method would do.
func (a *api) elsewhere(w http.ResponseWriter, r *http.Request) {
	var allowed []string
	for _, method := range []string{http.MethodGet, http.MethodPost, http.MethodPut, http.MethodDelete} {
		other := *r
		other.Method = method
		if _, pattern := a.mux.Handler(&other); pattern != "/" {
			allowed = append(allowed, method)
		}
	}
	p := &Problem{Status: http.StatusNotFound, Detail: "There is nothing at this address; " + Prefix + "/openapi.json lists what there is."}
	if len(allowed) > 0 {
		w.Header().Set("Allow", strings.Join(allowed, ", "))
		p = &Problem{Status: http.StatusMethodNotAllowed, Detail: "This address takes " + strings.Join(allowed, ", ") + " only."}
	}
	p.write(w)
}

// Sizes of what may be sent, in bytes: the text of a file has at most 1 MB,
// and as JSON it can be several times as long.
const (
	maxJSON   = 4 << 20
	maxUpload = 51 << 20
	readWait  = 3 * time.Minute
)

// operation describes a route. Every one may fail in the program itself.
func operation(method, path, id, summary, tag string, errors ...int) huma.Operation {
	return huma.Operation{
		Method: method, Path: Prefix + path, OperationID: id, Summary: summary, Tags: []string{tag},
		MaxBodyBytes: maxJSON, BodyReadTimeout: readWait,
		Errors: append(errors, http.StatusInternalServerError),
	}
}

// bodyErrors are what a body of JSON may be refused with.
var bodyErrors = []int{http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnsupportedMediaType, http.StatusUnprocessableEntity}

// raw describes an answer that is written as it is kept.
func (a *api) raw(op *huma.Operation, status, media, description string, form reflect.Type) {
	schema := &huma.Schema{Type: huma.TypeString, Format: "binary"}
	if form != nil {
		schema = a.huma.OpenAPI().Components.Schemas.Schema(form, true, form.Name())
	}
	op.Responses = map[string]*huma.Response{status: {
		Description: description, Content: map[string]*huma.MediaType{media: {Schema: schema}},
	}}
}
