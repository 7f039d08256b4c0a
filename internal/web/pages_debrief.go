package web

import (
	"bytes"
	"errors"
	"fmt"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"chainline/internal/form"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
)

// What is said and done on the page of a ride's debrief.

// debriefState is what was typed and is wrong with it.
type debriefState struct {
	harder, scales, whose          map[string]string
	harderErr, scalesErr, whoseErr map[string]string
}

func (s *Server) debrief(w http.ResponseWriter, r *http.Request) error {
	return s.showDebrief(w, r, http.StatusOK, debriefState{})
}

// debriefPieces are the steps of the picture of a ride without a plan.
const debriefPieces = 300

func (s *Server) showDebrief(w http.ResponseWriter, r *http.Request, status int, typed debriefState) error {
	row, err := s.keptOf(r)
	if err != nil {
		return err
	}
	ctx := r.Context()
	sheet, err := s.library.RideDebrief(ctx, row.ID)
	if err != nil {
		return err
	}
	var shape []float64
	if sheet.Debrief.Against == nil {
		shape = service.Shape(sheet.Recording, debriefPieces)
	}
	units, err := s.units(ctx)
	if err != nil {
		return err
	}
	p := newDebriefPage(sheet, shape, units, datesOf(r))
	at := "/rides/" + row.ID
	p.ID = row.ID
	if row.RiderID != "" {
		p.Season = "/season/" + row.RiderID
		if row.Repeats == "" && !row.Bench {
			answer := row.Answer
			if typed.harder != nil {
				answer = typed.harder["harder"]
			}
			p.AskHarder(at+"/harder", answer, typed.harderErr)
		}
		if row.RigID != "" && row.EquivalentWatts > 0 {
			p.AskScales(at+"/scales", units, scalesTyped(row, typed.scales, units), typed.scalesErr)
		}
	}
	if err := s.askWhose(r, p, row, typed); err != nil {
		return err
	}
	p.ListChanges(sheet.RideChanges())
	p.OfferShare(at + "/share")
	p.Outs = outsOf(row, sheet)
	return s.show(w, r, status, p)
}

// outsOf are the files that can be taken of a ride.
func outsOf(row service.RideRow, sheet service.DebriefSheet) []DebriefOut {
	at := "/rides/" + row.ID + "/file/"
	out := []DebriefOut{{at + "fit", "FIT activity"}}
	if service.HasPlaces(sheet.Recording) || row.CourseID != "" {
		out = append(out, DebriefOut{at + "gpx", "GPX"})
	}
	return append(out, DebriefOut{at + "csv", "Table, a row a second (CSV)"}, DebriefOut{at + "recording", "Everything that was measured"},
		DebriefOut{at + "json", "These numbers (JSON)"}, DebriefOut{at + "original", "The file as it came"})
}

// ListChanges lists what cleaning found, each to be taken back or made again.
func (p *DebriefPage) ListChanges(all []service.RideChange) {
	p.Cleaning.Changes, p.Cleaning.More = nil, 0
	for i, c := range all {
		if i == mostChanges {
			p.Cleaning.More = len(all) - i
			return
		}
		p.Cleaning.Changes = append(p.Cleaning.Changes, ChangeLine{Number: c.Index, Words: ChangeWords(c.Change), Back: c.Undone})
	}
}

// askWhose asks for what the ride belongs to; where it is known, behind a
// closed fold.
func (s *Server) askWhose(r *http.Request, p *DebriefPage, row service.RideRow, typed debriefState) error {
	options := map[store.Kind][]Option{}
	for _, kind := range []store.Kind{store.Rider, store.Rig, store.Course} {
		_, o, err := s.names(r.Context(), kind)
		if err != nil {
			return err
		}
		options[kind] = o
	}
	var briefs []Option
	if row.RiderID != "" {
		all, err := s.store.Briefs(r.Context(), row.RiderID)
		if err != nil {
			return err
		}
		for _, b := range all[:min(len(all), 30)] {
			briefs = append(briefs, Option{Value: b.ID, Label: b.Title})
		}
		if b, err := s.store.Brief(r.Context(), row.BriefID); err == nil && !slices.ContainsFunc(briefs, func(o Option) bool { return o.Value == b.ID }) {
			briefs = append(briefs, Option{Value: b.ID, Label: b.Title})
		}
	}
	values := typed.whose
	if values == nil {
		values = map[string]string{"rider": row.RiderID, "rig": row.RigID, "course": row.CourseID, "brief": row.BriefID}
		if row.Alone {
			values["alone"] = "yes"
		}
		if row.Left {
			values["left"] = "yes"
		}
	}
	p.AskWhose("/rides/"+row.ID+"/whose", options[store.Rider], options[store.Rig], options[store.Course], briefs, values, typed.whoseErr)
	p.Settled = row.RiderID != "" && len(typed.whoseErr) == 0
	return nil
}

// keptAndTyped is the ride of a form and what was typed into it.
func (s *Server) keptAndTyped(r *http.Request) (service.RideRow, map[string]string, error) {
	row, err := s.keptOf(r)
	if err != nil {
		return row, nil, err
	}
	typed, err := Typed(r)
	return row, typed, err
}

func (s *Server) answerRide(w http.ResponseWriter, r *http.Request) error {
	row, typed, err := s.keptAndTyped(r)
	if err != nil {
		return err
	}
	if !slices.Contains([]string{"no", "little", "much"}, typed["harder"]) {
		return s.showDebrief(w, r, http.StatusUnprocessableEntity, debriefState{harder: typed, harderErr: map[string]string{"harder": "Choose one of the three."}})
	}
	if err := s.library.AnswerRide(r.Context(), row.ID, typed["harder"]); err != nil {
		return err
	}
	return s.see(w, r, "/rides/"+row.ID, "Kept. What you can do is reckoned with it from now on.")
}

// poundsKg is a pound in kg, by definition.
const poundsKg = 0.45359237

func scalesTyped(row service.RideRow, typed map[string]string, u form.Units) map[string]string {
	if typed != nil || row.Weighed == nil {
		return typed
	}
	per := 1.0
	if u == form.Imperial {
		per = poundsKg
	}
	say := func(v float64) string { return strconv.FormatFloat(v, 'f', -1, 64) }
	return map[string]string{"before": fmt.Sprintf("%.1f", row.Weighed[0]/per), "after": fmt.Sprintf("%.1f", row.Weighed[1]/per), "drunk": say(row.Weighed[2])}
}

func (s *Server) weighRide(w http.ResponseWriter, r *http.Request) error {
	row, typed, err := s.keptAndTyped(r)
	if err != nil {
		return err
	}
	units, err := s.units(r.Context())
	if err != nil {
		return err
	}
	var v [3]float64
	errs := map[string]string{}
	for i, name := range []string{"before", "after", "drunk"} {
		text := strings.ReplaceAll(typed[name], ",", ".")
		if text == "" {
			text = "0"
		}
		x, err := strconv.ParseFloat(text, 64)
		if err != nil || !(x >= 0 && x < 2000) {
			errs[name] = fmt.Sprintf("“%.20s” is no weight or volume; write a number.", typed[name])
		}
		if v[i] = x; units == form.Imperial && i < 2 {
			v[i] = x * poundsKg
		}
	}
	if len(errs) == 0 {
		err = s.library.WeighRide(r.Context(), row.ID, v[0], v[1], v[2])
		if e, ok := errors.AsType[*problem.Error](err); ok {
			errs["before"] = capital(oneLine(e)) + "."
		} else if err != nil {
			return err
		}
	}
	if len(errs) > 0 {
		return s.showDebrief(w, r, http.StatusUnprocessableEntity, debriefState{scales: typed, scalesErr: errs})
	}
	return s.see(w, r, "/rides/"+row.ID, "Kept. The next plan for drinking goes by it.")
}

func (s *Server) assignRide(w http.ResponseWriter, r *http.Request) error {
	row, typed, err := s.keptAndTyped(r)
	if err != nil {
		return err
	}
	at := func(name string) *string { v := typed[name]; return &v }
	alone, left := typed["alone"] != "", typed["left"] != ""
	to := service.Assignment{RiderID: at("rider"), RigID: at("rig"), CourseID: at("course"), BriefID: at("brief"), Alone: &alone, Left: &left}
	err = s.library.AssignRide(r.Context(), row.ID, to)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		return s.showDebrief(w, r, http.StatusUnprocessableEntity, debriefState{whose: typed, whoseErr: map[string]string{"rider": capital(oneLine(e)) + "."}})
	} else if errors.Is(err, store.ErrNotFound) {
		return s.showDebrief(w, r, http.StatusUnprocessableEntity, debriefState{whose: typed, whoseErr: map[string]string{"rider": "One of these is not there any more; choose another."}})
	} else if err != nil {
		return err
	}
	return s.see(w, r, "/rides/"+row.ID, "Kept.")
}

func (s *Server) changeRide(w http.ResponseWriter, r *http.Request) error {
	row, typed, err := s.keptAndTyped(r)
	if err != nil {
		return err
	}
	n, err := strconv.Atoi(typed["change"])
	if err != nil || typed["do"] != "back" && typed["do"] != "make" {
		return refuse(http.StatusBadRequest, "This ride has no such change.")
	}
	if err := s.library.SetChange(r.Context(), row.ID, n, typed["do"] == "back"); err != nil {
		return err
	}
	if typed["do"] == "back" {
		return s.see(w, r, "/rides/"+row.ID, "Taken back. All numbers are reckoned with what was recorded there.")
	}
	return s.see(w, r, "/rides/"+row.ID, "Made again.")
}

// keptMedia are the files a ride is handed out as.
var keptMedia = map[string]string{"fit": "application/vnd.ant.fit", "gpx": "application/gpx+xml", "csv": "text/csv; charset=utf-8", "recording": "application/octet-stream", "json": "application/json", "original": "application/octet-stream"}

func (s *Server) keptFile(w http.ResponseWriter, r *http.Request) error {
	row, err := s.keptOf(r)
	if err != nil {
		return err
	}
	kind := r.PathValue("kind")
	media, ok := keptMedia[kind]
	if !ok {
		return notFound("A ride has no such file.")
	}
	name := "ride-" + row.ID + "." + kind
	var b bytes.Buffer
	if kind == "original" {
		f, err := s.library.RideOriginal(r.Context(), row.ID)
		if err != nil {
			return err
		}
		name = courseFilename(f.Name)
		b.Write(f.Bytes)
	} else if err := s.library.WriteRide(r.Context(), &b, row.ID, kind); err != nil {
		return err
	}
	return sendFile(w, media, name, b.Bytes())
}

func sendFile(w http.ResponseWriter, media, name string, b []byte) error {
	h := w.Header()
	h.Set("Content-Type", media)
	h.Set("Content-Disposition", fmt.Sprintf("attachment; filename=%q", name))
	h.Set("Cache-Control", "no-store")
	_, err := w.Write(b)
	return err
}

func (s *Server) shareRide(w http.ResponseWriter, r *http.Request) error {
	row, err := s.keptOf(r)
	if err != nil {
		return err
	}
	var b bytes.Buffer
	if err := s.library.ShareRide(r.Context(), &b, row.ID, s.version, without(r.URL.Query())); err != nil {
		return err
	}
	return sendFile(w, "application/zip", "ride-"+row.ID+".chainline.zip", b.Bytes())
}
