package sensor

import (
	"errors"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

// Whatever a trainer and a radio do, in whatever order: nothing is written
// before a command, never a second procedure while one is under way, and no
// target without control.
func TestRandomEventsKeepTheRules(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 2026))
	wires := []string{
		"80 00 01", "80 00 01", "80 00 05", "80 07 01", "80 07 04", "80 05 01", "80 05 05", "80 05 03", "80 11 01",
		"80 04 03", "80 04 01", "80 13 01", "FF", "01", "02 01", "03", "14 02", "", "80", "08 FA 00",
	}
	var written int
	for range 3000 {
		k := newDesk(t)
		k.trainer()
		k.answer("trainer", gatt.ResistanceRange, "0A 00 C8 00 0A 00")
		r := rules{t: t, up: true}
		for range 60 {
			r.before(k.step(rng, wires, &r))
			r.after(k.out)
			if t.Failed() {
				return
			}
		}
		written += r.written
	}
	if written < 10000 {
		t.Errorf("only %d writes were looked at", written)
	}
}

// rules is what the test knows by itself of a trainer's control point.
type rules struct {
	t         *testing.T
	commanded bool // on this link
	up        bool
	busy      bool
	op        byte
	held      bool
	written   int
}

// before takes what is about to be answered by the hub's output.
func (r *rules) before(e Event) {
	switch {
	case e.Kind == Lost:
		r.up, r.commanded, r.busy, r.held = false, false, false, false
	case e.Kind == Up:
		r.up = true
	case e.Kind == Wrote && e.Err != nil:
		r.busy = false
	case e.Kind == Value && e.Char == gatt.MachineControlPoint && len(e.Bytes) >= 3 && r.busy && e.Bytes[1] == r.op:
		r.busy = false
		if e.Bytes[1] == 0 && e.Bytes[2] == 1 {
			r.held = true
		}
		if e.Bytes[2] == 5 {
			r.held = false
		}
	case e.Kind == Value && e.Char == gatt.MachineStatus && len(e.Bytes) > 0 && (e.Bytes[0] == 0xFF || e.Bytes[0] == 1 || e.Bytes[0] == 3):
		r.held = false
	}
}

func (r *rules) after(out Out) {
	r.t.Helper()
	for _, q := range out.Requests {
		if q.Kind != Write {
			continue
		}
		r.written++
		switch {
		case !r.commanded:
			r.t.Errorf("% X without a command", q.Bytes)
		case !r.up:
			r.t.Errorf("% X without a link", q.Bytes)
		case r.busy:
			r.t.Errorf("% X while %02X is under way", q.Bytes, r.op)
		case q.Bytes[0] != 0 && !r.held:
			r.t.Errorf("% X without control", q.Bytes)
		}
		r.busy, r.op = true, q.Bytes[0]
	}
}

// step does something at random; what the hub answers is in k.out.
func (k *desk) step(rng *rand.Rand, wires []string, r *rules) Event {
	at := k.now
	k.out = Out{}
	switch rng.IntN(8) {
	case 0, 1:
		r.commanded = true
		k.command("trainer", []Command{watts(200), gradient(0.02), level(0.5)}[rng.IntN(3)])
		return Event{}
	case 2:
		k.wait(time.Duration(rng.IntN(12000)) * time.Millisecond)
		return Event{}
	case 3:
		if rng.IntN(4) > 0 {
			return Event{}
		}
		e := Event{Kind: []EventKind{Lost, Up}[rng.IntN(2)], Device: "trainer", At: at, Chars: trainerChars}
		if e.Kind == Up && r.up {
			return Event{}
		}
		r.up = r.up || e.Kind == Up
		k.event(e)
		return e
	case 4:
		e := Event{Kind: Wrote, Device: "trainer", At: at, Char: gatt.MachineControlPoint}
		if rng.IntN(5) == 0 {
			e.Err = errors.New("refused")
		}
		k.event(e)
		return e
	}
	char := gatt.MachineControlPoint
	wire := wires[rng.IntN(len(wires))]
	if !strings.HasPrefix(wire, "80") {
		char = gatt.MachineStatus
	}
	if r.busy && rng.IntN(2) == 0 {
		char, wire = gatt.MachineControlPoint, fmt.Sprintf("80 %02X 01", r.op)
	}
	e := Event{Kind: Value, Device: "trainer", At: at, Char: char, Bytes: octets(wire)}
	k.event(e)
	return e
}

// FuzzHub hands octets over as events: nothing panics and nothing is
// written, because nobody commands.
func FuzzHub(f *testing.F) {
	f.Add([]byte("\x03\x00\x09\x80\x00\x01"))
	f.Add([]byte("\x03\x02\x08\x44\x00\xC4\x09\xB4\x00\xFA\x00"))
	f.Fuzz(func(t *testing.T, b []byte) {
		h := NewHub(nil)
		h.Connect("a")
		now := noon
		h.Handle(Event{Kind: Up, Device: "a", At: now, Chars: gatt.Known})
		chars := append(append([]uint16{}, gatt.Known...), gatt.ReadOnUp...)
		for len(b) >= 3 {
			n := min(int(b[2])%24, len(b)-3)
			now = now.Add(time.Duration(b[2]) * 10 * time.Millisecond)
			e := Event{
				Kind: EventKind(b[0]%9) + Found - 1, Device: "a", At: now,
				Char: chars[int(b[1])%len(chars)], Bytes: b[3 : 3+n], Chars: chars,
			}
			for _, out := range []Out{h.Handle(e), h.Tick(now)} {
				for _, q := range out.Requests {
					if q.Kind == Write {
						t.Fatalf("% X written", q.Bytes)
					}
				}
			}
			for _, d := range h.Devices() {
				if d.Sentence() == "" {
					t.Fatal("a device without a sentence")
				}
			}
			b = b[3+n:]
		}
	})
}
