package sensor

import (
	"errors"
	"fmt"
	"math"
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
		if name == "taken back" {
			k.wait(time.Minute)
			k.wants("another may have it now")
			k.command("trainer", watts(100))
			k.wants("a new command asks", asksControl)
			continue
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

func TestControlThatIsTakenIsNotFoughtFor(t *testing.T) {
	k := newDesk(t)
	k.inControl()
	for i, s := range []int{5, 10, 20, 30, 30} {
		k.value("trainer", gatt.MachineStatus, "FF")
		k.says("taken", ControlLost)
		for left := s * 10; left > 0; left-- {
			k.command("trainer", watts(200)) // a ride goes on commanding
			k.wants(fmt.Sprint("too early, ", i))
			k.wait(100 * time.Millisecond)
		}
		k.wants(fmt.Sprint("asked again, ", i), asksControl)
		k.indicate("80 00 01")
		k.indicate("80 07 04")
		k.wants("the newest, just given", "2AD9 05 C8 00")
		k.indicate("80 05 01")
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

func TestSteering(t *testing.T) {
	k := newDesk(t)
	steering := func(what string, held, free bool) {
		t.Helper()
		if h, f := k.h.Steering("trainer"); h != held || f != free {
			t.Errorf("%s: held %v, free %v", what, h, f)
		}
	}
	steering("nobody", false, false)
	k.inControl()
	steering("told and answered", true, true)
	k.command("trainer", watts(200))
	steering("under way", true, false)
	k.indicate("80 05 01")
	steering("answered", true, true)
	k.event(Event{Kind: Lost, Device: "trainer"})
	steering("lost", false, false)
}
