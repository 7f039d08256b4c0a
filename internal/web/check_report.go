package web

import (
	"context"
	"fmt"
	"html/template"
	"net/http"
	"slices"
	"strings"

	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/rig"
)

// The report of a rig check: one page, and one sheet of paper.

// CheckReportPage is a check's report.
type CheckReportPage struct {
	Base
	ID       string
	Rig      string
	About    string // whom, when, how long
	From     []string
	Stated   string // at which watts errors are stated, and whether warm
	Bench    bool
	Verdicts []CheckVerdictView
	Findings []CheckFindingView
	Clear    string
	Unsaid   []CheckUnsaidView
	Curve    []service.CheckPoint
	CurveSD  string
	CurveUse CheckCurveView
	Coasts   []string
	Again    string
	RigPath  string
}

// CheckVerdictView is what a source's watts are worth, and what can be done
// with its correction.
type CheckVerdictView struct {
	Source   string
	Sentence string
	Because  string
	Correct  string // what the correction does; empty if there is none
	Then     string // what stays of the error
	Stands   string // since when it is applied; empty if it is not
	Was      string // when it was taken back
	Unridden bool   // rides cannot know this source again
}

// CheckFindingView is one finding.
type CheckFindingView struct {
	No       int
	Title    string
	What     string
	Facts    [][2]string
	Readings []string
	Do       []string
	Prior    string
	Plot     template.HTML
	PlotName string
	PlotSays string
}

// CheckUnsaidView is what cannot be said, and why.
type CheckUnsaidView struct{ What, Because string }

// Template names the page's template.
func (*CheckReportPage) Template() string { return "check-report.html" }

func (s *Server) checkReport(w http.ResponseWriter, r *http.Request) error {
	c, sheet, err := s.sheetOf(r.Context(), r.PathValue("id"))
	if err != nil {
		return err
	}
	all, err := s.store.Corrections(r.Context(), c.RigID)
	if err != nil {
		return err
	}
	p := newCheckReportPage(c, sheet, all, datesOf(r))
	if o, err := s.store.Object(r.Context(), c.RigID); err == nil {
		p.Rig, p.Title = o.Name, checkTitle(o.Name)
		p.CurveUse.Changed = p.CurveUse.Stands != "" && !hasCurve(o.Text, sheet)
	}
	return s.show(w, r, http.StatusOK, p)
}

// NewCheckReportPage is the page of a report, with the dates as most have them.
func NewCheckReportPage(c store.RigCheck, sheet service.CheckSheet, applied []store.Correction) *CheckReportPage {
	return newCheckReportPage(c, sheet, applied, dates{})
}

func newCheckReportPage(c store.RigCheck, sheet service.CheckSheet, applied []store.Correction, d dates) *CheckReportPage {
	p := &CheckReportPage{Base: checkBase(c.Title), ID: c.ID, Rig: sheet.Rig, From: sheet.From, Bench: sheet.Bench, Again: checkAgain(c.RiderID, c.RigID),
		RigPath: "/rigs/" + c.RigID, Curve: sheet.Curve, CurveUse: curveView(c, sheet, applied, d)}
	about := []string{}
	if sheet.Rider != "" {
		about = append(about, sheet.Rider)
	}
	p.About = strings.Join(append(about, d.day(sheet.Begun)+", "+d.clock(sheet.Begun), fmt.Sprintf("%.0f min looked at", sheet.Minutes)), ", ")
	p.Stated = fmt.Sprintf("Errors are stated at %.0f W, this rider's threshold.", sheet.ThresholdW)
	if sheet.ThresholdGuessed {
		p.Stated = fmt.Sprintf("Errors are stated at %.0f W, since no threshold is known.", sheet.ThresholdW)
	}
	if sheet.Warm {
		p.Stated += " The warm state was seen."
	} else {
		p.Stated += " The warm state was not seen: meters and brakes drift in their first ten minutes."
	}
	for _, v := range sheet.Verdicts {
		p.Verdicts = append(p.Verdicts, verdictView(c, v, applied, d))
	}
	for i, f := range sheet.Findings {
		p.Findings = append(p.Findings, findingView(i+1, f))
	}
	p.Clear = capital(strings.Join(sheet.Clear, ", "))
	for _, u := range sheet.Unsaid {
		what := strings.Join(u.Subjects, ", ")
		if u.Source != "" {
			what += " of " + u.Source
		}
		p.Unsaid = append(p.Unsaid, CheckUnsaidView{capital(what), strings.TrimSuffix(u.Because, ".") + "."})
	}
	if sheet.CurveSD > 0 {
		p.CurveSD = fmt.Sprintf("%.1f %%", 100*sheet.CurveSD)
	}
	for _, k := range sheet.Coasts {
		p.Coasts = append(p.Coasts, fmt.Sprintf("from %.0f to %.0f km/h in %.1f s", 3.6*k.FromMS, 3.6*k.ToMS, k.Seconds))
	}
	return p
}

func verdictView(c store.RigCheck, v service.CheckVerdict, applied []store.Correction, d dates) CheckVerdictView {
	out := CheckVerdictView{Source: v.Source, Sentence: v.Sentence, Unridden: v.Key == "" || !strings.Contains(v.Key, "/") && v.Key != "curve"}
	if because := strings.TrimSuffix(v.Because, "."); because != "" && !strings.Contains(v.Sentence, because) {
		out.Because = capital(strings.TrimSuffix(v.Because, ".")) + "."
	}
	k := v.Correction
	if k == nil {
		return out
	}
	out.Correct, out.Then = k.Words(), fmt.Sprintf("give or take %.1f %%", 196*k.SD)
	for _, a := range applied { // the newest first
		if a.CheckID != c.ID || a.Source != v.Source {
			continue
		}
		if a.Stands() {
			out.Stands = d.day(a.Applied) + ", " + d.clock(a.Applied)
		} else {
			out.Was = d.day(a.Taken) + ", " + d.clock(a.Taken)
		}
		break
	}
	return out
}

func findingView(no int, f service.CheckFinding) CheckFindingView {
	out := CheckFindingView{No: no, Title: capital(f.Subject), What: f.What, Prior: f.Prior}
	for _, r := range f.Readings {
		out.Readings = append(out.Readings, capital(r)+".")
	}
	for _, d := range f.Do {
		out.Do = append(out.Do, capital(d)+".")
	}
	if f.Source != "" {
		out.Title += ", " + f.Source
	}
	if f.Against != "" {
		out.Title += " against " + f.Against
	}
	if size := f.Size.Words(); size != "" {
		out.Facts = append(out.Facts, [2]string{"How large", size})
	}
	if f.Watts != nil {
		out.Facts = append(out.Facts, [2]string{"At threshold", f.Watts.Words()})
	}
	if sure := f.SureWords(); sure != "" {
		out.Facts = append(out.Facts, [2]string{"How sure", sure})
	}
	if p := f.Plot; p != nil {
		plot := rig.Plot{Title: p.Title, X: p.X, Y: p.Y, Points: p.Points, Lines: p.Lines, Names: p.Names}
		out.Plot, out.PlotName, out.PlotSays = render.CheckPlot(plot), p.Title, render.CheckPlotWords(plot)
	}
	return out
}

func (s *Server) checkJSON(w http.ResponseWriter, r *http.Request) error {
	c, err := s.store.RigCheck(r.Context(), r.PathValue("id"))
	if err != nil {
		return notFound("There is no such check (any more).")
	}
	h := w.Header()
	h.Set("Content-Type", "application/json")
	h.Set("Content-Disposition", `attachment; filename="check-`+c.ID+`.json"`)
	_, err = w.Write(c.Report)
	return err
}

// correctionAsked is the check and source of a form, if there is a correction.
func (s *Server) correctionAsked(r *http.Request) (store.RigCheck, string, error) {
	typed, err := Typed(r)
	if err != nil {
		return store.RigCheck{}, "", err
	}
	c, sheet, err := s.sheetOf(r.Context(), r.PathValue("id"))
	if err != nil {
		return c, "", err
	}
	source := typed["source"]
	if !slices.ContainsFunc(sheet.Verdicts, func(v service.CheckVerdict) bool { return v.Source == source && v.Correction != nil }) {
		return c, "", refuse(http.StatusBadRequest, "This check has no correction for that source.")
	}
	return c, source, nil
}

func (s *Server) applyCorrection(w http.ResponseWriter, r *http.Request) error {
	c, source, err := s.correctionAsked(r)
	if err != nil {
		return err
	}
	if err := s.store.ApplyCorrection(r.Context(), c.ID, source); err != nil {
		return err
	}
	return s.see(w, r, "/check/"+c.ID, "From now on the watts of "+source+" are corrected. Every ride says so, and keeps what was shown.")
}

func (s *Server) takeBackCorrection(w http.ResponseWriter, r *http.Request) error {
	c, source, err := s.correctionAsked(r)
	if err != nil {
		return err
	}
	if err := s.store.TakeBackCorrection(r.Context(), c.ID, source); err != nil {
		return err
	}
	return s.see(w, r, "/check/"+c.ID, "From now on the watts of "+source+" are taken as they are shown.")
}

func (s *Server) askDeleteCheck(w http.ResponseWriter, r *http.Request) error {
	c, err := s.store.RigCheck(r.Context(), r.PathValue("id"))
	if err != nil {
		return notFound("There is no such check (any more).")
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: checkBase("Delete this check?"), Action: "/check/" + c.ID + "/delete", Keep: "/check/" + c.ID, Button: "Delete this check",
		Says: "The report of " + datesOf(r).day(c.Made) + " and the corrections applied from it are really deleted; rides that went by them stay as they are, and so does a power curve that was written into the rig."})
}

func (s *Server) deleteCheck(w http.ResponseWriter, r *http.Request) error {
	id := r.PathValue("id")
	if err := s.store.DeleteRigCheck(r.Context(), id); err != nil {
		return err
	}
	if err := s.store.SetSetting(r.Context(), settingCurve+id, ""); err != nil {
		return err
	}
	return s.see(w, r, "/check", "The check is deleted.")
}

// standingCorrections are those of a rig that hold now, by the name of their
// source, with the verdict they come from.
func (s *Server) standingCorrections(ctx context.Context, rigID string) (map[string]service.CheckVerdict, map[string]store.Correction, error) {
	all, err := s.store.Corrections(ctx, rigID)
	if err != nil {
		return nil, nil, err
	}
	verdicts, standing := map[string]service.CheckVerdict{}, map[string]store.Correction{}
	for _, a := range all {
		if !a.Stands() {
			continue
		}
		_, sheet, err := s.sheetOf(ctx, a.CheckID)
		if err != nil {
			continue // written by another version
		}
		for _, v := range sheet.Verdicts {
			if v.Source == a.Source && v.Correction != nil {
				verdicts[a.Source], standing[a.Source] = v, a
			}
		}
	}
	return verdicts, standing, nil
}
