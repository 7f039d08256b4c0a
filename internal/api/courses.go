package api

import (
	"context"
	"mime"
	"net/http"
	"path"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

type uploadInput struct {
	Filename string `query:"filename" required:"true" minLength:"1" maxLength:"200" example:"ridge.gpx" doc:"What the file is called, ending in .gpx or .csv."`
	Name     string `query:"name" maxLength:"200" doc:"What to call the course; left out: as the file, without its ending."`
	RawBody  []byte `contentType:"application/gpx+xml"`
}

type fileOutput struct {
	Type        string `header:"Content-Type"`
	Disposition string `header:"Content-Disposition"`
	Body        []byte
}

type glanceInput struct {
	IDInput
	Asked
	Road    string `query:"road" maxLength:"40" doc:"ID of a road; left out: an open road."`
	Event   string `query:"event" maxLength:"40" doc:"ID of an event, for its laps and lead-in."`
	Laps    int    `query:"laps" minimum:"0" maximum:"500" doc:"How often it is ridden; 0: as the event says."`
	Reverse bool   `query:"reverse" doc:"Ride it the other way."`
}

// Glance is what a course would be like: one even effort, no heat.
type Glance struct {
	Distance render.Number `json:"distance_m"`
	Ascent   render.Number `json:"ascent_m"`
	Watts    render.Number `json:"even_watts" doc:"The best even effort."`
	Median   render.Number `json:"median_s"`
	Low80    render.Number `json:"low80_s" doc:"10th percentile."`
	High80   render.Number `json:"high80_s" doc:"90th percentile."`
	Load     render.Number `json:"load_threshold_hours"`
}

type glanceOutput struct{ Body Glance }

func (a *api) courseRoutes() {
	upload := operation(http.MethodPost, "/courses/upload", "upload-course", "Keep a course from a GPX or CSV file", "courses",
		http.StatusBadRequest, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity)
	upload.Description = "The body is the file as it is; it is kept to the byte."
	upload.DefaultStatus, upload.MaxBodyBytes = http.StatusCreated, maxUpload
	file := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	upload.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{
		"application/gpx+xml": file, "text/csv": file, "application/octet-stream": file}}
	huma.Register(a.huma, upload, a.upload)

	original := operation(http.MethodGet, "/courses/{id}/original", "get-course-original", "The file a course was uploaded as", "courses",
		http.StatusNotFound, http.StatusUnprocessableEntity)
	a.raw(&original, "200", "*/*", "The file as it came, with its media type", nil)
	huma.Register(a.huma, original, a.original)

	huma.Register(a.huma, operation(http.MethodGet, "/courses/{id}/glance", "glance-at-course", "What a course would be like for a rider on a rig", "courses",
		http.StatusNotFound, http.StatusUnprocessableEntity), a.glance)
}

func (a *api) upload(ctx context.Context, in *uploadInput) (*createdOutput, error) {
	base := path.Base(strings.ReplaceAll(in.Filename, "\\", "/"))
	ending := strings.ToLower(path.Ext(base))
	media, ok := map[string]string{".gpx": "application/gpx+xml", ".csv": "text/csv"}[ending]
	if !ok {
		return nil, a.failed(ctx, &problem.Error{Kind: problem.Misuse, Path: "filename", Message: "filename: found " + in.Filename + "; expected a name that ends in .gpx or .csv"})
	}
	name := in.Name
	if name == "" {
		name = strings.TrimSuffix(base, path.Ext(base))
	}
	return a.put(ctx, store.Object{Kind: store.Course, Name: name, Original: &store.Original{Filename: base, Media: media, Bytes: in.RawBody}})
}

func (a *api) original(ctx context.Context, in *IDInput) (*fileOutput, error) {
	o, err := a.object(ctx, store.Course, in.ID)
	if err == nil && o.Original == nil {
		err = &problem.Error{Kind: problem.Misuse, Message: "this course was not uploaded as a file; its text is all there is", Err: store.ErrNotFound}
	}
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return &fileOutput{Type: o.Original.Media, Disposition: attachment(o.Original.Filename), Body: o.Original.Bytes}, nil
}

// attachment lets a browser save a file and never show it as a page of ours.
func attachment(filename string) string {
	return mime.FormatMediaType("attachment", map[string]string{"filename": filename})
}

func (a *api) glance(ctx context.Context, in *glanceInput) (*glanceOutput, error) {
	if _, err := a.object(ctx, store.Course, in.ID); err != nil {
		return nil, a.failed(ctx, err)
	}
	q, err := a.request(ctx, named{Rider: in.Rider, Rig: in.Rig, Road: in.Road, Course: in.ID, Event: in.Event})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	q.Date, q.Laps, q.Reverse = in.Date, in.Laps, in.Reverse
	g, err := service.Glance(ctx, q)
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	return &glanceOutput{Glance{Distance: render.Number(g.Distance), Ascent: render.Number(g.Ascent), Watts: render.Number(g.Watts),
		Median: render.Number(g.Median), Low80: render.Number(g.Low80), High80: render.Number(g.High80), Load: render.Number(g.Load)}}, nil
}
