// Package problem says what went wrong: a sentence for a person, a hint, and
// the cause for the log. The exit code follows from the kind.
package problem

import (
	"context"
	"errors"
	"fmt"
	"strings"
	"unicode"
)

// Kind is what sort of thing went wrong; it decides the exit code.
type Kind int

const (
	Failed    Kind = iota // the program could not do what was asked: exit code 1
	Misuse                // bad input or bad flags: exit code 2
	Cancelled             // the person stopped it: exit code 1
)

// String is the kind's name in the log.
func (k Kind) String() string {
	switch k {
	case Misuse:
		return "misuse"
	case Cancelled:
		return "cancelled"
	default:
		return "failed"
	}
}

// Error is a problem with two texts: Message and Hint may be shown to a
// person, Error() and Err are for the log. Message is one line; for a bad
// input it reads "file:line:column: field: what was wrong; what was expected".
type Error struct {
	Kind    Kind
	Message string // one line, no full stop needed
	Hint    string // one line on what to do; may be empty
	Err     error  // the cause; may be nil
	Path    string // of the field it is about, such as evidence[3].watts; empty if none
}

// Error is the text for the log; a person is shown ForPerson.
func (e *Error) Error() string {
	if e.Err == nil {
		return fmt.Sprintf("%s: %s", e.Kind, e.Message)
	}
	return fmt.Sprintf("%s: %s: %v", e.Kind, e.Message, e.Err)
}

// Unwrap gives the cause, nil if there is none.
func (e *Error) Unwrap() error { return e.Err }

// Bad is a misuse with a formatted message.
func Bad(format string, args ...any) *Error {
	return &Error{Kind: Misuse, Message: fmt.Sprintf(format, args...)}
}

// WithHint is the same problem with a hint for the person.
func (e *Error) WithHint(hint string) *Error {
	c := *e
	c.Hint = hint
	return &c
}

// ForPerson is what may be shown: always one line each, without control
// characters. An error that nobody wrote a sentence for stays in the log.
// Both are empty for nil.
func ForPerson(err error) (msg, hint string) {
	if err == nil {
		return "", ""
	}
	if e, ok := errors.AsType[*Error](err); ok {
		return OneLine(e.Message), OneLine(e.Hint)
	}
	if errors.Is(err, context.Canceled) {
		return "Stopped.", ""
	}
	if errors.Is(err, context.DeadlineExceeded) {
		return "It took too long and was stopped.", ""
	}
	return "Something went wrong inside the program.", "This is a fault of the program: please report it with the command you typed."
}

// ExitCode is 0 for nil, 2 for misuse, and 1 for everything else, being
// stopped included.
func ExitCode(err error) int {
	if err == nil {
		return 0
	}
	if e, ok := errors.AsType[*Error](err); ok && e.Kind == Misuse {
		return 2
	}
	return 1
}

// OneLine is s with every character that could break or disturb a line of a
// terminal replaced by a space.
func OneLine(s string) string {
	return strings.Map(func(r rune) rune {
		if unicode.IsPrint(r) {
			return r
		}
		return ' '
	}, s)
}
