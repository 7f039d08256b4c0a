package gatt

import (
	"bytes"
	"encoding/hex"
	"errors"
	"math"
	"reflect"
	"strings"
	"testing"
)

// How the vectors of these tests are known. "Read": the layout was read in
// the text named, and the octets follow from it by hand, re-encoded with
// Python's struct. "Secondary": the layout or the octets come from another
// text. Bluetooth SIG texts meant:
//   FTMS   Fitness Machine Service 1.0 (2017) and 1.0.1: read in part
//   FTMP   Fitness Machine Profile 1.0 (2017): read in part
//   XML    the SIG's GATT characteristic descriptions of 2011-2017: read
//   GSS    GATT Specification Supplement: excerpts read
// The full prose of Cycling Power Service, Cycling Speed and Cadence Service
// and Heart Rate Service could not be read.

func octets(t testing.TB, s string) []byte {
	t.Helper()
	b, err := hex.DecodeString(strings.ReplaceAll(s, " ", ""))
	if err != nil {
		t.Fatal(err)
	}
	return b
}

func near(a, b, tolerance float64) bool { return math.Abs(a-b) <= tolerance }

// same compares what was decoded, to the rounding of a float.
func same(t *testing.T, what string, got, want any) {
	t.Helper()
	if !equal(reflect.ValueOf(got), reflect.ValueOf(want)) {
		t.Errorf("%s:\n got %+v\nwant %+v", what, got, want)
	}
}

func equal(a, b reflect.Value) bool {
	if a.Type() != b.Type() {
		return false
	}
	switch a.Kind() {
	case reflect.Float64:
		return near(a.Float(), b.Float(), 1e-12*math.Max(1, math.Abs(b.Float())))
	case reflect.Struct:
		for i := range a.NumField() {
			if !equal(a.Field(i), b.Field(i)) {
				return false
			}
		}
		return true
	case reflect.Slice, reflect.Array:
		if a.Len() != b.Len() {
			return false
		}
		for i := range a.Len() {
			if !equal(a.Index(i), b.Index(i)) {
				return false
			}
		}
		return true
	}
	return a.Equal(b)
}

// both checks one message in both directions. Where octets are ignored, back
// is what encoding gives.
type both[T any] struct {
	name, wire string
	want       T
	back       string
}

func check[T any](t *testing.T, decode func([]byte) (T, error), encode func(T) []byte, rows []both[T]) {
	t.Helper()
	for _, row := range rows {
		got, err := decode(octets(t, row.wire))
		if err != nil {
			t.Errorf("%s: %v", row.name, err)
			continue
		}
		same(t, row.name, got, row.want)
		back := row.back
		if back == "" {
			back = row.wire
		}
		if b := encode(row.want); !bytes.Equal(b, octets(t, back)) {
			t.Errorf("%s: encoded % X, want %s", row.name, b, back)
		}
	}
}

// short checks that a message cut anywhere is an error, and nothing worse.
func short[T any](t *testing.T, decode func([]byte) (T, error), wire string) {
	t.Helper()
	whole := octets(t, wire)
	for n := range whole {
		_, err := decode(whole[:n])
		var cut *ShortError
		if !errors.As(err, &cut) {
			t.Errorf("%s cut to %d: error %v, want a ShortError", wire, n, err)
			continue
		}
		if cut.Got != n || cut.Need <= n {
			t.Errorf("%s cut to %d: %v", wire, n, cut)
		}
	}
}

func TestEncodingHoldsToTheField(t *testing.T) {
	for _, row := range []struct {
		got  []byte
		want string
	}{
		{appendUint(nil, -3, 1), "00"},
		{appendUint(nil, 255.4, 1), "FF"},
		{appendUint(nil, 1e9, 2), "FF FF"},
		{appendUint(nil, math.NaN(), 2), "00 00"},
		{appendUint(nil, math.Inf(1), 4), "FF FF FF FF"},
		{appendInt(nil, 1e9), "FF 7F"},
		{appendInt(nil, -1e9), "00 80"},
		{appendInt(nil, -1.5), "FE FF"},
		{appendInt(nil, math.NaN()), "00 00"},
	} {
		if !bytes.Equal(row.got, octets(t, row.want)) {
			t.Errorf("% X, want %s", row.got, row.want)
		}
	}
}

func TestCodeErrorNamesBoth(t *testing.T) {
	_, err := DecodeMachineResponse(octets(t, "20 00 01"))
	if err == nil || err.Error() != "fitness machine control point's answer: begins with 20, 80 expected" {
		t.Error(err)
	}
	_, err = DecodePower([]byte{0x20, 0})
	if err == nil || err.Error() != "cycling power measurement: 2 octets, at least 8 expected" {
		t.Error(err)
	}
}
