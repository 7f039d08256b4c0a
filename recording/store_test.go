package recording

import (
	"bytes"
	"compress/gzip"
	"io"
	"math"
	"math/rand/v2"
	"reflect"
	"strings"
	"testing"
)

func stored(t testing.TB, r *Recording) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := Write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func pack(text string) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = io.WriteString(z, text)
	_ = z.Close()
	return b.Bytes()
}

func TestStoredRoundTrip(t *testing.T) {
	r := ride(t)
	r.Title = "new\nline, \"quoted\", \x00, no UTF-8: \xff, snow ☃"
	random := rand.New(rand.NewPCG(5, 1))
	for i := range r.Channels[0].Values { // any bits a number can have
		v := math.Float64frombits(random.Uint64())
		if isFinite(v) {
			r.Channels[0].Values[i] = v
		}
	}
	r.Channels[0].Values[0] = math.Copysign(0, -1)
	r.Channels = append(r.Channels, Channel{Quantity: Left, Source: "ride"})
	data := stored(t, &r)
	got, err := Read(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(*got, r) || math.Float64bits(got.Channels[0].Values[0]) != 1<<63 {
		t.Errorf("not the same back")
	}
	if !bytes.Equal(stored(t, got), data) {
		t.Error("the same recording, other bytes")
	}
	empty, err := Read(bytes.NewReader(stored(t, &Recording{})))
	if err != nil || !reflect.DeepEqual(*empty, Recording{}) {
		t.Errorf("an empty recording: %v, %+v", err, empty)
	}
}

func TestStoredRefusesDamage(t *testing.T) {
	r := ride(t)
	data := stored(t, &r)
	for at := 0; at < len(data); at += 7 {
		if got, err := Read(bytes.NewReader(data[:at])); err == nil {
			t.Fatalf("cut at %d: %+v", at, got.Title)
		}
		data[at] ^= 16
		got, err := Read(bytes.NewReader(data))
		if err == nil && !reflect.DeepEqual(*got, r) { // some of gzip's own header says nothing
			t.Fatalf("byte %d changed: read as another recording", at)
		}
		data[at] ^= 16
	}
	head := storedFirst + "\ntitle \"\"\nsport \"\"\nstart 0\nzone 0\nwhole true\n"
	for text, want := range map[string]string{
		"":                            "line 1: expected",
		"chainline-recording 2\n":     "line 1: expected \"chainline-recording 1\"",
		storedFirst + "\nsport \"\"":  "line 2: expected title",
		head:                          "line 7: it is cut short",
		head + "1 2\nend\n":           "line 7: expected channel",
		head + "channel power\nend\n": "line 7: channel: expected a text",
		head + "channel power \"a\"\n1  2\nend\n":        "line 8: expected a time and a value",
		head + "channel power \"a\"\n1 NaN\nend\n":       "reading 1",
		head + "channel power \"a\"\n2 1\n1 1\nend\n":    "rise strictly",
		head + "used power \"a\"\nused power \"a\"\nend": "line 8: used: a quantity stands twice",
		head + "mark 1 lap \"\"\nend\n":                  "line 7: mark: expected another text",
		head + "end\nend\n":                              "behind the end",
		head + strings.Repeat("x", 20000):                "line 7: more than 16384 bytes",
	} {
		if _, err := Read(bytes.NewReader(pack(text))); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%.40q: %v, want %s", text, err, want)
		}
	}
	if _, err := Read(strings.NewReader("seconds,power")); err == nil {
		t.Error("a text was read as a stored recording")
	}
	r.StartUnix = -1
	if err := Write(io.Discard, &r); err == nil {
		t.Error("an invalid recording was stored")
	}
}

func FuzzRead(f *testing.F) {
	r := ride(f)
	z, err := gzip.NewReader(bytes.NewReader(stored(f, &r)))
	if err != nil {
		f.Fatal(err)
	}
	text, err := io.ReadAll(z)
	if err != nil {
		f.Fatal(err)
	}
	f.Add(string(text[:600]) + "\nend\n")
	f.Add(storedFirst + "\ntitle \"\"\nsport \"\"\nstart 0\nzone 0\nwhole true\nchannel power \"a\"\n1 2\nused power \"a\"\nmark 1 lap \"\" \"x\"\nend\n")
	f.Add("")
	f.Fuzz(func(t *testing.T, text string) { // the text, for a fuzzer does not get past gzip's checksum
		r, err := Read(bytes.NewReader(pack(text)))
		if err != nil {
			if strings.Contains(err.Error(), "\n") {
				t.Fatalf("not one line: %q", err)
			}
			return
		}
		again, err := Read(bytes.NewReader(stored(t, r)))
		if err != nil || !reflect.DeepEqual(r, again) {
			t.Fatalf("%v: not the same back", err)
		}
		_ = r.Totals("")
		if r.End() < 1e4 {
			if err := r.WriteCSV(io.Discard, 1); err != nil {
				t.Fatal(err)
			}
		}
	})
}
