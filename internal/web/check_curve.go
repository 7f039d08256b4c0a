package web

import (
	"context"
	"encoding/json"
	"maps"
	"net/http"
	"slices"
	"strconv"
	"strings"

	"chainline/internal/form"
	"chainline/internal/service"
	"chainline/internal/store"
)

// The power curve that a check fitted goes into the rig on purpose, as a new
// version of its text, and can be taken back. When that was is recorded as
// that of corrections is; what stood there before is kept beside it.

// curveSource is what the curve is called among a rig's corrections.
const curveSource = "power curve of the trainer"

// settingCurve begins the key of the curve that a check's curve replaced.
const settingCurve = "check curve before "

// CheckCurveView is what can be done with a fitted curve.
type CheckCurveView struct {
	Use     bool   // it can be used in the rig
	Stands  string // since when it is; empty if it is not
	Was     string // when it was taken back
	Changed bool   // the rig's curve was changed by hand since
	Why     string // why it cannot be used; empty if it can
}

func curveView(c store.RigCheck, sheet service.CheckSheet, applied []store.Correction, d dates) CheckCurveView {
	var out CheckCurveView
	if len(sheet.Curve) == 0 {
		return out
	}
	if sheet.Bench {
		out.Why = "The rig was simulated, so its curve is not one for a rig that stands in a room."
		return out
	}
	if _, _, err := service.CurveRows(sheet); err != nil {
		out.Why = oneLine(err) + "."
		return out
	}
	out.Use = true
	for _, a := range applied { // the newest first
		if a.CheckID != c.ID || a.Source != curveSource {
			continue
		}
		if a.Stands() {
			out.Use, out.Stands = false, d.day(a.Applied)+", "+d.clock(a.Applied)
		} else {
			out.Was = d.day(a.Taken) + ", " + d.clock(a.Taken)
		}
		break
	}
	return out
}

// fittedCurve is a check's curve as values of a rig's form, by their path.
func fittedCurve(sheet service.CheckSheet) (map[string]string, error) {
	rows, accuracy, err := service.CurveRows(sheet)
	if err != nil {
		return nil, err
	}
	out := map[string]string{curveAccuracy: accuracy}
	for i, r := range rows {
		out[curvePath(i)+"wheel_speed_km_h"], out[curvePath(i)+"watts"] = r.KmH, r.Watts
	}
	return out, nil
}

const curveAccuracy, curveRows = "trainer.power_curve_accuracy_percent", "trainer.power_curve."

func curvePath(i int) string { return curveRows + strconv.Itoa(i) + "." }

// curveOf is the curve that a rig's text has, by the path of its values.
func curveOf(text string) (curve map[string]string, kind string, err error) {
	values, err := form.ValuesIn(form.Rig, text, asFiled)
	if err != nil {
		return nil, "", err
	}
	curve = map[string]string{}
	for path, v := range values {
		if path == curveAccuracy || strings.HasPrefix(path, curveRows) {
			curve[path] = v
		}
	}
	return curve, values["trainer.kind"], nil
}

// withCurve is a rig's text with another curve in place of the one there.
func withCurve(text string, curve map[string]string) (string, map[string]string) {
	old, _, err := curveOf(text)
	if err != nil {
		return "", map[string]string{"": oneLine(err)}
	}
	changes := map[string]string{}
	for path := range old {
		changes[path] = ""
	}
	maps.Copy(changes, curve)
	return form.Change(form.Rig, text, changes, asFiled)
}

// curveAsked is the check of a form with its curve, and the rig it is of.
func (s *Server) curveAsked(r *http.Request) (c store.RigCheck, curve map[string]string, o store.Object, err error) {
	c, sheet, err := s.sheetOf(r.Context(), r.PathValue("id"))
	if err != nil {
		return c, nil, o, err
	}
	if view := curveView(c, sheet, nil, dates{}); !view.Use {
		return c, nil, o, refuse(http.StatusBadRequest, "This check has no curve that a rig can use. "+view.Why)
	}
	if curve, err = fittedCurve(sheet); err != nil {
		return c, nil, o, err
	}
	o, err = s.store.Object(r.Context(), c.RigID)
	return c, curve, o, err
}

func (s *Server) useCurve(w http.ResponseWriter, r *http.Request) error {
	c, curve, o, err := s.curveAsked(r)
	if err != nil {
		return err
	}
	before, kind, err := curveOf(o.Text)
	if err != nil {
		return refuse(http.StatusConflict, "This rig cannot be read, so nothing was written into it.")
	}
	if kind != "plain" && kind != "rollers" {
		return refuse(http.StatusConflict, "Only a plain trainer or rollers have a power curve, and this rig is neither (any more). Nothing was written.")
	}
	if maps.Equal(before, curve) {
		return s.see(w, r, "/check/"+c.ID, "This rig has this curve already.")
	}
	text, errs := withCurve(o.Text, curve)
	if len(errs) > 0 {
		return refuse(http.StatusConflict, "This rig cannot take the curve: "+firstOf(errs))
	}
	b, err := json.Marshal(before)
	if err != nil {
		return err
	}
	if err := s.store.SetSetting(r.Context(), settingCurve+c.ID, string(b)); err != nil {
		return err
	}
	o.Text = text
	if _, err := s.store.Put(r.Context(), o); err != nil {
		return err
	}
	if err := s.store.ApplyCorrection(r.Context(), c.ID, curveSource); err != nil {
		return err
	}
	return s.see(w, r, "/check/"+c.ID, "The rig has this curve from now on. What stood there before can be put back.")
}

func firstOf(errs map[string]string) string {
	paths := slices.Sorted(maps.Keys(errs))
	return errs[paths[0]]
}

func (s *Server) takeBackCurve(w http.ResponseWriter, r *http.Request) error {
	c, curve, o, err := s.curveAsked(r)
	if err != nil {
		return err
	}
	all, err := s.store.Corrections(r.Context(), c.RigID)
	if err != nil {
		return err
	}
	if !slices.ContainsFunc(all, func(a store.Correction) bool { return a.CheckID == c.ID && a.Source == curveSource && a.Stands() }) {
		return refuse(http.StatusConflict, "This curve was not written into the rig, or was taken back already.")
	}
	says := "The rig has the curve again that it had before."
	now, _, err := curveOf(o.Text)
	switch {
	case err != nil || !maps.Equal(now, curve):
		says = "The rig's curve was changed since, so it was left as it is."
	default:
		before, known, err := s.curveBefore(r.Context(), c.ID)
		if err != nil {
			return err
		}
		if !known || len(before) == 0 {
			says = "The rig has no power curve again, as before."
		}
		if !known {
			says = "The curve was taken out. What stood there before is not known here, since this check came from an archive."
		}
		text, errs := withCurve(o.Text, before)
		if len(errs) > 0 {
			return refuse(http.StatusConflict, "The curve cannot be taken out of this rig: "+firstOf(errs))
		}
		o.Text = text
		if _, err := s.store.Put(r.Context(), o); err != nil {
			return err
		}
	}
	if err := s.store.TakeBackCorrection(r.Context(), c.ID, curveSource); err != nil {
		return err
	}
	return s.see(w, r, "/check/"+c.ID, says)
}

// curveBefore is what stood in the rig before a check's curve did.
func (s *Server) curveBefore(ctx context.Context, id string) (curve map[string]string, known bool, err error) {
	text, err := s.store.Setting(ctx, settingCurve+id)
	if err != nil {
		return nil, false, err
	}
	if text == "" || json.Unmarshal([]byte(text), &curve) != nil {
		return nil, false, nil
	}
	return curve, true, nil
}

// hasCurve tells whether a rig's text has the curve that a check fitted.
func hasCurve(text string, sheet service.CheckSheet) bool {
	curve, err := fittedCurve(sheet)
	if err != nil {
		return false
	}
	now, _, err := curveOf(text)
	return err == nil && maps.Equal(now, curve)
}
