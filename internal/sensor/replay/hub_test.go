package replay

import (
	"math"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/recording"
)

// What the hub reads from a playback is what was recorded, to the resolution
// of the messages.
func TestRecordingThroughTheHub(t *testing.T) {
	r := ridden(120)
	add := func(q recording.Quantity, source string, value func(s float64) float64) {
		c := recording.Channel{Quantity: q, Source: source}
		for s := 1.0; s <= 120; s++ {
			c.Seconds, c.Values = append(c.Seconds, s), append(c.Values, value(s))
		}
		r.Channels = append(r.Channels, c)
	}
	add(recording.LeftShare, meter, func(s float64) float64 { return 0.5 + math.Mod(s, 5)/100 })
	add(recording.Resistance, trainer, func(s float64) float64 { return math.Mod(s, 11) })
	add(recording.RRInterval, belt, func(s float64) float64 { return 0.5 + math.Mod(s, 3)/16 })
	got, up := throughHub(New(r, Options{}))
	for _, c := range []struct {
		source string
		q      recording.Quantity
		as     sensor.Quantity
		tol    float64
		least  int
	}{
		{trainer, recording.Power, sensor.Power, 0.5, 118}, {trainer, recording.Cadence, sensor.Cadence, 0.25, 118},
		{trainer, recording.MachineSpeed, sensor.MachineSpeed, 0.002, 118}, {trainer, recording.Resistance, sensor.Resistance, 0.5, 118},
		{meter, recording.Power, sensor.Power, 0.5, 108}, {meter, recording.Cadence, sensor.Cadence, 0.3, 105},
		{meter, recording.LeftShare, sensor.LeftShare, 0.0026, 118 - 10},
		{belt, recording.HeartRate, sensor.HeartRate, 0.5, 118}, {belt, recording.RRInterval, sensor.RRInterval, 0.001, 118},
		{wheel, recording.WheelSpeed, sensor.WheelSpeed, 0.02, 116}, {wheel, recording.Battery, sensor.Battery, 0.006, 5},
	} {
		n := 0
		for _, g := range got {
			if g.Device != device(c.source) || g.Quantity != c.as {
				continue
			}
			want, there := value(r, c.source, c.q, g.At.Sub(up).Seconds())
			if !there && c.q == recording.Battery {
				continue // read once on connecting
			}
			if !there || math.Abs(g.Value-want) > c.tol {
				t.Errorf("%s, %s at %.2f s: %v, recorded %v (%v)", c.source, c.q, g.At.Sub(up).Seconds(), g.Value, want, there)
			}
			n++
		}
		if n < c.least {
			t.Errorf("%s, %s: %d readings, want %d at least", c.source, c.q, n, c.least)
		}
	}
}

// throughHub plays to the end and gives what the hub read, and when the
// recording's clock started.
func throughHub(p *Player) (got []sensor.Reading, up time.Time) {
	hub := sensor.NewHub([]sensor.Setting{{Device: device(wheel), Name: wheel, Circumference: 2.105}})
	take := func(o sensor.Out) {
		got = append(got, o.Readings...)
		for _, q := range o.Requests {
			p.Do(q)
		}
	}
	for _, id := range p.Devices() {
		take(hub.Connect(id))
	}
	for !p.Over() {
		for _, e := range p.Advance(p.Now().Add(100 * time.Millisecond)) {
			if e.Kind == sensor.Up && up.IsZero() {
				up = e.At
			}
			take(hub.Handle(e))
		}
		take(hub.Tick(p.Now()))
	}
	return got, up
}

// value is what was recorded at a second.
func value(r recording.Recording, source string, q recording.Quantity, second float64) (float64, bool) {
	for _, c := range r.Channels {
		for i, s := range c.Seconds {
			if c.Source == source && c.Quantity == q && math.Abs(s-second) < 0.02 {
				return c.Values[i], true
			}
		}
	}
	return 0, false
}
