package pacing

import "context"

// A glance at a course: one even effort and its forecast, for lists that are
// compared and sorted. A brief does better.

// Glanced is the best even effort for a somewhat cautious rider.
type Glanced struct {
	Watts    float64 // W
	Forecast Forecast
}

// glanceZ is how many standard deviations below the mean the rider of a glance
// stands: about what a normal brief ends at. Our judgement.
const glanceZ = 0.8

// Glance rides one even effort over the course in a few draws.
func Glance(ctx context.Context, q Request) (Glanced, error) {
	q.Progress = func(string) {}
	m := &maker{Request: q, ctx: ctx}
	m.shapes()
	p := m.problem(glanceZ)
	watts, seconds := p.evenOver(m.cutShapes)
	m.pace = seconds
	orders := Orders{Plan: []Piece{{To: m.profiles[0].Length(), Watts: watts}}, ForCP: m.forCP, Duration: m.pace}
	f, err := q.World.Forecast(ctx, orders, q.Seed, q.Draws, q.Workers)
	return Glanced{watts, f}, err
}
