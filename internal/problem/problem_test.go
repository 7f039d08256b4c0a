package problem

import (
	"context"
	"errors"
	"fmt"
	"testing"
)

func TestForPersonAndExitCode(t *testing.T) {
	cause := errors.New("disk: sector 7")
	bad := &Error{Kind: Misuse, Message: "a.yaml:1:2: mass_kg: \"x\" is no number\nsecond", Hint: "write kilograms", Err: cause}
	for _, c := range []struct {
		name      string
		err       error
		msg, hint string
		code      int
	}{
		{"nil", nil, "", "", 0},
		{"misuse", bad, "a.yaml:1:2: mass_kg: \"x\" is no number second", "write kilograms", 2},
		{"wrapped", fmt.Errorf("reading: %w", bad), "a.yaml:1:2: mass_kg: \"x\" is no number second", "write kilograms", 2},
		{"failed", &Error{Message: "the disk is full"}, "the disk is full", "", 1},
		{"cancelled", &Error{Kind: Cancelled, Message: "stopped"}, "stopped", "", 1},
		{"context", fmt.Errorf("draw 7: %w", context.Canceled), "Stopped.", "", 1},
		{"deadline", context.DeadlineExceeded, "It took too long and was stopped.", "", 1},
		{"unexplained", cause, "Something went wrong inside the program.", "This is a fault of the program: please report it with the command you typed.", 1},
	} {
		msg, hint := ForPerson(c.err)
		if msg != c.msg || hint != c.hint || ExitCode(c.err) != c.code {
			t.Errorf("%s: %q %q %d, want %q %q %d", c.name, msg, hint, ExitCode(c.err), c.msg, c.hint, c.code)
		}
	}
	if !errors.Is(bad, cause) || bad.Error() != "misuse: "+bad.Message+": disk: sector 7" {
		t.Errorf("the log lost the cause: %v", bad)
	}
	if h := Bad("no %s", "x").WithHint("y"); h.Kind != Misuse || h.Message != "no x" || h.Hint != "y" || h.Error() != "misuse: no x" {
		t.Errorf("Bad: %+v", h)
	}
}
