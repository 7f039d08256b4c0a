package sensor

import (
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"

	"chainline/internal/sensor/gatt"
)

const (
	asksControl = "2AD9 00"
	starts      = "2AD9 07"
)

func watts(w float64) Command    { return Command{Kind: TargetPower, Watts: w} }
func gradient(g float64) Command { return Command{Kind: TargetGradient, Gradient: g} }
func level(f float64) Command    { return Command{Kind: TargetResistance, Level: f} }

// wrote acknowledges the write under way, indicate answers it.
func (k *desk) wrote() Out {
	return k.event(Event{Kind: Wrote, Device: "trainer", Char: gatt.MachineControlPoint})
}

func (k *desk) indicate(wire string) Out {
	return k.value("trainer", gatt.MachineControlPoint, wire)
}

// inControl makes a trainer that has been told 100 W.
func (k *desk) inControl() {
	k.trainer()
	k.command("trainer", watts(100))
	k.indicate("80 00 01")
	k.indicate("80 07 01")
	k.wants("100 W", "2AD9 05 64 00")
	k.indicate("80 05 01")
}

func TestListeningOnlyNeverWrites(t *testing.T) {
	k := newDesk(t)
	quiet := func(what string) {
		t.Helper()
		k.wants(what)
	}
	k.trainer()
	quiet("up")
	for _, wire := range []string{"04", "08 FA 00", "02 01", "01", "FF", "14 01"} {
		k.value("trainer", gatt.MachineStatus, wire)
		quiet("status " + wire)
	}
	for _, wire := range []string{"80 00 01", "80 00 05", "80 07 01", "80 05 05"} {
		k.indicate(wire)
		quiet("an answer to another program " + wire)
	}
	for range 600 {
		k.value("trainer", gatt.IndoorBikeData, "44 00 C4 09 B4 00 FA 00")
		quiet("data")
		k.wait(time.Second)
		quiet("time")
	}
	k.event(Event{Kind: Lost, Device: "trainer"})
	quiet("lost")
	k.wait(time.Second)
	quiet("again")
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	quiet("up again")
	k.h.Release("trainer")
	k.wait(time.Minute)
	quiet("a minute later")
	k.command("trainer", watts(100))
	k.wants("the first command asks for control and nothing else", asksControl)
}

// The order of Fitness Machine Service 1.0.1, 4.16: control, start, target;
// one procedure at a time; a machine that runs already answers that starting
// failed. Read; the vectors too.
func TestPublishedControlSequence(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.command("trainer", watts(200))
	k.wants("first", asksControl)
	k.command("trainer", watts(210))
	k.wants("a second while the first waits")
	k.wrote()
	k.wants("acknowledged, not answered")
	k.indicate("80 00 01")
	k.says("granted", ControlGained)
	k.wants("granted", starts)
	k.command("trainer", watts(220))
	k.wants("while it starts")
	k.indicate("80 07 04")
	k.says("already started is no failure")
	k.wants("the newest only", "2AD9 05 DC 00")
	k.command("trainer", watts(230))
	k.command("trainer", watts(240))
	k.wants("one procedure at a time")
	k.value("trainer", gatt.MachineStatus, "08 DC 00")
	k.wants("an echo is neither waited for nor harmful")
	k.indicate("80 04 01")
	k.wants("an answer to something else")
	k.wrote()
	k.indicate("80 05 01")
	k.wants("the newest again", "2AD9 05 F0 00")
	k.wrote()
	k.indicate("80 05 01")
	k.wants("nothing left")
	if d := k.h.Devices()[0]; !d.Controlled {
		t.Error("not said to be controlled")
	}
}

func TestCommandsInTheTrainersTerms(t *testing.T) {
	for _, row := range []struct {
		name    string
		setting Setting
		prepare func(*desk)
		command Command
		want    string
	}{
		{"rounded to steps of 5 W", Setting{}, nil, watts(252.6), "05 FF 00"},
		{"held to the greatest", Setting{}, nil, watts(5000), "05 D0 07"},
		{"held to the least", Setting{}, nil, watts(-50), "05 00 00"},
		{"gradient as simulation", Setting{}, nil, gradient(0.0425), "11 00 00 A9 01 28 33"},
		{"downhill", Setting{}, nil, gradient(-0.075), "11 00 00 12 FD 28 33"},
		{"the other scale of Crr", Setting{CrrScale: 0.001}, nil, gradient(0), "11 00 00 00 00 04 33"},
		{"the standard's scale", Setting{CrrScale: 0.0001}, nil, gradient(0), "11 00 00 00 00 28 33"},
		{"simulation within its inclinations", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.InclinationRange, "9C FF C8 00 05 00")
		}, gradient(0.3), "11 00 00 D0 07 28 33"},
		{"gradient as inclination", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.FitnessMachineFeature, "00 00 00 00 02 00 00 00")
			k.answer("trainer", gatt.InclinationRange, "9C FF C8 00 05 00")
		}, gradient(0.0462), "03 2D 00"},
		{"resistance in one octet", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.ResistanceRange, "0A 00 C8 00 0A 00")
		}, level(0.5), "04 6E"}, // 1 + 0.5 x 19 = 10.5, rounded to a step from 1
		{"resistance in two", Setting{ResistanceBytes: 2}, func(k *desk) {
			k.answer("trainer", gatt.ResistanceRange, "0A 00 C8 00 0A 00")
		}, level(1), "04 C8 00"},
		{"resistance one octet cannot say", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.ResistanceRange, "00 00 E8 03 01 00")
		}, level(0.5), "04 F4 01"},
		{"a range of zeros changes nothing", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.PowerRange, "00 00 00 00 00 00")
		}, watts(201), "05 C9 00"},
		{"resistance without a range", Setting{}, nil, level(0.5), ""},
		{"no power target", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.FitnessMachineFeature, "00 00 00 00 04 00 00 00")
		}, watts(200), ""},
		{"no gradient", Setting{}, func(k *desk) {
			k.answer("trainer", gatt.FitnessMachineFeature, "00 00 00 00 08 00 00 00")
		}, gradient(0), ""},
		{"not a number", Setting{}, nil, watts(math.NaN()), ""},
		{"infinite", Setting{}, nil, gradient(math.Inf(1)), ""},
	} {
		row.setting.Device = "trainer"
		k := newDesk(t, row.setting)
		k.inControl()
		if row.prepare != nil {
			row.prepare(k)
		}
		k.command("trainer", row.command)
		if row.want == "" {
			k.wants(row.name)
			k.says(row.name, CommandFailed)
			continue
		}
		k.wants(row.name, "2AD9 "+row.want)
	}
}

// One or two octets of resistance: Fitness Machine Service 1.0 and 1.0.1
// have one (read); that machines want two is secondary.
func TestResistanceWidthIsFoundAndRemembered(t *testing.T) {
	k := newDesk(t)
	k.inControl()
	k.answer("trainer", gatt.ResistanceRange, "0A 00 C8 00 0A 00")
	k.command("trainer", level(1))
	k.wants("first try", "2AD9 04 C8")
	k.indicate("80 04 03")
	k.says("tried otherwise first")
	k.wants("second try", "2AD9 04 C8 00")
	k.indicate("80 04 01")
	if s := k.h.Settings()[0]; s.ResistanceBytes != 2 {
		t.Errorf("remembered %+v", s)
	}
	k.command("trainer", level(0))
	k.wants("at once as it was found", "2AD9 04 0A 00")
	k.indicate("80 04 03")
	k.wants("the other", "2AD9 04 0A")
	k.indicate("80 04 03")
	k.says("both refused", CommandFailed)
	k.wants("both refused")
	k.command("trainer", level(0))
	k.command("trainer", level(1))
	k.indicate("80 04 03")
	k.wants("a newer command is not held up by a second try", "2AD9 04 C8 00")
	k.indicate("80 04 01")

	k.answer("trainer", gatt.ResistanceRange, "00 00 E8 03 01 00")
	k.command("trainer", level(1))
	k.wants("100", "2AD9 04 E8 03")
	k.indicate("80 04 03")
	k.wants("one octet could only say something else")
	k.says("refused", CommandFailed)
}

// Fitness Machine Profile 1.0, 4.4.14.3: 30 s after the write's response a
// procedure has timed out, and no other may begin on that link. Read.
func TestPublishedProcedureTimeOut(t *testing.T) {
	k := newDesk(t)
	k.inControl()
	k.command("trainer", watts(200))
	k.wait(20 * time.Second)
	k.wrote()
	k.command("trainer", watts(210))
	k.wait(procedureTime - time.Millisecond)
	k.asks("just before")
	k.wait(time.Millisecond)
	k.asks("after", Request{Kind: Disconnect, Device: "trainer"})
	k.says("after", CommandFailed)
	k.command("trainer", watts(220))
	k.asks("nothing on a link that ends")
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.says("ended", LinkLost)
	k.wait(time.Second)
	k.asks("made anew", Request{Kind: Connect, Device: "trainer"})
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	k.wants("nothing stale after it")
	k.wait(time.Minute)
	k.wants("and nothing later")
	k.command("trainer", watts(100))
	k.wants("a new command asks anew", asksControl)

	k.wait(procedureTime)
	k.asks("never acknowledged at all", Request{Kind: Disconnect, Device: "trainer"})
	k.wait(closeTime)
	k.says("a port that does not say so", LinkLost)
}

func TestControlLost(t *testing.T) {
	ways := map[string]func(*desk){
		"taken back":           func(k *desk) { k.value("trainer", gatt.MachineStatus, "FF") },
		"reset by someone":     func(k *desk) { k.value("trainer", gatt.MachineStatus, "01") },
		"no longer permitted":  func(k *desk) { k.indicate("80 05 05") },
		"not permitted either": func(k *desk) { k.wrote(); k.indicate("80 05 05") },
	}
	for name, lose := range ways {
		k := newDesk(t)
		k.inControl()
		k.command("trainer", watts(200))
		k.command("trainer", watts(300)) // waits
		lose(k)
		k.says(name, ControlLost)
		k.wants(name)
		if k.h.Devices()[0].Controlled {
			t.Errorf("%s: still said to be controlled", name)
		}
		if !strings.Contains(name, "permitted") {
			k.indicate("80 05 01") // the one under way is still answered
			k.wants(name)
		}
		k.wait(5*time.Second - time.Millisecond)
		k.wants(name + ", too early")
		k.wait(time.Millisecond)
		k.wants(name+", after a while", asksControl)
		k.indicate("80 00 01")
		k.says(name+", again ours", ControlGained)
		k.wants(name + ": what waited is gone")
		k.command("trainer", watts(150))
		k.wants(name+": started again", starts)
		k.indicate("80 07 04")
		k.wants(name+": and told", "2AD9 05 96 00")
	}
}

func TestControlRefusedIsAskedForPolitely(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.command("trainer", watts(200))
	k.indicate("80 00 05")
	k.says("refused", ControlRefused)
	for i, s := range []int{5, 10, 20, 30, 30} {
		k.command("trainer", watts(200))
		k.wants("commanding does not hurry it")
		k.wait(time.Duration(s)*time.Second - time.Millisecond)
		k.wants(fmt.Sprint("too early, try ", i))
		k.wait(time.Millisecond)
		k.wants(fmt.Sprint("try ", i), asksControl)
		if i%2 == 0 {
			k.indicate("80 00 05")
		} else {
			k.event(Event{Kind: Wrote, Device: "trainer", Char: gatt.MachineControlPoint, Err: errors.New("not authorised")})
		}
		k.says("said once")
	}
	k.h.Release("trainer")
	k.wait(time.Hour)
	k.wants("no longer wanted")
	k.command("trainer", watts(120))
	k.wants("wanted again", asksControl)
	k.indicate("80 00 01")
	k.wants("granted", starts)
	k.indicate("80 07 01")
	k.wants("a fresh command is sent", "2AD9 05 78 00")
}

func TestNothingStaleIsSent(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.command("trainer", watts(300))
	k.wait(staleAfter)
	k.indicate("80 00 01")
	k.indicate("80 07 01")
	k.wants("three seconds are not too old", "2AD9 05 2C 01")

	k = newDesk(t)
	k.trainer()
	k.command("trainer", watts(300))
	k.wait(staleAfter + time.Millisecond)
	k.indicate("80 00 01")
	k.says("granted late", ControlGained)
	k.indicate("80 07 01")
	k.wants("too old")

	k = newDesk(t) // lost with a command waiting
	k.inControl()
	k.command("trainer", watts(300))
	k.command("trainer", watts(310))
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.wait(time.Second)
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	k.wants("waited when the link was lost")
	k.wait(time.Minute)
	k.wants("nor later")

	k = newDesk(t) // commanded while there is no link
	k.inControl()
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.command("trainer", watts(300))
	k.wants("no link")
	k.command("trainer", watts(310))
	k.wait(time.Second)
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	k.wants("fresh enough", asksControl)
	k.indicate("80 00 01")
	k.indicate("80 07 01")
	k.wants("the newest", "2AD9 05 36 01")

	k = newDesk(t)
	k.inControl()
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.command("trainer", watts(300))
	k.wait(staleAfter + time.Second)
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	k.wants("too old to even ask")
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.command("trainer", watts(300))
	k.event(Event{Kind: Lost, Device: "trainer"})
	k.event(Event{Kind: Up, Device: "trainer", Chars: trainerChars})
	k.wants("dropped with the link that never came")
}

func TestFailedCommands(t *testing.T) {
	k := newDesk(t)
	for _, answer := range []string{"80 05 02", "80 05 03", "80 05 04", "80 05 77"} {
		k = newDesk(t)
		k.inControl()
		k.command("trainer", watts(200))
		k.indicate(answer)
		k.says(answer, CommandFailed)
		k.wants(answer + ": not repeated")
	}
	k.command("trainer", watts(200))
	k.event(Event{Kind: Wrote, Device: "trainer", Char: gatt.MachineControlPoint, Err: errors.New("in progress")})
	k.says("refused by the link", CommandFailed)
	k.command("nobody", watts(200))
	k.says("no such device", CommandFailed)
	k.connect("belt", gatt.HeartRateMeasurement)
	k.command("belt", watts(200))
	k.says("a belt", CommandFailed)
	k.wants("a belt")
	k.wait(time.Second)
	k.says("said once")
}

func TestStoppedByItsOwnKeyIsStartedByTheNextCommandOnly(t *testing.T) {
	k := newDesk(t)
	k.inControl()
	k.value("trainer", gatt.MachineStatus, "02 01")
	k.wants("stopped")
	k.wait(time.Minute)
	k.wants("stays stopped")
	k.command("trainer", watts(100))
	k.wants("next command", starts)
	k.event(Event{Kind: Wrote, Device: "trainer", Char: gatt.MachineControlPoint, Err: errors.New("cannot")})
	k.wants("a start that fails does not stand in the way", "2AD9 05 64 00")
	k.indicate("80 05 01")
	k.value("trainer", gatt.MachineStatus, "03")
	k.says("safety key", ControlLost)
	k.wait(time.Minute)
	k.wants("not asked for again by itself")
}

func TestSpinDown(t *testing.T) {
	k := newDesk(t)
	k.trainer()
	k.out = k.h.SpinDown("trainer")
	k.wants("needs control", asksControl)
	k.indicate("80 00 01")
	k.indicate("80 07 04")
	k.wants("then", "2AD9 13 01")
	k.indicate("80 13 01 D0 07 10 0E")
	k.says("begins", SpinDown)
	want := "Ride the trainer up to 36.0 km/h, then stop pedalling and let it run down to 20.0 km/h."
	if got := k.out.Notices[0].Words; got != want {
		t.Errorf("%q", got)
	}
	for _, wire := range []string{"14 01", "14 04", "14 02 20 4E", "14 03"} {
		k.value("trainer", gatt.MachineStatus, wire)
		k.says(wire, SpinDown)
	}
	for _, wire := range []string{"80 13 01", "80 13 04"} {
		k.out = k.h.SpinDown("trainer")
		k.wants("again", "2AD9 13 01")
		k.indicate(wire)
		k.says(wire, SpinDown)
	}
	k.answer("trainer", gatt.FitnessMachineFeature, "86 56 00 00 0C 60 00 00")
	k.out = k.h.SpinDown("trainer")
	k.says("has none", SpinDown)
	k.wants("has none")
	k.out = k.h.SpinDown("nobody")
	k.says("not connected", SpinDown)
}

func TestZeroOffset(t *testing.T) {
	k := newDesk(t)
	k.connect("meter", gatt.CyclingPowerMeasurement, gatt.CyclingPowerControlPoint)
	begin := func() {
		t.Helper()
		k.out = k.h.ZeroOffset("meter")
		k.wants("begins", "2A66 0C")
	}
	for _, row := range []struct{ wire, words string }{
		{"20 0C 01 F4 FF", "The zero offset of the meter is set; its raw value is -12."},
		{"20 0C 01", "The zero offset of the meter is set."},
		{"20 0C 04", "The zero offset of the meter was not set: failed. Let the bicycle stand still, with nobody on the pedals, and repeat."},
	} {
		begin()
		k.event(Event{Kind: Wrote, Device: "meter", Char: gatt.CyclingPowerControlPoint})
		k.value("meter", gatt.CyclingPowerControlPoint, row.wire)
		k.says(row.wire, OffsetDone)
		if got := k.out.Notices[0].Words; got != row.words {
			t.Errorf("%q, want %q", got, row.words)
		}
	}
	begin()
	k.out = k.h.ZeroOffset("meter")
	k.wants("one at a time")
	k.event(Event{Kind: Wrote, Device: "meter", Char: gatt.CyclingPowerControlPoint, Err: errors.New("refused")})
	k.says("refused by the link", OffsetDone)
	begin()
	k.wait(procedureTime)
	k.says("time-out", OffsetDone)
	k.asks("time-out", Request{Kind: Disconnect, Device: "meter"})
	k.out = k.h.ZeroOffset("meter")
	k.wants("not connected")
	k.connect("belt", gatt.HeartRateMeasurement)
	k.out = k.h.ZeroOffset("belt")
	k.says("has none", OffsetDone)
	k.wants("has none")
}

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
