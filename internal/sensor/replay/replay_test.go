package replay

import (
	"errors"
	"fmt"
	"math"
	"slices"
	"testing"
	"testing/synctest"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
	"chainline/internal/sensor/porttest"
	"chainline/internal/sensor/virtual"
	"chainline/recording"
)

const (
	trainer = "a trainer"
	meter   = "a meter"
	belt    = "a belt"
	wheel   = "a wheel sensor"
)

// ridden is a recording of n seconds, invented: every value a function of the
// second, the meter silent from 20 to 30 s.
func ridden(n int) recording.Recording {
	r := recording.Recording{StartUnix: 1_750_000_000, Sport: "indoor cycling"}
	add := func(q recording.Quantity, source string, f func(s float64) float64, skip func(s int) bool) {
		c := recording.Channel{Quantity: q, Source: source}
		for s := 1; s <= n; s++ {
			if skip == nil || !skip(s) {
				c.Seconds, c.Values = append(c.Seconds, float64(s)), append(c.Values, f(float64(s)))
			}
		}
		r.Channels = append(r.Channels, c)
	}
	gap := func(s int) bool { return s > 20 && s <= 30 }
	add(recording.Power, trainer, func(s float64) float64 { return 200 + math.Mod(s, 7) }, nil)
	add(recording.Cadence, trainer, func(s float64) float64 { return 85 + math.Mod(s, 5) }, nil)
	add(recording.MachineSpeed, trainer, func(s float64) float64 { return 9 }, nil)
	add(recording.Power, meter, func(s float64) float64 { return 205 + math.Mod(s, 9) }, gap)
	add(recording.Cadence, meter, func(float64) float64 { return 90 }, gap)
	add(recording.HeartRate, belt, func(s float64) float64 { return 120 + math.Floor(s/10) }, nil)
	add(recording.WheelSpeed, wheel, func(float64) float64 { return 8.42 }, nil)
	add(recording.Battery, wheel, func(float64) float64 { return 0.5 }, func(s int) bool { return s%20 != 1 })
	add(recording.Position, "ride", func(s float64) float64 { return 9 * s }, nil)
	return r
}

// played connects every device and gives what they notify until the end.
func played(p *Player, cut time.Duration) []sensor.Event {
	for _, id := range p.Devices() {
		p.Do(sensor.Request{Kind: sensor.Connect, Device: id})
	}
	var all []sensor.Event
	for !p.Over() {
		all = append(all, p.Advance(p.Now().Add(cut))...)
	}
	return all
}

func device(source string) string {
	return map[string]string{trainer: "replay-a-trainer", meter: "replay-a-meter", belt: "replay-a-belt", wheel: "replay-a-wheel-sensor"}[source]
}

func TestWhatWasRecordedIsSaidAgain(t *testing.T) {
	p := New(ridden(60), Options{})
	if len(p.Devices()) != 4 {
		t.Fatalf("devices %v, want four: what the ride reckoned is none", p.Devices())
	}
	var up time.Time
	counts, lost := map[string]int{}, 0
	l := listener{t: t, crank: gatt.NewCrank(), wheel: gatt.NewSpeedWheel()}
	for _, e := range played(p, time.Second) {
		switch e.Kind {
		case sensor.Up:
			if up.IsZero() {
				up = e.At
			}
		case sensor.Value:
			counts[fmt.Sprintf("%s %04X", e.Device, e.Char)]++
			l.hear(e, math.Round(e.At.Sub(up).Seconds()))
		case sensor.Lost:
			if errors.Is(e.Err, ErrOver) {
				lost++
			}
		}
	}
	// The first device up starts the clock; the others come within a second.
	for what, least := range map[string]int{
		device(trainer) + " 2AD2": 59, device(meter) + " 2A63": 49, device(belt) + " 2A37": 59, device(wheel) + " 2A5B": 59, device(wheel) + " 2A19": 2} {
		if got := counts[what]; got < least || got > least+1 {
			t.Errorf("%s: %d messages, want %d or one more", what, got, least)
		}
	}
	if lost != 4 {
		t.Errorf("%d links ended with the recording, want 4", lost)
	}
}

// listener knows what ridden measured at every second.
type listener struct {
	t            *testing.T
	crank, wheel gatt.Counter
}

func (l *listener) hear(e sensor.Event, s float64) {
	l.t.Helper()
	switch e.Char {
	case gatt.IndoorBikeData:
		d, err := gatt.DecodeBike(e.Bytes)
		if err != nil || d.Power != 200+math.Mod(s, 7) || d.Cadence != 85+math.Mod(s, 5) || math.Abs(d.Speed-9) > 0.002 {
			l.t.Errorf("second %v: the trainer says %+v, %v", s, d, err)
		}
	case gatt.CyclingPowerMeasurement:
		m, err := gatt.DecodePower(e.Bytes)
		if err != nil || m.Power != 205+math.Mod(s, 9) {
			l.t.Errorf("second %v: the meter says %+v, %v", s, m, err)
		}
		if c := l.crank.Add(uint32(m.CrankRevs), m.CrankTime, e.At); c.Known && math.Abs(c.Rate*60-90) > 0.2 {
			l.t.Errorf("second %v: the meter's cranks turn at %.2f rpm, want 90", s, c.Rate*60)
		}
		if s > 20 && s <= 30 {
			l.t.Errorf("second %v: the meter speaks in its gap", s)
		}
	case gatt.HeartRateMeasurement:
		if h, err := gatt.DecodeHeartRate(e.Bytes); err != nil || h.BPM != 120+math.Floor(s/10) {
			l.t.Errorf("second %v: the belt says %+v, %v", s, h, err)
		}
	case gatt.SpeedCadenceMeasurement:
		m, err := gatt.DecodeSpeedCadence(e.Bytes)
		if c := l.wheel.Add(m.WheelRevs, m.WheelTime, e.At); err != nil || c.Known && math.Abs(c.Rate*2.105-8.42) > 0.01 {
			l.t.Errorf("second %v: the wheel goes %.3f m/s, want 8.42; %v", s, c.Rate*2.105, err)
		}
	}
}

func TestFasterIsTheSameSooner(t *testing.T) {
	slow, fast := New(ridden(60), Options{}), New(ridden(60), Options{Speed: 10})
	played(slow, time.Second)
	played(fast, 100*time.Millisecond)
	start := time.Unix(1_750_000_000, 0)
	if s, f := slow.Now().Sub(start), fast.Now().Sub(start); s < 60*time.Second || s > 64*time.Second || f < 6*time.Second || f > 9*time.Second {
		t.Errorf("60 s took %v, and %v at ten times the speed", s, f)
	}
}

func TestCutsOfTimeChangeNothing(t *testing.T) {
	text := func(cut time.Duration) (out []string) {
		for _, e := range played(New(ridden(40), Options{}), cut) {
			out = append(out, fmt.Sprint(e))
		}
		return out
	}
	want := text(time.Second)
	if len(want) < 100 {
		t.Fatalf("only %d events", len(want))
	}
	// The last cut ends later or earlier; all that was said is the same.
	if got := text(10 * time.Millisecond); !slices.Equal(got, want) {
		t.Errorf("in pieces of 10 ms %d events, in seconds %d, or others", len(got), len(want))
	}
}

// A damaged recording is played as far as it can be.
func TestDamagedRecording(t *testing.T) {
	r := recording.Recording{Channels: []recording.Channel{
		{Quantity: recording.Power, Source: "x", Seconds: []float64{1, 2}, Values: []float64{1}},
		{Quantity: recording.Power, Source: "y", Seconds: []float64{math.NaN(), -3, 1e300, 2}, Values: []float64{1, 2, 3, math.Inf(1)}},
		{Quantity: recording.Power, Source: "z", Seconds: []float64{1, 1, 0.5}, Values: []float64{1e9, -1e9, 100}},
		{Quantity: recording.RRInterval, Source: "z", Seconds: []float64{1}, Values: []float64{0}},
	}}
	p := New(r, Options{})
	if got := p.Devices(); !slices.Equal(got, []string{"replay-z"}) {
		t.Fatalf("devices %v, want z alone", got)
	}
	for _, e := range played(p, time.Second) {
		if e.Char == gatt.CyclingPowerMeasurement && e.Kind == sensor.Value {
			if _, err := gatt.DecodePower(e.Bytes); err != nil {
				t.Error(err)
			}
		}
	}
	if New(recording.Recording{}, Options{}).Devices() != nil {
		t.Errorf("an empty recording has devices")
	}
}

func TestIntervalsAlone(t *testing.T) {
	r := recording.Recording{Channels: []recording.Channel{
		{Quantity: recording.RRInterval, Source: "b", Seconds: []float64{1, 1.001, 2.5}, Values: []float64{0.5, 0.5625, 0.625}}}}
	var rr []float64
	for _, e := range played(New(r, Options{}), time.Second) {
		if e.Kind == sensor.Value {
			h, err := gatt.DecodeHeartRate(e.Bytes)
			if err != nil || h.None() {
				t.Errorf("% X: %+v, %v", e.Bytes, h, err)
			}
			rr = append(rr, h.RR...)
		}
	}
	if !slices.Equal(rr, []float64{0.5, 0.5625, 0.625}) {
		t.Errorf("intervals %v", rr)
	}
}

func subject(p *Player, f porttest.Face) porttest.Rig {
	return porttest.Rig{Face: f, Device: device(trainer), Cut: func() {
		p.mu.Lock()
		defer p.mu.Unlock()
		p.sources[0].device.Drop(virtual.ErrOutOfRange)
	}}
}

func TestConductInVirtualTime(t *testing.T) {
	porttest.Trainer(t, porttest.Subject{ReadOnly: true, Open: func(*testing.T) porttest.Rig {
		p := New(ridden(300), Options{})
		return subject(p, porttest.OfStage(p))
	}})
}

func TestConductInWallTime(t *testing.T) {
	porttest.Trainer(t, porttest.Subject{
		ReadOnly: true,
		Around:   func(t *testing.T, part func(*testing.T)) { synctest.Test(t, part) },
		Open: func(t *testing.T) porttest.Rig {
			p := New(ridden(300), Options{})
			return subject(p, porttest.OfPort(Realtime(t.Context(), p)))
		},
	})
}
