// Package bluetooth is a radio as a sensor.Port: on Linux a client of the
// system's Bluetooth service (BlueZ) over D-Bus, on Windows and macOS a
// general library. The Linux client is tested end to end against a simulated
// service on a bus of its own; with a real radio nothing here was tried, and
// the other two are only built.
//
// What all three promise: Do never blocks; the events of a device keep their
// order and bear the time of their arrival; a link that is lost is said to be
// lost exactly once, after every open wish on it has been answered with the
// reason; nothing arrives of a link before its Up or after its Lost. A read
// or write that could not be sent in time is answered with an error and never
// sent late.
//
// A consumer that is too slow loses the oldest advertisements first. Values
// are never dropped out of the middle of a stream: when far too many wait,
// the link whose value finds no room is ended and said to be lost.
package bluetooth

import (
	"errors"
	"fmt"
	"strconv"
	"strings"
	"time"

	"chainline/internal/problem"
	"chainline/internal/sensor"
)

// Options say which radio to use. The zero value is the system's.
type Options struct {
	Address string // of the message bus; empty is the system's (Linux only)
	Adapter string // of the radio, as hci0; empty is the first that is on (Linux only)
}

// times are how long things may take. All are our judgement, but for ask,
// which is shorter than the 30 s after which the attribute protocol itself
// gives a transaction up.
type times struct {
	connect time.Duration // a whole attempt: finding, connecting, subscribing
	ask     time.Duration // one read or write, from the wish to the answer
	end     time.Duration // ending a link, and everything at Close
	retry   time.Duration // before the bus or a scan is tried again
	busy    time.Duration // before a subscription still under way is tried again
}

var usual = times{connect: 30 * time.Second, ask: 10 * time.Second, end: 3 * time.Second, retry: 2 * time.Second, busy: 200 * time.Millisecond}

// Why a link or a wish failed.
var (
	errNotUp    = errors.New("the device is not connected")
	errNoChar   = errors.New("the device has no such characteristic")
	errEnded    = errors.New("the link was ended as asked")
	errLost     = errors.New("the link was lost")
	errSilent   = errors.New("the device did not answer in time")
	errAddress  = errors.New("this is not the address of a device")
	errBusy     = errors.New("too many wishes wait for the device")
	errOverflow = errors.New("the program did not read the device's values for too long")
)

// trouble is why the radio cannot work. As a text it is the plain sentence
// alone, because it ends up in a notice; underneath it is a problem.Error.
type trouble struct{ why *problem.Error }

func (t trouble) Error() string { return t.why.Message }
func (t trouble) Unwrap() error { return t.why }

func radioTrouble(message, hint string, cause error) error {
	return trouble{&problem.Error{Kind: problem.Failed, Message: message, Hint: hint, Err: cause}}
}

// refusal is what the device or the service said, as one line.
type refusal struct {
	text  string
	cause error
}

func (r refusal) Error() string { return r.text }
func (r refusal) Unwrap() error { return r.cause }

// wishesKept bounds what waits for one device.
const wishesKept = 64

// wish is a read or a write and when it was asked for.
type wish struct {
	sensor.Request
	asked time.Time
}

// failed is the event that answers a request with an error; reads and writes
// keep their characteristic.
func failed(r sensor.Request, why error) sensor.Event {
	kind := sensor.Lost
	switch r.Kind {
	case sensor.Read:
		kind = sensor.Answer
	case sensor.Write:
		kind = sensor.Wrote
	}
	return sensor.Event{Kind: kind, Device: r.Device, Char: r.Char, Err: why}
}

// baseUUID is what follows the 32-bit number in an assigned UUID.
const baseUUID = "-0000-1000-8000-00805f9b34fb"

// short is the 16-bit number of an assigned UUID.
func short(uuid string) (uint16, bool) {
	head, ok := strings.CutSuffix(strings.ToLower(uuid), baseUUID)
	if !ok || len(head) != 8 {
		return 0, false
	}
	n, err := strconv.ParseUint(head, 16, 16)
	return uint16(n), err == nil
}

// long is the UUID of a 16-bit number.
func long(number uint16) string { return fmt.Sprintf("%08x%s", number, baseUUID) }

// isAddress reports whether s is written as 01:23:45:67:89:AB.
func isAddress(s string) bool {
	parts := strings.Split(s, ":")
	if len(parts) != 6 {
		return false
	}
	for _, p := range parts {
		if _, err := strconv.ParseUint(p, 16, 8); err != nil || len(p) != 2 || p != strings.ToUpper(p) {
			return false
		}
	}
	return true
}
