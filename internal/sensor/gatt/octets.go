package gatt

import (
	"fmt"
	"math"
)

// ShortError says that a message ended before its own flags said it would.
type ShortError struct {
	What string // which message
	Got  int    // octets there were
	Need int    // octets there had to be, at least
}

func (e *ShortError) Error() string {
	return fmt.Sprintf("%s: %d octets, at least %d expected", e.What, e.Got, e.Need)
}

// reader takes little-endian numbers off a message. It reads on past the end
// as zeros, so that err can say how long the message had to be.
type reader struct {
	b  []byte
	at int
}

func (r *reader) uint(octets int) uint32 {
	var v uint32
	if r.at+octets <= len(r.b) {
		for i := octets - 1; i >= 0; i-- {
			v = v<<8 | uint32(r.b[r.at+i])
		}
	}
	r.at += octets
	return v
}

func (r *reader) u8() uint8   { return uint8(r.uint(1)) }
func (r *reader) u16() uint16 { return uint16(r.uint(2)) }
func (r *reader) s16() int16  { return int16(r.uint(2)) }

// number is an integer of one or more octets as a float.
func (r *reader) number(octets int, signed bool) float64 {
	if signed {
		return float64(r.s16()) // every signed field of these services has two
	}
	return float64(r.uint(octets))
}

// left is what has not been read yet.
func (r *reader) left() []byte {
	if r.at >= len(r.b) {
		return nil
	}
	return r.b[r.at:]
}

func (r *reader) err(what string) error {
	if r.at > len(r.b) {
		return &ShortError{What: what, Got: len(r.b), Need: r.at}
	}
	return nil
}

// appendUint appends v, rounded and held within what the octets can carry.
func appendUint(b []byte, v float64, octets int) []byte {
	limit := float64(uint64(1)<<(8*octets) - 1)
	return appendRaw(b, uint32(held(v, 0, limit)), octets)
}

// appendInt appends v as a signed number of two octets, rounded and held
// within what they can carry.
func appendInt(b []byte, v float64) []byte {
	return appendRaw(b, uint32(int32(held(v, math.MinInt16, math.MaxInt16))), 2)
}

func appendNumber(b []byte, v float64, octets int, signed bool) []byte {
	if signed {
		return appendInt(b, v)
	}
	return appendUint(b, v, octets)
}

func appendRaw(b []byte, v uint32, octets int) []byte {
	for range octets {
		b = append(b, byte(v))
		v >>= 8
	}
	return b
}

func held(v, low, high float64) float64 {
	if math.IsNaN(v) {
		return math.Max(0, low)
	}
	return math.Round(math.Min(math.Max(v, low), high))
}

// Units as integers per unit of ours. Dividing by them gives the nearest
// float to the decimal the octets mean; multiplying by 0.01 would not.
const (
	perMetrePerSecond = 360   // 0.01 km/h
	perGradient       = 1000  // 0.1 %
	perFineGradient   = 10000 // 0.01 %
	perMetre          = 10000 // 0.1 mm
	perNewtonMetre    = 32
	perRevolution     = 2 // 0.5 per minute
	perLevel          = 10
)

// CodeError says that a control point's answer does not begin as an answer.
type CodeError struct {
	What      string
	Got, Want uint8
}

func (e *CodeError) Error() string {
	return fmt.Sprintf("%s: begins with %02X, %02X expected", e.What, e.Got, e.Want)
}
