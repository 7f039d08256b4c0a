package api

import (
	"bytes"
	"context"
	"encoding/json"
	"io"
	"net/http"
	"reflect"
	"strings"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// BriefBody is a brief as it is asked for.
type BriefBody struct {
	Rider  string `json:"rider" minLength:"1" maxLength:"40" doc:"ID of a rider."`
	Rig    string `json:"rig" minLength:"1" maxLength:"40" doc:"ID of a rig."`
	Road   string `json:"road,omitempty" maxLength:"40" doc:"ID of a road; left out: an open road."`
	Course string `json:"course,omitempty" maxLength:"40" doc:"ID of a course; either this or a sketch is needed."`
	Event  string `json:"event,omitempty" maxLength:"40" doc:"ID of an event."`

	Sketch  *SketchBody `json:"sketch,omitempty" doc:"What is known of a course that is not kept."`
	Laps    int         `json:"laps,omitempty" minimum:"0" maximum:"500" doc:"0: as the event says."`
	Reverse bool        `json:"reverse,omitempty" doc:"Ride the course the other way."`

	Date     string   `json:"date,omitempty" format:"date" doc:"Left out: the event's, else today."`
	Style    string   `json:"style,omitempty" enum:"careful,normal,bold" doc:"Risk of running empty; left out: normal."`
	Reserve  *float64 `json:"reserve_j,omitempty" doc:"Joules of W′ to keep back; left out: a tenth."`
	Cues     float64  `json:"cues_per_hour,omitempty" doc:"0: the usual number."`
	Rules    bool     `json:"rules,omitempty" doc:"Effort by gradient as well."`
	Recovery string   `json:"recovery,omitempty" enum:"differential,integral,elite" doc:"How W′ comes back; left out: differential."`
	Plan     string   `json:"plan,omitempty" doc:"CSV of a plan to judge instead of making one."`

	CriticalPower *float64 `json:"critical_power_w,omitempty" doc:"Stated, for checks, with w_prime_j."`
	WPrime        *float64 `json:"w_prime_j,omitempty" doc:"Stated, for checks."`
	PowerLimit    *float64 `json:"power_limit_w,omitempty" doc:"Highest power with a stated capacity."`

	Seed  *uint64 `json:"seed,omitempty" doc:"Of the forecast's draws; left out: 1."`
	Draws *int    `json:"draws,omitempty" minimum:"1" maximum:"200000" doc:"Left out: 1000."`
}

// SketchBody is a course of which only the line of a route list is known.
type SketchBody struct {
	Distance     *float64   `json:"distance_m,omitempty"`
	Ascent       *float64   `json:"ascent_m,omitempty"`
	LapLength    float64    `json:"lap_length_m,omitempty"`
	LapAscent    float64    `json:"lap_ascent_m,omitempty"`
	LeadIn       float64    `json:"lead_in_m,omitempty"`
	MainClimb    *ClimbBody `json:"main_climb,omitempty"`
	SummitFinish bool       `json:"summit_finish,omitempty"`
}

// ClimbBody is the main climb of a sketch.
type ClimbBody struct {
	Length float64  `json:"length_m"`
	Ascent float64  `json:"ascent_m"`
	From   *float64 `json:"from_m,omitempty" doc:"From the start to its foot; left out: not known."`
}

// BriefEntry is a brief in a list.
type BriefEntry struct {
	ID     string    `json:"id"`
	Title  string    `json:"title"`
	Made   time.Time `json:"made"`
	Rider  string    `json:"rider" doc:"ID."`
	Rig    string    `json:"rig" doc:"ID; empty if it was deleted."`
	Road   string    `json:"road" doc:"ID; empty if there was none or it was deleted."`
	Course string    `json:"course" doc:"ID; empty if there was none or it was deleted."`
	Event  string    `json:"event" doc:"ID; empty if there was none or it was deleted."`
	Demo   bool      `json:"demo"`
}

type (
	briefInput  struct{ Body BriefBody }
	briefOutput struct {
		Location string `header:"Location"`
		Type     string `header:"Content-Type"`
		Body     []byte
	}
	briefsInput struct {
		Rider string `query:"rider" maxLength:"40" doc:"Of this rider only."`
	}
	briefsOutput struct {
		Body struct {
			Items []BriefEntry `json:"items"`
		}
	}
)

func (a *api) briefRoutes() {
	form := reflect.TypeFor[render.BriefJSON]()
	create := operation(http.MethodPost, "/briefs", "create-brief", "Make a brief and keep it", "briefs", bodyErrors...)
	create.Description = "The answer is what the command 'chainline brief --json' writes; Location says where it is kept."
	create.DefaultStatus = http.StatusCreated
	a.raw(&create, "201", "application/json", "The brief", form)
	huma.Register(a.huma, create, a.createBrief)

	huma.Register(a.huma, operation(http.MethodGet, "/briefs", "list-briefs", "All briefs, the newest first", "briefs", http.StatusUnprocessableEntity), a.listBriefs)

	get := operation(http.MethodGet, "/briefs/{id}", "get-brief", "Get a brief as it was made", "briefs", http.StatusNotFound, http.StatusUnprocessableEntity)
	a.raw(&get, "200", "application/json", "The brief", form)
	huma.Register(a.huma, get, func(ctx context.Context, in *IDInput) (*fileOutput, error) {
		b, err := a.Store.Brief(ctx, in.ID)
		return &fileOutput{Type: "application/json", Body: b.Result}, a.failed(ctx, err)
	})

	page := operation(http.MethodGet, "/briefs/{id}/page", "get-brief-page", "The page of a brief as it was made", "briefs", http.StatusNotFound, http.StatusUnprocessableEntity)
	a.raw(&page, "200", "text/html", "One self-contained file", nil)
	huma.Register(a.huma, page, func(ctx context.Context, in *IDInput) (*fileOutput, error) {
		b, err := a.Store.Brief(ctx, in.ID)
		if err == nil && len(b.Page) == 0 {
			err = &problem.Error{Kind: problem.Misuse, Message: "this brief was kept without a page", Err: store.ErrNotFound}
		}
		return &fileOutput{Type: "text/html; charset=utf-8", Disposition: attachment("brief.html"), Body: b.Page}, a.failed(ctx, err)
	})

	huma.Register(a.huma, operation(http.MethodDelete, "/briefs/{id}", "delete-brief", "Delete a brief for good", "briefs", http.StatusNotFound, http.StatusUnprocessableEntity),
		func(ctx context.Context, in *IDInput) (*struct{}, error) {
			return nil, a.failed(ctx, a.Store.DeleteBrief(ctx, in.ID))
		})
}

func (a *api) createBrief(ctx context.Context, in *briefInput) (*briefOutput, error) {
	q, err := a.briefRequest(ctx, in.Body)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	b, err := service.Brief(ctx, q)
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	var result, page bytes.Buffer
	if err := render.JSON(&result, b); err != nil {
		return nil, a.failed(ctx, err)
	}
	if err := render.HTML(&page, b); err != nil {
		return nil, a.failed(ctx, err)
	}
	request, err := json.Marshal(in.Body.kept())
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	kept, err := a.Store.PutBrief(ctx, store.Brief{Title: b.Title, RiderID: in.Body.Rider, RigID: in.Body.Rig, RoadID: in.Body.Road,
		CourseID: in.Body.Course, EventID: in.Body.Event, Request: request, Result: result.Bytes(), Page: page.Bytes()})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	return &briefOutput{Location: Prefix + "/briefs/" + kept.ID, Type: "application/json", Body: result.Bytes()}, nil
}

// kept is a request as the store wants it: references read "rider/ID".
func (b BriefBody) kept() BriefBody {
	for kind, id := range map[string]*string{"rider": &b.Rider, "rig": &b.Rig, "road": &b.Road, "course": &b.Course, "event": &b.Event} {
		if *id != "" {
			*id = kind + "/" + *id
		}
	}
	return b
}

// briefRequest is what was asked in the words of internal/service. What is
// left out is as the command has it.
func (a *api) briefRequest(ctx context.Context, b BriefBody) (service.BriefRequest, error) {
	q, err := a.request(ctx, named{Rider: b.Rider, Rig: b.Rig, Road: b.Road, Course: b.Course, Event: b.Event})
	if err != nil {
		return q, err
	}
	q.Laps, q.Reverse, q.Date, q.Style, q.Reserve, q.Cues, q.Rules, q.Recovery = b.Laps, b.Reverse, b.Date, b.Style, b.Reserve, b.Cues, b.Rules, b.Recovery
	q.CriticalPower, q.WPrime, q.PowerLimit = b.CriticalPower, b.WPrime, b.PowerLimit
	q.Draws = 1000
	if b.Draws != nil {
		q.Draws = *b.Draws
	}
	if b.Seed != nil {
		q.Seed = *b.Seed
	}
	if s := b.Sketch; s != nil {
		q.Sketch = service.SketchRequest{Distance: s.Distance, Ascent: s.Ascent, LapLength: s.LapLength, LapAscent: s.LapAscent, LeadIn: s.LeadIn, SummitFinish: s.SummitFinish}
		if c := s.MainClimb; c != nil {
			q.Sketch.MainClimb = &input.SketchClimb{Length: c.Length, Ascent: c.Ascent}
			if c.From != nil {
				q.Sketch.MainClimb.From = input.Some(*c.From)
			}
		}
	}
	if b.Plan != "" {
		stored := q.Open
		q.Plan = "plan"
		q.Open = func(name string) (io.ReadCloser, error) {
			if name == q.Plan {
				return io.NopCloser(strings.NewReader(b.Plan)), nil
			}
			return stored(name)
		}
	}
	return q, nil
}

func (a *api) listBriefs(ctx context.Context, in *briefsInput) (*briefsOutput, error) {
	all, err := a.Store.Briefs(ctx, in.Rider)
	out := &briefsOutput{}
	out.Body.Items = []BriefEntry{}
	for _, b := range all {
		out.Body.Items = append(out.Body.Items, BriefEntry{ID: b.ID, Title: b.Title, Made: b.Made, Rider: b.RiderID, Rig: b.RigID,
			Road: b.RoadID, Course: b.CourseID, Event: b.EventID, Demo: b.Demo})
	}
	return out, a.failed(ctx, err)
}
