package api

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"math"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// RaceBody asks which category of an event to enter, and what will happen.
type RaceBody struct {
	Rider    string `json:"rider" minLength:"1" maxLength:"40" doc:"ID of a rider."`
	Rig      string `json:"rig" minLength:"1" maxLength:"40" doc:"ID of a rig: the watts it shows count."`
	Event    string `json:"event" minLength:"1" maxLength:"40" doc:"ID of an event."`
	Course   string `json:"course" minLength:"1" maxLength:"40" doc:"ID of a course. Results kept of the event on this course teach the fields."`
	Road     string `json:"road,omitempty" maxLength:"40" doc:"ID of a road; left out: an open road."`
	Category string `json:"category,omitempty" maxLength:"200" doc:"Only this one."`
	Races    int    `json:"races,omitempty" minimum:"1" maximum:"500" doc:"For each of three shelters; left out: 60."`
	Starters int    `json:"starters,omitempty" minimum:"6" maximum:"200" doc:"Others in each race; left out: 40."`
	Seed     uint64 `json:"seed,omitempty" doc:"Left out: 1."`
}

// GroupBody is riders on courses.
type GroupBody struct {
	Riders []string `json:"riders" minItems:"1" maxItems:"60" doc:"IDs of riders."`
	Road   string   `json:"road,omitempty" maxLength:"40" doc:"ID of a road, its drag area meant for 75 kg; left out: an open road."`
	Event  string   `json:"event,omitempty" maxLength:"40" doc:"ID of an event, for laps and lead-in."`
	Laps   int      `json:"laps,omitempty" minimum:"0" maximum:"500" doc:"0: as the event says."`
	Seed   uint64   `json:"seed,omitempty" doc:"Left out: 1."`
}

// HandicapBody asks for a start list.
type HandicapBody struct {
	GroupBody
	Course  string    `json:"course" minLength:"1" maxLength:"40" doc:"ID of a course."`
	Bunches int       `json:"bunches,omitempty" minimum:"0" maximum:"20" doc:"At most so many; left out: 5."`
	Races   int       `json:"races,omitempty" minimum:"20" maximum:"2000" doc:"Simulated to tell the chances; left out: 400."`
	Arrived []Arrived `json:"arrived,omitempty" maxItems:"60" doc:"Who came when by this start list: the answer is the list for next time. Whoever is not named did not come home."`
	Before  []Taught  `json:"before,omitempty" maxItems:"60" doc:"What earlier arrivals taught, as the answer before had it in taught."`
}

// Arrived is one arrival.
type Arrived struct {
	Rider   string  `json:"rider" doc:"ID."`
	Seconds float64 `json:"seconds" exclusiveMinimum:"0" doc:"After the first start."`
}

// Taught is what arrivals taught of a rider.
type Taught struct {
	Rider string  `json:"rider" doc:"ID."`
	Share float64 `json:"share" doc:"Of power, like 0.02."`
}

// TogetherBody asks what a group can ride as one.
type TogetherBody struct {
	GroupBody
	Courses []string `json:"courses" minItems:"1" maxItems:"20" doc:"IDs of courses to compare."`
	Hours   float64  `json:"hours,omitempty" minimum:"0" maximum:"24" doc:"How long there is; left out: no limit."`
	Ease    float64  `json:"ease,omitempty" minimum:"0" maximum:"1" doc:"Most of their critical power that anybody rides at on average; left out: 0.75."`
}

type (
	raceInput      struct{ Body RaceBody }
	raceOutput     struct{ Body service.RaceSheet }
	handicapInput  struct{ Body HandicapBody }
	handicapOutput struct{ Body service.HandicapSheet }
	togetherInput  struct{ Body TogetherBody }
	togetherOutput struct{ Body service.TogetherSheet }
)

func (a *api) raceRoutes() {
	race := operation(http.MethodPost, "/races/forecast", "forecast-race", "Which category to enter, and what will happen in it", "races", bodyErrors...)
	race.Description = "Races are simulated: it takes seconds. Nothing is kept. Nobody under 18 is given W/kg."
	huma.Register(a.huma, race, a.race)
	handicap := operation(http.MethodPost, "/races/handicap", "handicap", "The start list of a handicap", "races", bodyErrors...)
	handicap.Description = "Races are simulated: it takes seconds. Nothing is kept; send taught as before with the next request to carry it on."
	huma.Register(a.huma, handicap, a.handicap)
	huma.Register(a.huma, operation(http.MethodPost, "/races/together", "ride-together", "What a mixed group can ride as one", "races", bodyErrors...), a.together)
	a.calendarRoutes()
	a.resultRoutes()
}

func orElse[V comparable](v, usual V) V {
	var zero V
	if v == zero {
		return usual
	}
	return v
}

func (a *api) race(ctx context.Context, in *raceInput) (*raceOutput, error) {
	b := in.Body
	q, err := a.request(ctx, named{Rider: b.Rider, Rig: b.Rig, Road: b.Road, Course: b.Course, Event: b.Event})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	q.Seed, q.Draws = orElse(b.Seed, 1), 1000
	kept, err := a.Store.RaceResults(ctx, b.Event)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	rows, err := service.Learnable(kept, b.Course)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	sheet, err := service.Race(ctx, service.RaceRequest{Brief: q, Category: b.Category, Races: orElse(b.Races, 60), Starters: orElse(b.Starters, 40), Rows: rows})
	return &raceOutput{sheet}, a.computed(ctx, err)
}

// group is a request about riders and courses that the store keeps.
func (a *api) group(ctx context.Context, b GroupBody, courses []string) (service.GroupRequest, error) {
	q := service.GroupRequest{Laps: b.Laps, Today: a.Now(), Seed: orElse(b.Seed, 1), Workers: a.Workers}
	files := map[string]string{}
	add := func(kind store.Kind, id, path string) (string, string, error) {
		o, err := a.object(ctx, kind, id)
		if errors.Is(err, store.ErrNotFound) {
			err = &problem.Error{Kind: problem.Misuse, Path: path, Message: fmt.Sprintf("%s: there is no %s %.60q; expected the ID of one that is kept", path, kind, id)}
		}
		if err != nil {
			return "", "", err
		}
		name, text := o.File()
		files[name] = text
		return name, o.Name, nil
	}
	for i, id := range b.Riders {
		name, called, err := add(store.Rider, id, fmt.Sprintf("riders[%d]", i+1))
		if err != nil {
			return q, err
		}
		q.Riders, q.Names = append(q.Riders, name), append(q.Names, called)
	}
	for i, id := range courses {
		name, _, err := add(store.Course, id, fmt.Sprintf("courses[%d]", i+1))
		if err != nil {
			return q, err
		}
		q.Courses = append(q.Courses, name)
	}
	var err error
	if b.Road != "" {
		if q.Road, _, err = add(store.Road, b.Road, "road"); err != nil {
			return q, err
		}
	}
	if b.Event != "" {
		if q.Event, _, err = add(store.Event, b.Event, "event"); err != nil {
			return q, err
		}
	}
	q.Open = service.Texts(files)
	return q, nil
}

func (a *api) handicap(ctx context.Context, in *handicapInput) (*handicapOutput, error) {
	b := in.Body
	q, err := a.group(ctx, b.GroupBody, []string{b.Course})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	q.Bunches, q.Races = b.Bunches, orElse(b.Races, 400)
	at := map[string]int{}
	for i, id := range b.Riders {
		at[id] = i
	}
	place := func(list *[]float64, usual float64, rider string, v float64) bool {
		if *list == nil {
			*list = make([]float64, len(b.Riders))
			for i := range *list {
				(*list)[i] = usual
			}
		}
		i, there := at[rider]
		if there {
			(*list)[i] = v
		}
		return there
	}
	for _, x := range b.Arrived {
		if !place(&q.ArrivedS, math.NaN(), x.Rider, x.Seconds) {
			return nil, a.failed(ctx, problem.Bad("arrived: rider %.60q is not among the riders; expected one of them", x.Rider))
		}
	}
	for _, x := range b.Before {
		if !place(&q.Before, 0, x.Rider, x.Share) {
			return nil, a.failed(ctx, problem.Bad("before: rider %.60q is not among the riders; expected one of them", x.Rider))
		}
	}
	sheet, err := service.Handicap(ctx, q)
	return &handicapOutput{sheet}, a.computed(ctx, err)
}

func (a *api) together(ctx context.Context, in *togetherInput) (*togetherOutput, error) {
	q, err := a.group(ctx, in.Body.GroupBody, in.Body.Courses)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	q.Hours, q.Ease = in.Body.Hours, in.Body.Ease
	sheet, err := service.Together(ctx, q)
	return &togetherOutput{sheet}, a.computed(ctx, err)
}

// ResultsEntry is a result list that is kept.
type ResultsEntry struct {
	ID    string               `json:"id"`
	Added string               `json:"added" format:"date-time"`
	Sheet service.ResultsSheet `json:"sheet"`
}

type (
	resultsInput struct {
		IDInput
		Filename string `query:"filename" required:"true" minLength:"1" maxLength:"200" example:"hill-race.csv"`
		Me       string `query:"me" maxLength:"200" doc:"Name or start number of the one who asks, as the list has it."`
		Names    bool   `query:"names" doc:"Keep the names, numbers, watts and W/kg of the others too."`
		Course   string `query:"course" maxLength:"40" doc:"ID of the course it was ridden on: the next forecast on it learns its fields from these times."`
		RawBody  []byte `contentType:"text/csv"`
	}
	resultsCreated struct {
		Location string `header:"Location"`
		Body     ResultsEntry
	}
	resultsOutput struct {
		Body struct {
			Items []ResultsEntry `json:"items"`
		}
	}
	resultInput struct {
		IDInput
		List string `path:"list" maxLength:"40" pattern:"^[a-z0-9-]+$"`
	}
)

func (a *api) resultRoutes() {
	huma.Register(a.huma, operation(http.MethodGet, "/events/{id}/results", "list-results", "The result lists of an event, the newest first", "events", http.StatusNotFound, http.StatusUnprocessableEntity), a.results)
	add := operation(http.MethodPost, "/events/{id}/results", "add-results", "Take in a result list", "events", http.StatusBadRequest, http.StatusNotFound, http.StatusRequestEntityTooLarge, http.StatusUnprocessableEntity)
	add.Description = "The body is the CSV file as it is. What it comes to is kept, not the file; of the others only times, unless names is set."
	add.DefaultStatus = http.StatusCreated
	file := &huma.MediaType{Schema: &huma.Schema{Type: huma.TypeString, Format: "binary"}}
	add.RequestBody = &huma.RequestBody{Required: true, Content: map[string]*huma.MediaType{"text/csv": file, "application/octet-stream": file}}
	huma.Register(a.huma, add, a.addResults)
	huma.Register(a.huma, operation(http.MethodDelete, "/events/{id}/results/{list}", "delete-results", "Delete a result list for good", "events", http.StatusNotFound, http.StatusUnprocessableEntity),
		func(ctx context.Context, in *resultInput) (*struct{}, error) {
			_, err := a.object(ctx, store.Event, in.ID)
			if err == nil {
				err = a.Store.DeleteRaceResults(ctx, in.List)
			}
			return nil, a.failed(ctx, err)
		})
}

func resultsEntry(r store.RaceResults) (e ResultsEntry, err error) {
	e.ID, e.Added = r.ID, r.Added.Format("2006-01-02T15:04:05Z07:00")
	return e, json.Unmarshal(r.Sheet, &e.Sheet)
}

func (a *api) results(ctx context.Context, in *IDInput) (*resultsOutput, error) {
	if _, err := a.object(ctx, store.Event, in.ID); err != nil {
		return nil, a.failed(ctx, err)
	}
	all, err := a.Store.RaceResults(ctx, in.ID)
	out := &resultsOutput{}
	out.Body.Items = []ResultsEntry{}
	for _, r := range all {
		e, wrong := resultsEntry(r)
		err = errors.Join(err, wrong)
		out.Body.Items = append(out.Body.Items, e)
	}
	return out, a.failed(ctx, err)
}

func (a *api) addResults(ctx context.Context, in *resultsInput) (*resultsCreated, error) {
	event, err := a.object(ctx, store.Event, in.ID)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	if in.Course != "" {
		if _, err := a.object(ctx, store.Course, in.Course); err != nil {
			return nil, a.failed(ctx, problem.Bad("course: there is no course %.60q; expected the ID of one that is kept", in.Course))
		}
	}
	riders, err := a.Store.Objects(ctx, store.Rider)
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	me, rider := service.Called(in.Me, riders)
	sheet, err := service.Results(ctx, service.ResultsRequest{File: in.Filename, Event: "event.yaml", Me: in.Me, Names: in.Names, Rider: me, Now: a.Now(),
		Open: service.Texts(map[string]string{me: rider, in.Filename: string(in.RawBody), "event.yaml": event.Text})})
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	sheet.CourseID = in.Course
	var text bytes.Buffer
	if err := json.NewEncoder(&text).Encode(sheet); err != nil {
		return nil, a.failed(ctx, err)
	}
	kept, err := a.Store.PutRaceResults(ctx, store.RaceResults{EventID: in.ID, Sheet: text.Bytes()})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	e, err := resultsEntry(kept)
	return &resultsCreated{Location: Prefix + "/events/" + in.ID + "/results/" + kept.ID, Body: e}, a.failed(ctx, err)
}
