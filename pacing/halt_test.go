package pacing

import (
	"context"
	"errors"
	"testing"
	"time"

	"chainline/course"
)

// laps is a level-to-rolling lap of 2 km ridden many times, in 10 m points.
func laps(n int) course.Profile {
	var p course.Profile
	lap := rolling(2000)
	for i := range n {
		for k, x := range lap.Distance {
			if k == 0 && i > 0 {
				continue
			}
			p.Distance = append(p.Distance, float64(i)*2000+x)
			p.Elevation = append(p.Elevation, lap.Elevation[k]-float64(k)/40*(lap.Elevation[40]-lap.Elevation[0]))
		}
	}
	return p
}

// Every search hears a caller who gives up, wherever it stands: on a course of
// hundreds of kilometres each takes seconds.
func TestSearchesHearACancel(t *testing.T) {
	w := sampleWorld()
	w.Profile = laps(100)
	m := &maker{Request: sampleRequest(w, 0), ctx: context.Background()}
	m.shapes()
	p := m.problem(0)
	o := Optimum{}
	searches := []struct {
		name string
		run  func(ctx context.Context) error
	}{
		{"even", func(ctx context.Context) error { _, _, err := p.Even(ctx); return err }},
		{"optimum", func(ctx context.Context) error { _, err := p.Optimum(ctx); return err }},
		{"cues", func(ctx context.Context) error {
			_, err := p.Rideable(ctx, o, 250, 200, Outcome{Time: 1})
			return err
		}},
		{"rules", func(ctx context.Context) error { _, err := p.Rules(ctx, m.profiles); return err }},
	}
	var err error
	if o, err = p.Optimum(context.Background()); err != nil {
		t.Fatal(err)
	}
	for _, s := range searches {
		for _, after := range []time.Duration{0, 20 * time.Millisecond} {
			ctx, cancel := context.WithTimeout(context.Background(), after)
			began := time.Now()
			err := s.run(ctx)
			took := time.Since(began)
			cancel()
			if err != nil && !errors.Is(err, context.DeadlineExceeded) || err == nil && took > after+200*time.Millisecond {
				t.Errorf("%s, given up after %v: %v", s.name, after, err)
			}
			if took > after+500*time.Millisecond {
				t.Errorf("%s, given up after %v, stopped after %v", s.name, after, took)
			}
		}
	}
}
