package api

import (
	"context"
	"net/http"

	"github.com/danielgtaylor/huma/v2"

	"chainline/capacity"
	"chainline/internal/render"
	"chainline/internal/service"
	"chainline/internal/store"
)

// Learnt is what the evidence of a rider comes to, in the watts that the
// rig shows (true ones where it shows none).
type Learnt struct {
	CriticalPower render.EstimateJSON `json:"critical_power_w"`
	WPrime        render.EstimateJSON `json:"w_prime_j"`
	MaxPower      render.EstimateJSON `json:"max_power_w"`
	Threshold     render.EstimateJSON `json:"threshold_w"`
	Fade          render.EstimateJSON `json:"fade_w" doc:"Lost per unit of ln(time) in long rides."`
	Model         string              `json:"model"`
	Curve         []CurvePoint        `json:"curve" doc:"What can be held how long."`
	Evidence      []EvidenceLine      `json:"evidence" doc:"What became of each piece of evidence."`
	Warnings      []string            `json:"warnings"`
}

// CurvePoint is what can be held for a time.
type CurvePoint struct {
	Seconds render.Number       `json:"seconds"`
	Watts   render.EstimateJSON `json:"watts"`
}

// EvidenceLine says in words what became of a piece of evidence.
type EvidenceLine struct {
	What string `json:"what"`
	When string `json:"when"`
	Used string `json:"used"`
}

type (
	capacityInput struct {
		IDInput
		Rig  string `query:"rig" required:"true" maxLength:"40" doc:"ID of a rig."`
		Date string `query:"date" doc:"Day to look from like 2026-12-03; left out: today."`
	}
	capacityOutput struct{ Body Learnt }
)

// curveTimes are the times of the curve in seconds.
var curveTimes = []float64{5, 10, 30, 60, 120, 180, 300, 480, 720, 1200, 1800, 2700, 3600, 5400, 7200, 10800, 14400}

func (a *api) learnRoutes() {
	huma.Register(a.huma, operation(http.MethodGet, "/riders/{id}/capacity", "learn-capacity", "What is known of a rider's power on a rig", "riders",
		http.StatusNotFound, http.StatusUnprocessableEntity), a.learn)
}

func (a *api) learn(ctx context.Context, in *capacityInput) (*capacityOutput, error) {
	if _, err := a.object(ctx, store.Rider, in.ID); err != nil {
		return nil, a.failed(ctx, err)
	}
	q, err := a.request(ctx, named{Rider: in.ID, Rig: in.Rig})
	if err != nil {
		return nil, a.failed(ctx, err)
	}
	q.Date = in.Date
	known, err := service.Learn(q)
	if err != nil {
		return nil, a.computed(ctx, err)
	}
	return &capacityOutput{capacityOf(known)}, nil
}

func capacityOf(k service.Known) Learnt {
	origin := k.Account.Model
	cp, w, most, fade := k.Capacity.Estimates(origin)
	out := Learnt{CriticalPower: render.Estimate(cp), WPrime: render.Estimate(w), MaxPower: render.Estimate(most),
		Threshold: render.Estimate(k.Capacity.ThresholdEstimate(origin)), Fade: render.Estimate(fade), Model: origin,
		Curve: []CurvePoint{}, Evidence: []EvidenceLine{}, Warnings: append([]string{}, k.Account.Warnings...)}
	for _, t := range curveTimes {
		if e, ok := k.Capacity.Estimate(func(c capacity.Capacity) float64 { return c.Power(t) }, origin); ok {
			out.Curve = append(out.Curve, CurvePoint{render.Number(t), render.Estimate(e)})
		}
	}
	for _, l := range k.Account.Lines {
		out.Evidence = append(out.Evidence, EvidenceLine(l))
	}
	return out
}
