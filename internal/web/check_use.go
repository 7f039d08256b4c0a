package web

import (
	"context"
	"fmt"
	"maps"
	"math"
	"slices"
	"strconv"
	"strings"
	"time"

	"chainline/internal/form"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/internal/store"
)

// What the last check of a rig means for later rides and briefs.

// rideCorrections are the corrections that a ride on a rig goes by. The ride
// keeps them in its setup.
func (s *Server) rideCorrections(ctx context.Context, rigID string) (map[ride.SourceKey]ride.Correction, error) {
	verdicts, _, err := s.standingCorrections(ctx, rigID)
	if err != nil || len(verdicts) == 0 {
		return nil, err
	}
	out := map[ride.SourceKey]ride.Correction{}
	for _, v := range verdicts {
		if v.Key != "" {
			out[ride.SourceKey(v.Key)] = v.Correction.Correct()
		}
	}
	return out, nil
}

// brakeTimes are the dead time and the lag (s) that the last check of a rig
// measured: a ride sends its commands earlier by them. A simulated brake says
// nothing of a real one. More than mostAhead is not believed.
func (s *Server) brakeTimes(ctx context.Context, rigID string, bench bool) (dead, lag float64, err error) {
	const mostAhead = 3.0
	last, err := s.checkBefore(ctx, rigID)
	if err != nil || last == nil || last.Bench != bench {
		return 0, 0, err
	}
	return math.Min(mostAhead, last.BrakeDeadS), math.Min(mostAhead, last.BrakeLagS), nil
}

// correctionWords say which watts of a ride are corrected, and how.
func (s *Server) correctionWords(ctx context.Context, rigID string, d dates) ([]string, error) {
	verdicts, standing, err := s.standingCorrections(ctx, rigID)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, source := range slices.Sorted(maps.Keys(verdicts)) {
		if verdicts[source].Key != "" {
			out = append(out, fmt.Sprintf("The watts of %s are corrected by the rig check of %s: %s. What it shows itself is kept in the recording.", source,
				d.day(standing[source].Applied), verdicts[source].Correction.Words()))
		}
	}
	return out, nil
}

// checked puts what the last check found into the texts that a brief is made
// from: the doubt about the watts of the rig's own source, and, where its
// correction is applied, what was measured with it before as it would be shown
// now. The objects that are kept stay as they are.
func (s *Server) checked(ctx context.Context, p *briefParts) error {
	rigID := p.ask.Rig
	if rigID == "" {
		return nil
	}
	last, err := s.checkBefore(ctx, rigID)
	if err != nil || last == nil || last.Bench { // a simulated rig says nothing of this one
		return err
	}
	rigName := p.names[store.Rig]
	values, err := form.ValuesIn(form.Rig, p.files[rigName], asFiled)
	if err != nil {
		return nil //nolint:nilerr // whoever reads it says what is wrong
	}
	v, ok := verdictFor(*last, values["power_source.kind"])
	if !ok || v.Key == string(ride.FromCurve) && hasCurve(p.files[rigName], *last) { // the verdict is on the curve before
		return nil
	}
	verdicts, standing, err := s.standingCorrections(ctx, rigID)
	if err != nil {
		return err
	}
	sd := math.Hypot(v.ErrorSD, v.Error.Mean) // as it is shown, its known error is not taken off
	if k, applied := verdicts[v.Source]; applied {
		sd = k.Correction.SD
		p.correctEvidence(*k.Correction, values["power_source.name"], standing[v.Source].Applied)
	}
	if sd <= 0 || sd > 0.5 {
		return nil
	}
	if changed, errs := form.Change(form.Rig, p.files[rigName], map[string]string{"power_source.accuracy_percent": fmt.Sprintf("%.2f", math.Max(0.1, 100*sd))}, asFiled); len(errs) == 0 {
		p.files[rigName] = changed
	}
	return nil
}

// verdictFor is the verdict on the rig's own source of watts, if it says how
// large the error is.
func verdictFor(c service.CheckSheet, kind string) (service.CheckVerdict, bool) {
	var found []service.CheckVerdict
	for _, v := range c.Verdicts {
		if v.Error == nil {
			continue
		}
		of := ""
		switch {
		case strings.HasSuffix(v.Key, "/1826"):
			of = "trainer"
		case strings.HasSuffix(v.Key, "/1818"):
			of = "meter"
		case v.Key == string(ride.FromCurve):
			of = "curve"
		}
		wanted := kind
		if kind == "crank" || kind == "pedal" || kind == "hub" {
			wanted = "meter"
		}
		if of == wanted || of == "" {
			found = append(found, v)
		}
	}
	if len(found) != 1 { // two meters: which is the rig's own is not known
		return service.CheckVerdict{}, false
	}
	return found[0], true
}

// correctEvidence writes the watts of a rider's evidence as the corrected
// source would have shown them.
func (p *briefParts) correctEvidence(k service.CheckCorrection, source string, applied time.Time) {
	name := p.names[store.Rider]
	values, err := form.ValuesIn(form.Rider, p.files[name], asFiled)
	if err != nil {
		return
	}
	changes := map[string]string{}
	for path, text := range values {
		entry, ok := strings.CutSuffix(path, ".watts")
		if !ok || !strings.HasPrefix(entry, "evidence.") || values[entry+".source"] != "" && values[entry+".source"] != source {
			continue
		}
		if day := values[entry+".date"]; day != "" && day > applied.Format(time.DateOnly) {
			continue // measured with the correction in force
		}
		if w, err := strconv.ParseFloat(text, 64); err == nil {
			changes[path] = fmt.Sprintf("%.1f", (w-k.OffsetW)/k.Gain)
		}
	}
	if changed, errs := form.Change(form.Rider, p.files[name], changes, asFiled); len(changes) > 0 && len(errs) == 0 {
		p.files[name] = changed
	}
}
