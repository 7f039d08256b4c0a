package ride_test

import (
	"bytes"
	"context"
	"path/filepath"
	"slices"
	"sync"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/session"
)

func hour(t testing.TB) *session.Scaled {
	s, err := session.Parse("warm up 10 min from 45 to 75 % of threshold\nfive times:\n  ride 5 min at 100 % of threshold\n  easy 3 min\nend\nride 10 min at 85 % of threshold\n")
	if err != nil {
		t.Fatal(err)
	}
	out, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		t.Fatal(err)
	}
	return &out
}

func TestSameSeedSameRide(t *testing.T) {
	ride1 := func() []byte {
		cfg := standard(17)
		cfg.Faults = []bench.Fault{{At: 100 * time.Second, For: 20 * time.Second, Device: "meter", Kind: bench.DropOut, Size: 0.5}}
		_, records, _ := run(t, setup(scaled(t, "ride 3 min at 80 % of threshold\nride 2 min at 110 % of threshold\n")), cfg, nil)
		return bytes.Join(records, []byte{'\n'})
	}
	if a, b := ride1(), ride1(); !bytes.Equal(a, b) {
		t.Error("the same seed rode differently")
	}
}

// BenchmarkHour is an hour's session on the bench rig, journal and all.
func BenchmarkHour(b *testing.B) {
	legs := hour(b)
	for b.Loop() {
		kept, err := ride.Begin(b.TempDir(), setup(legs), sensor.NewHub(nil))
		if err != nil {
			b.Fatal(err)
		}
		if err := ride.Headless(context.Background(), kept.Core, bench.New(standard(1)), 2*time.Hour, nil, kept.Journal.Append, nil); err != nil {
			b.Fatal(err)
		}
		if err := kept.Journal.Close(); err != nil {
			b.Fatal(err)
		}
		if r, err := ride.Load(filepath.Join(kept.Path)); err != nil || !r.Ended {
			b.Fatal(r.Ended, err)
		}
	}
}

// timed measures from a notification's arrival to the command it led to.
type timed struct {
	sensor.Port
	events chan sensor.Event
	mu     sync.Mutex
	came   time.Time
	took   []time.Duration
}

func (p *timed) Events() <-chan sensor.Event { return p.events }

func (p *timed) pump() {
	defer close(p.events)
	for e := range p.Port.Events() {
		now := time.Now()
		if e.Kind == sensor.Value {
			p.mu.Lock()
			p.came = now
			p.mu.Unlock()
		}
		p.events <- e
	}
}

func (p *timed) Do(r sensor.Request) {
	if r.Kind == sensor.Write {
		p.mu.Lock()
		if !p.came.IsZero() {
			p.took = append(p.took, time.Since(p.came))
			p.came = time.Time{}
		}
		p.mu.Unlock()
	}
	p.Port.Do(r)
}

// BenchmarkNotificationToCommand rides twenty rigs in one process by the wall
// clock, all of whose targets move all the time, and reports how long it took
// from a notification's arrival at the port to the command it led to leaving
// by the port. Commands that the clock led to are not counted.
func BenchmarkNotificationToCommand(b *testing.B) {
	s, err := session.Parse("thirty times:\n  ride 15 s from 100 to 300 W\nend\n")
	if err != nil {
		b.Fatal(err)
	}
	legs, _, err := session.Scale(s, session.View{ThresholdW: 245, CriticalPowerW: 250, WPrimeJ: 20000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		took := ridden(b, &legs, 20, 30*time.Second)
		slices.Sort(took)
		if len(took) < 100 {
			b.Fatalf("only %d commands", len(took))
		}
		b.ReportMetric(float64(took[len(took)/2].Microseconds())/1000, "p50-ms")
		b.ReportMetric(float64(took[len(took)*99/100].Microseconds())/1000, "p99-ms")
		b.ReportMetric(float64(len(took)), "commands")
	}
}

func ridden(b *testing.B, legs *session.Scaled, rigs int, long time.Duration) []time.Duration {
	ctx, cancel := context.WithTimeout(context.Background(), long)
	defer cancel()
	var all []*timed
	var engines []*ride.Engine
	for n := range rigs {
		cfg := standard(uint64(n + 1))
		cfg.Start = time.Now()
		w := bench.New(cfg)
		set := setup(legs)
		set.Begun = cfg.Start
		c, err := ride.New(set, sensor.NewHub(nil))
		if err != nil {
			b.Fatal(err)
		}
		p := &timed{Port: bench.Realtime(context.Background(), w), events: make(chan sensor.Event, 64)}
		go p.pump()
		e := ride.Start(ctx, c, ride.Options{Port: p, Show: func(_ ride.Snapshot, c *ride.Core) {
			p.mu.Lock()
			p.came = time.Time{} // what goes out now is the clock's doing
			p.mu.Unlock()
			w.Show(c.Shown())
			c.ConnectAll()
		}})
		e.Key(ride.Key{Kind: ride.KeyScan, Value: 1})
		all, engines = append(all, p), append(engines, e)
	}
	var took []time.Duration
	for i, e := range engines {
		<-e.Done()
		_ = all[i].Port.Close()
		all[i].mu.Lock()
		took = append(took, all[i].took...)
		all[i].mu.Unlock()
	}
	return took
}
