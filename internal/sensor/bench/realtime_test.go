package bench

import (
	"bytes"
	"context"
	"sync"
	"testing"
	"testing/synctest"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// In a bubble of synctest the wall clock is as good as the virtual one.
func TestRealtimeIsTheWorldByTheWall(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		c := StandardRig(50)
		w := New(c)
		p := Realtime(t.Context(), w)
		begun := time.Now()
		p.Do(sensor.Request{Kind: sensor.Connect, Device: "bench-50-meter"})
		var got []sensor.Event
		for end := time.After(30 * time.Second); ; {
			select {
			case e := <-p.Events():
				if late := time.Since(e.At); late < 0 || late > 20*time.Millisecond {
					t.Fatalf("an event stamped %v before it came", late)
				}
				got = append(got, e)
				continue
			case <-end:
			}
			break
		}
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		v := New(c)
		v.Do(sensor.Request{Kind: sensor.Connect, Device: "bench-50-meter"})
		want := v.Advance(c.Start.Add(w.Now().Sub(c.Start)))
		for i := range got {
			got[i].At = c.Start.Add(got[i].At.Sub(begun))
		}
		if a, b := lines(got), lines(want[:len(got)]); !bytes.Equal(a, b) || len(got) < 30 {
			t.Errorf("by the wall clock %d events, in virtual time %d, or others", len(got), len(want))
		}
	})
}

func TestRealtimeFromManySides(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		ctx, cancel := context.WithCancel(t.Context())
		var ports []sensor.Port
		var all sync.WaitGroup
		for seed := range uint64(4) {
			w := New(StandardRig(seed))
			p := Realtime(ctx, w)
			ports = append(ports, p)
			for _, u := range w.units {
				p.Do(sensor.Request{Kind: sensor.Connect, Device: u.device.ID})
			}
			all.Go(func() {
				values := 0
				for e := range p.Events() {
					if e.Kind == sensor.Value {
						values++
					}
				}
				if values < 150 {
					t.Errorf("rig %d: %d values in a minute", seed, values)
				}
			})
			for i := range 3 {
				all.Go(func() {
					for s := 0; s < 50; s++ {
						time.Sleep(time.Second)
						w.Show(Shown{Watts: float64(150 + 10*s), Pedalling: true})
						w.Inject(Fault{Kind: DropOut, Device: "belt", For: time.Millisecond})
						p.Do(sensor.Request{Kind: sensor.Write, Device: w.trainer.device.ID, Char: gatt.MachineControlPoint, Bytes: []byte{byte(i)}})
						if tr := w.Truth(); tr.At.Before(StandardRig(0).Start) {
							t.Errorf("truth at %v", tr.At)
						}
					}
				})
			}
		}
		time.Sleep(time.Minute)
		cancel()
		all.Wait()
		for _, p := range ports {
			if err := p.Close(); err != nil {
				t.Error(err)
			}
		}
	})
}

// Nobody reads: closing ends it all the same.
func TestRealtimeUnread(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		p := Realtime(t.Context(), New(StandardRig(51)))
		p.Do(sensor.Request{Kind: sensor.ScanOn})
		time.Sleep(10 * time.Minute)
		if err := p.Close(); err != nil {
			t.Error(err)
		}
		if err := p.Close(); err != nil {
			t.Errorf("closed again: %v", err)
		}
	})
}

// Worlds share nothing: moved in turns or one after the other, in one
// goroutine or many, they are the same.
func TestWorldsShareNothing(t *testing.T) {
	const rigs = 6
	run := func(w *World, to time.Duration) []byte { return lines(w.Advance(w.c.Start.Add(to))) }
	var want [rigs][]byte
	worlds := func() (all [rigs]*World) {
		for i := range all {
			c := StandardRig(uint64(i / 2)) // two of each seed
			if i%2 == 1 {
				c.Rider.CriticalPower = 300
			}
			all[i] = New(c)
			all[i].Do(sensor.Request{Kind: sensor.Connect, Device: all[i].meter.device.ID})
		}
		return all
	}
	for i, w := range worlds() {
		want[i] = run(w, 2*time.Minute)
	}
	if bytes.Equal(want[0], want[1]) || bytes.Equal(want[0], want[2]) {
		t.Errorf("another rider or another seed makes no difference")
	}
	turns := worlds()
	var got [rigs][]byte
	for s := time.Second; s <= 2*time.Minute; s += time.Second {
		for i, w := range turns {
			got[i] = append(got[i], run(w, s)...)
		}
	}
	var together sync.WaitGroup
	for i, w := range worlds() {
		together.Go(func() {
			if !bytes.Equal(run(w, 2*time.Minute), want[i]) {
				t.Errorf("world %d is another one beside the others", i)
			}
		})
	}
	together.Wait()
	for i := range got {
		if !bytes.Equal(got[i], want[i]) {
			t.Errorf("world %d is another one when worlds take turns", i)
		}
	}
}

func TestHistory(t *testing.T) {
	c := StandardRig(52)
	c.History = true
	w := New(c)
	w.Advance(c.Start.Add(90*time.Second + 5*time.Millisecond))
	h := w.History()
	if len(h) != 90 || !h[89].At.Equal(c.Start.Add(90*time.Second)) || h[89].Work <= h[88].Work {
		t.Errorf("%d seconds of history", len(h))
	}
}

// BenchmarkHour is one hour of the standard rig under target power, all
// devices connected, in seconds as an engine would ask.
func BenchmarkHour(b *testing.B) {
	for b.Loop() {
		w := New(StandardRig(1))
		for _, u := range w.units {
			w.Do(sensor.Request{Kind: sensor.Connect, Device: u.device.ID})
		}
		w.Advance(w.c.Start.Add(2 * time.Second))
		for _, q := range []gatt.MachineRequest{{Op: gatt.RequestControl}, {Op: gatt.SetPower, Value: 200}} {
			w.Do(sensor.Request{Kind: sensor.Write, Device: w.trainer.device.ID, Char: gatt.MachineControlPoint, Bytes: q.Append(nil)})
			w.Advance(w.Now().Add(time.Second))
		}
		for range 36_000 {
			w.Advance(w.Now().Add(100 * time.Millisecond))
		}
	}
}
