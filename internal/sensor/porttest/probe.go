package porttest

import (
	"slices"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// probe is one part of the suite at one rig. It watches the order of things
// whatever the part looks for.
type probe struct {
	Rig
	t    *testing.T
	s    Subject
	up   bool
	seen map[string]time.Time // last arrival of each device
	lost int
}

// next is the next event, looked at.
func (k *probe) next(limit time.Duration) (sensor.Event, bool) {
	k.t.Helper()
	e, ok := k.Next(limit)
	if !ok {
		return e, false
	}
	if e.At.IsZero() {
		k.t.Errorf("an event without a time: %+v", e)
	}
	if e.At.Before(k.seen[e.Device]) {
		k.t.Errorf("the events of %q go backwards in time: %v after %v", e.Device, e.At, k.seen[e.Device])
	}
	k.seen[e.Device] = e.At
	if e.Device == k.Device {
		k.link(e)
	}
	return e, true
}

// link follows the state of the link by the events.
func (k *probe) link(e sensor.Event) {
	switch e.Kind {
	case sensor.Up:
		if k.up {
			k.t.Errorf("up, without the link having been lost")
		}
		k.up = true
	case sensor.Lost:
		k.up = false
		k.lost++
	case sensor.Answer, sensor.Wrote:
		if !k.up && e.Err == nil {
			k.t.Errorf("%04X answered while there is no link", e.Char)
		}
	case sensor.Value:
		if !k.up {
			k.t.Errorf("%04X notified while there is no link", e.Char)
		}
		if !slices.Contains(gatt.Known, e.Char) {
			k.t.Errorf("%04X notified, which nobody subscribes to", e.Char)
		}
	}
}

// until is the first event that fits, and everything that came before it.
func (k *probe) until(what string, fits func(sensor.Event) bool) (sensor.Event, []sensor.Event) {
	k.t.Helper()
	var before []sensor.Event
	for begun := time.Duration(0); begun < k.s.Within; {
		const slice = 100 * time.Millisecond
		e, ok := k.next(slice)
		if !ok {
			begun += slice
			continue
		}
		if fits(e) {
			return e, before
		}
		before = append(before, e)
		begun += time.Millisecond // a stream of other events must end too
	}
	k.t.Fatalf("waited %v for %s; %d other events came", k.s.Within, what, len(before))
	return sensor.Event{}, nil
}

// during is everything that comes within a time, by the events' own clock
// where they have one.
func (k *probe) during(d time.Duration) []sensor.Event {
	k.t.Helper()
	var all []sensor.Event
	var first time.Time
	for quiet := time.Duration(0); quiet < d; {
		const slice = 50 * time.Millisecond
		e, ok := k.next(slice)
		if !ok {
			quiet += slice
			continue
		}
		all = append(all, e)
		if first.IsZero() {
			first = e.At
		}
		if e.At.Sub(first) >= d {
			break
		}
	}
	return all
}

func (k *probe) is(kind sensor.EventKind, char uint16) func(sensor.Event) bool {
	return func(e sensor.Event) bool { return e.Device == k.Device && e.Kind == kind && e.Char == char }
}

// connect raises the link and gives the characteristics.
func (k *probe) connect() []uint16 {
	k.t.Helper()
	k.Do(sensor.Request{Kind: sensor.Connect, Device: k.Device})
	e, _ := k.until("the link to come up", func(e sensor.Event) bool {
		if e.Device == k.Device && e.Kind == sensor.Lost {
			k.t.Fatalf("no link: %v", e.Err)
		}
		return e.Device == k.Device && e.Kind == sensor.Up
	})
	k.subscribed(e.Chars)
	return e.Chars
}

// subscribed: every characteristic of gatt.Known that the device has, once,
// the control points' indications before anything else.
func (k *probe) subscribed(chars []uint16) {
	k.t.Helper()
	if k.Subscribed == nil {
		return
	}
	var want []uint16
	for _, c := range gatt.Known {
		if slices.Contains(chars, c) {
			want = append(want, c)
		}
	}
	got := k.Subscribed()
	sorted := func(c []uint16) []uint16 { return slices.Sorted(slices.Values(c)) }
	if !slices.Equal(sorted(got), sorted(want)) {
		k.t.Errorf("up, subscribed to %04X; want each of %04X once", got, want)
	}
	for i, c := range got[:max(0, len(got)-1)] {
		if !gatt.Indicates(c) && gatt.Indicates(got[i+1]) {
			k.t.Errorf("subscribed in the order %04X: control points must come first", got)
		}
	}
}

func (k *probe) read(char uint16) sensor.Event {
	k.t.Helper()
	k.Do(sensor.Request{Kind: sensor.Read, Device: k.Device, Char: char})
	e, _ := k.until("the answer to a read", k.is(sensor.Answer, char))
	return e
}

func (k *probe) write(q gatt.MachineRequest) {
	k.Do(sensor.Request{Kind: sensor.Write, Device: k.Device, Char: gatt.MachineControlPoint, Bytes: q.Append(nil)})
}

// ask writes to the control point and gives its answer; the acknowledgement
// must have come before it.
func (k *probe) ask(q gatt.MachineRequest) gatt.MachineResponse {
	k.t.Helper()
	k.write(q)
	wrote, _ := k.until("a write to be acknowledged", func(e sensor.Event) bool {
		if k.is(sensor.Value, gatt.MachineControlPoint)(e) {
			k.t.Fatalf("the answer % X came before the acknowledgement", e.Bytes)
		}
		return k.is(sensor.Wrote, gatt.MachineControlPoint)(e)
	})
	if wrote.Err != nil {
		k.t.Fatalf("write of % X: %v", q.Append(nil), wrote.Err)
	}
	e, _ := k.until("the control point's answer", k.is(sensor.Value, gatt.MachineControlPoint))
	p, err := gatt.DecodeMachineResponse(e.Bytes)
	if err != nil {
		k.t.Fatalf("answer % X: %v", e.Bytes, err)
	}
	if p.Op != q.Op {
		k.t.Fatalf("asked %02X, answered %02X", byte(q.Op), byte(p.Op))
	}
	return p
}

func (k *probe) expect(q gatt.MachineRequest, want gatt.Result) {
	k.t.Helper()
	if p := k.ask(q); p.Result != want {
		k.t.Errorf("% X: %v, want %v", q.Append(nil), p.Result, want)
	}
}

// held waits until the brake is set to watts, where that can be seen.
func (k *probe) held(watts float64) {
	k.t.Helper()
	if k.Target == nil {
		return
	}
	for waited := time.Duration(0); waited < k.s.Within; waited += 50 * time.Millisecond {
		if is, set := k.Target(); set && is == watts {
			return
		}
		k.during(50 * time.Millisecond)
	}
	is, set := k.Target()
	k.t.Errorf("the brake is set to %v W (%v), want %v W", is, set, watts)
}
