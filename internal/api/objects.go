package api

import (
	"context"
	"errors"
	"net/http"
	"slices"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Object is a rider, rig, road, course or event.
type Object struct {
	ID       string    `json:"id"`
	Kind     string    `json:"kind" enum:"rider,rig,road,course,event"`
	Name     string    `json:"name"`
	Text     string    `json:"text" doc:"Its YAML file in the format of docs/formats.md; empty for a course that is only its original."`
	Demo     bool      `json:"demo" doc:"Whether it belongs to the demo data."`
	Created  time.Time `json:"created"`
	Updated  time.Time `json:"updated"`
	Original *Original `json:"original,omitempty" doc:"The file it was uploaded as, if it was."`
}

// Original says what was uploaded; its bytes have an address of their own.
type Original struct {
	Filename string `json:"filename"`
	Media    string `json:"media" doc:"Media type."`
	Size     int64  `json:"size_bytes"`
	SHA256   string `json:"sha256" doc:"In hexadecimal."`
}

// ObjectBody is what is sent to make or replace an object.
type ObjectBody struct {
	Name string `json:"name" minLength:"1" maxLength:"200" doc:"What the program calls it, in one line."`
	Text string `json:"text" doc:"Its YAML file in the format of docs/formats.md, at most 1 MB."`
}

// IDInput is an address with an ID. It is exported because huma looks into
// embedded structs of exported names only; so is Asked.
type IDInput struct {
	ID string `path:"id" maxLength:"40" pattern:"^[a-z0-9-]+$"`
}

type (
	objectOutput struct {
		ETag string `header:"ETag" doc:"Its version, for If-Match."`
		Body Object
	}
	createdOutput struct {
		Location string `header:"Location" doc:"Where it can be found."`
		ETag     string `header:"ETag" doc:"Its version, for If-Match."`
		Body     Object
	}
	objectsOutput struct {
		Body struct {
			Items []Object `json:"items"`
		}
	}
	createInput  struct{ Body ObjectBody }
	replaceInput struct {
		OverInput
		Body ObjectBody
	}
)

// OverInput is an address with the version that is written over.
type OverInput struct {
	IDInput
	IfMatch string `header:"If-Match" doc:"The ETag of what was read: if it was changed meanwhile nothing is written, and the answer is 412. Without it whatever is there is written over."`
}

// over is an entity tag of the request that the object still has: its version,
// or empty where whatever is there is meant. Tags compare strongly (RFC 9110,
// section 13.1.1).
func (in OverInput) over(o store.Object) (was string, err error) {
	if in.IfMatch == "" || strings.TrimSpace(in.IfMatch) == "*" {
		return "", nil
	}
	for tag := range strings.SplitSeq(in.IfMatch, ",") {
		if strings.TrimSpace(tag) == etag(o) {
			return o.Version(), nil
		}
	}
	return "", &problem.Error{Kind: problem.Misuse, Message: "this was changed since the version that If-Match names, so nothing was written",
		Hint: "Get it again, and send what is to be changed with the ETag it has now.", Path: "If-Match", Err: store.ErrOvertaken}
}

func etag(o store.Object) string { return `"` + o.Version() + `"` }

// kinds of objects: their place in an address, and in words.
var kinds = []struct {
	kind      store.Kind
	many, one string
}{
	{store.Rider, "riders", "a rider"}, {store.Rig, "rigs", "a rig"}, {store.Road, "roads", "a road"},
	{store.Course, "courses", "a course"}, {store.Event, "events", "an event"},
}

func (a *api) objectRoutes() {
	for _, k := range kinds {
		kind, at := k.kind, "/"+k.many
		huma.Register(a.huma, operation(http.MethodGet, at, "list-"+k.many, "All "+k.many+" by name", k.many),
			func(ctx context.Context, _ *struct{}) (*objectsOutput, error) { return a.list(ctx, kind) })
		huma.Register(a.huma, operation(http.MethodGet, at+"/{id}", "get-"+string(kind), "Get "+k.one, k.many, http.StatusNotFound, http.StatusUnprocessableEntity),
			func(ctx context.Context, in *IDInput) (*objectOutput, error) {
				o, err := a.object(ctx, kind, in.ID)
				return &objectOutput{etag(o), shown(o)}, a.failed(ctx, err)
			})
		create := operation(http.MethodPost, at, "create-"+string(kind), "Keep "+k.one, k.many, bodyErrors...)
		create.DefaultStatus = http.StatusCreated
		huma.Register(a.huma, create, func(ctx context.Context, in *createInput) (*createdOutput, error) {
			return a.put(ctx, store.Object{Kind: kind, Name: in.Body.Name, Text: in.Body.Text})
		})
		huma.Register(a.huma, operation(http.MethodPut, at+"/{id}", "replace-"+string(kind), "Change name and text of "+k.one, k.many, append(slices.Clone(bodyErrors), http.StatusNotFound, http.StatusPreconditionFailed)...),
			func(ctx context.Context, in *replaceInput) (*objectOutput, error) { return a.replace(ctx, kind, in) })
		huma.Register(a.huma, operation(http.MethodDelete, at+"/{id}", "delete-"+string(kind), "Delete "+k.one+" for good", k.many, http.StatusNotFound, http.StatusPreconditionFailed, http.StatusUnprocessableEntity),
			func(ctx context.Context, in *OverInput) (*struct{}, error) {
				return nil, a.failed(ctx, a.remove(ctx, kind, in))
			})
	}
}

func (a *api) list(ctx context.Context, kind store.Kind) (*objectsOutput, error) {
	all, err := a.Store.Objects(ctx, kind)
	out := &objectsOutput{}
	out.Body.Items = []Object{}
	for _, o := range all {
		out.Body.Items = append(out.Body.Items, shown(o))
	}
	return out, a.failed(ctx, err)
}

// object is one of a kind: an ID of another kind is not found.
func (a *api) object(ctx context.Context, kind store.Kind, id string) (store.Object, error) {
	o, err := a.Store.Object(ctx, id)
	if errors.Is(err, store.ErrNotFound) || err == nil && o.Kind != kind {
		err = &problem.Error{Kind: problem.Misuse, Message: "there is no " + string(kind) + " " + id + "; perhaps it was deleted", Err: store.ErrNotFound}
	}
	return o, err
}

// put keeps something new, if it can be read again.
func (a *api) put(ctx context.Context, o store.Object) (*createdOutput, error) {
	var original []byte
	if o.Original != nil {
		original = o.Original.Bytes
	}
	err := service.Check(string(o.Kind), o.Text, original)
	if err == nil {
		o, err = a.Store.Put(ctx, o)
	}
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return &createdOutput{Location: Prefix + "/" + string(o.Kind) + "s/" + o.ID, ETag: etag(o), Body: shown(o)}, nil
}

func (a *api) remove(ctx context.Context, kind store.Kind, in *OverInput) error {
	o, err := a.object(ctx, kind, in.ID)
	if err != nil {
		return err
	}
	was, err := in.over(o)
	switch {
	case err != nil:
		return err
	case was == "":
		return a.Store.Delete(ctx, in.ID)
	}
	return a.Store.DeleteOver(ctx, in.ID, was)
}

func (a *api) replace(ctx context.Context, kind store.Kind, in *replaceInput) (*objectOutput, error) {
	o, err := a.object(ctx, kind, in.ID)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	was, err := in.over(o)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	o.Name, o.Text = in.Body.Name, in.Body.Text
	if o.Original == nil || o.Text != "" {
		err = service.Check(string(kind), o.Text, nil)
	}
	switch {
	case err != nil:
	case was == "":
		o, err = a.Store.Put(ctx, o)
	default:
		o, err = a.Store.PutOver(ctx, o, was)
	}
	return &objectOutput{etag(o), shown(o)}, a.failed(ctx, err)
}

func shown(o store.Object) Object {
	out := Object{ID: o.ID, Kind: string(o.Kind), Name: o.Name, Text: o.Text, Demo: o.Demo, Created: o.Created, Updated: o.Updated}
	if g := o.Original; g != nil {
		out.Original = &Original{Filename: g.Filename, Media: g.Media, Size: g.Size, SHA256: g.SHA256}
	}
	return out
}
