package bluetooth

import (
	"testing"
	"time"

	"chainline/internal/sensor"
)

// TestQueueDropsOldestAdverts: what is kept keeps its order, values are never
// dropped, and one that finds no room is refused.
func TestQueueDropsOldestAdverts(t *testing.T) {
	q := newQueue()
	q.room = 100
	const adverts = 3 * advertsKept
	for i := range adverts {
		q.put(sensor.Event{Kind: sensor.Found, Char: uint16(i)})
		if i%10 == 0 && !q.put(sensor.Event{Kind: sensor.Value, Char: uint16(i)}) {
			t.Fatalf("value %d was refused", i)
		}
	}
	for i := range 30 { // 77 are there
		if got := q.put(sensor.Event{Kind: sensor.Value, Char: uint16(adverts + i)}); got != (i < 23) {
			t.Errorf("value %d: taken %v", i, got)
		}
	}
	if !q.put(sensor.Event{Kind: sensor.Lost}) {
		t.Error("a lost link must always find room")
	}
	last, found, values := -1, 0, 0
	for e, ok := q.take(); ok; e, ok = q.take() {
		switch e.Kind {
		case sensor.Found:
			found++
			if int(e.Char) < adverts-advertsKept {
				t.Errorf("advertisement %d is kept, an older one than the last %d", e.Char, advertsKept)
			}
		case sensor.Value:
			values++
		case sensor.Lost:
			continue
		}
		if int(e.Char) < last {
			t.Errorf("%d came after %d", e.Char, last)
		}
		last = int(e.Char)
	}
	if found != advertsKept || values != 100 {
		t.Errorf("%d advertisements and %d values, want %d and 100", found, values, advertsKept)
	}
}

func TestQueueTimeOfADeviceNeverRunsBack(t *testing.T) {
	q := newQueue()
	at := time.Unix(1000, 0)
	for _, e := range []sensor.Event{{Device: "a", At: at}, {Device: "b", At: at.Add(-time.Hour)}, {Device: "a", At: at.Add(-time.Millisecond)}, {Device: "a", At: at.Add(time.Second)}} {
		q.put(e)
	}
	for i, want := range []time.Time{at, at.Add(-time.Hour), at, at.Add(time.Second)} {
		if e, _ := q.take(); !e.At.Equal(want) {
			t.Errorf("event %d at %v, want %v", i, e.At, want)
		}
	}
}

func TestNumbers(t *testing.T) {
	for _, c := range []struct {
		uuid string
		n    uint16
		ok   bool
	}{
		{"00002ad9-0000-1000-8000-00805f9b34fb", 0x2AD9, true},
		{"00002AD9-0000-1000-8000-00805F9B34FB", 0x2AD9, true},
		{"00012ad9-0000-1000-8000-00805f9b34fb", 0, false}, // 32 bits
		{"a026ee0b-0a7d-4ab3-97fa-f1500f9feb8b", 0, false},
		{"-0000-1000-8000-00805f9b34fb", 0, false},
		{"+0002ad9-0000-1000-8000-00805f9b34fb", 0, false},
		{"", 0, false},
	} {
		if n, ok := short(c.uuid); ok != c.ok || ok && n != c.n {
			t.Errorf("%q: %04X %v", c.uuid, n, ok)
		}
	}
	if long(0x2AD9) != "00002ad9-0000-1000-8000-00805f9b34fb" {
		t.Error(long(0x2AD9))
	}
	for s, want := range map[string]bool{"C0:FF:EE:00:00:01": true, "c0:ff:ee:00:00:01": false, "C0:FF:EE:00:00": false, "C0:FF:EE:00:00:0": false, "C0:FF:EE:00:00:+1": false, "": false} {
		if isAddress(s) != want {
			t.Errorf("%q is an address: %v", s, !want)
		}
	}
}
