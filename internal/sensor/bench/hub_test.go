package bench_test

import (
	"math"
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
)

// ear is a hub listening to a world, ten times a second.
type ear struct {
	t        *testing.T
	w        *bench.World
	hub      *sensor.Hub
	readings []sensor.Reading
	notices  []sensor.Notice
}

func listen(t *testing.T, c bench.Config) *ear {
	e := &ear{t: t, w: bench.New(c), hub: sensor.NewHub(nil)}
	e.take(e.hub.Scan(true))
	e.pass(3 * time.Second)
	for _, d := range e.hub.Devices() {
		e.take(e.hub.Connect(d.ID))
	}
	e.take(e.hub.Scan(false))
	e.pass(3 * time.Second)
	return e
}

func (e *ear) take(o sensor.Out) {
	e.readings = append(e.readings, o.Readings...)
	e.notices = append(e.notices, o.Notices...)
	for _, q := range o.Requests {
		e.w.Do(q)
	}
}

func (e *ear) pass(d time.Duration) {
	for end := e.w.Now().Add(d); e.w.Now().Before(end); {
		for _, event := range e.w.Advance(e.w.Now().Add(100 * time.Millisecond)) {
			e.take(e.hub.Handle(event))
		}
		e.take(e.hub.Tick(e.w.Now()))
	}
}

func (e *ear) heard(device string, q sensor.Quantity, since int) (mean float64, n int) {
	for _, r := range e.readings[since:] {
		if r.Device == device && r.Quantity == q {
			mean, n = mean+r.Value, n+1
		}
	}
	return mean / float64(n), n
}

func (e *ear) noticed(kind sensor.NoticeKind) (words []string) {
	for _, n := range e.notices {
		if n.Kind == kind {
			words = append(words, n.Words)
		}
	}
	return words
}

func TestHubOnTheBench(t *testing.T) {
	e := listen(t, bench.StandardRig(60))
	const trainer, meter, belt = "bench-60-trainer", "bench-60-meter", "bench-60-belt"
	if n := len(e.hub.Devices()); n != 3 {
		t.Fatalf("%d devices", n)
	}
	for _, d := range e.hub.Devices() {
		if d.Link != sensor.Connected || d.Sentence() == "" || d.Firmware == "" {
			t.Errorf("%+v", d)
		}
		if d.ID == trainer && (!d.Brake.Power || !d.Brake.Gradient || d.Brake.Watts.Max != 2000) {
			t.Errorf("brake %+v", d.Brake)
		}
	}
	order := sensor.Command{Kind: sensor.TargetPower, Watts: 220}
	e.take(e.hub.Command(trainer, order, e.w.Now()))
	e.pass(5 * time.Minute)
	from, before := len(e.readings), e.w.Truth()
	e.pass(30 * time.Second)
	truth := e.w.Truth()
	if truth.Target != 220 {
		t.Fatalf("the brake is set to %v W", truth.Target)
	}
	legs := (truth.Work - before.Work) / 30
	for _, c := range []struct {
		device    string
		q         sensor.Quantity
		want, tol float64
	}{
		{trainer, sensor.Power, 220, 4}, {meter, sensor.Power, legs * 1.008, 4},
		{trainer, sensor.Cadence, truth.Cadence, 2}, {meter, sensor.Cadence, truth.Cadence, 2},
		{belt, sensor.HeartRate, truth.Heart, 8}, {belt, sensor.RRInterval, 60 / truth.Heart, 0.05},
	} {
		got, n := e.heard(c.device, c.q, from)
		if n < 28 || math.Abs(got-c.want) > c.tol {
			t.Errorf("%s, quantity %d: %d readings, mean %.2f, want about %.2f", c.device, c.q, n, got, c.want)
		}
	}
	e.w.Inject(bench.Fault{Kind: bench.Disconnects, Device: "trainer", For: 5 * time.Second})
	e.pass(30 * time.Second)
	if len(e.noticed(sensor.LinkLost)) != 1 || len(e.noticed(sensor.ControlGained)) < 1 {
		t.Errorf("notices: %+v", e.notices)
	}
	order.Watts = 150
	e.take(e.hub.Command(trainer, order, e.w.Now()))
	e.pass(5 * time.Second)
	if got := e.w.Truth().Target; got != 150 {
		t.Errorf("after the link came back the brake is set to %v W", got)
	}
}

// Every fault at once and in turns, for ten minutes: the hub goes on, and
// afterwards everything is as before.
func TestHubThroughEveryFault(t *testing.T) {
	c := bench.StandardRig(61)
	for i, kind := range []bench.FaultKind{bench.DropOut, bench.Disconnects, bench.Stuck, bench.Delay, bench.IgnoresOrders,
		bench.NeverAnswers, bench.RefusesOrders, bench.Duplicate, bench.Garbled, bench.ControlTaken, bench.NoContact, bench.RadioGone} {
		for at := range 3 {
			c.Faults = append(c.Faults, bench.Fault{At: time.Duration(30+40*i+150*at) * time.Second, For: 20 * time.Second,
				Kind: kind, Size: []float64{0, 0.5, 1}[at]})
		}
	}
	e := listen(t, c)
	for i := range 900 {
		if i%5 == 0 {
			e.take(e.hub.Command("bench-61-trainer", sensor.Command{Kind: sensor.TargetPower, Watts: float64(150 + i%60)}, e.w.Now()))
		}
		e.pass(time.Second)
	}
	e.take(e.hub.Command("bench-61-trainer", sensor.Command{Kind: sensor.TargetPower, Watts: 199}, e.w.Now()))
	e.pass(10 * time.Second)
	for _, d := range e.hub.Devices() {
		if d.Link != sensor.Connected {
			t.Errorf("%s is %v", d.ID, d.Link)
		}
		if age, ok := d.Age(e.w.Now()); !ok || age > 3*time.Second {
			t.Errorf("%s spoke last %v ago", d.ID, age)
		}
	}
	if got := e.w.Truth().Target; got != 199 {
		t.Errorf("the brake is set to %v W; the hub said %s", got, strings.Join(e.noticed(sensor.CommandFailed), " "))
	}
}
