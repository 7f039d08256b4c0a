package journal

import (
	"bytes"
	"encoding/binary"
	"fmt"
	"hash/crc32"
	"math/rand/v2"
	"os"
	"path/filepath"
	"strings"
	"testing"
)

var ride = Identity{1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15, 16}

// payload is a record as a ride might write it; its length varies from 0.
func payload(seq uint64) []byte {
	if seq%7 == 0 {
		return nil
	}
	return fmt.Appendf(nil, `{"n":%d,"power":%d%s}`, seq, 180+seq%40, strings.Repeat("0", int(seq%5)*9))
}

// journalOf is a whole segment with n records and where each of them begins.
func journalOf(n int) (data []byte, starts []int) {
	h := Header{Segment: 1, Identity: ride, First: 1}.encode()
	data = append(append(data, h...), h...)
	for seq := uint64(1); seq <= uint64(n); seq++ {
		starts = append(starts, len(data))
		data = appendRecord(data, ride, seq, payload(seq))
	}
	return data, append(starts, len(data))
}

// nothingInvented: every record is one that was written, in order.
func nothingInvented(t *testing.T, where string, got []Record) {
	t.Helper()
	last := uint64(0)
	for _, r := range got {
		if r.Sequence <= last || !bytes.Equal(r.Bytes, payload(r.Sequence)) {
			t.Fatalf("%s: record %d after %d reads %q", where, r.Sequence, last, r.Bytes)
		}
		last = r.Sequence
	}
}

func read(t *testing.T, data []byte) *Contents {
	t.Helper()
	c, err := Read(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func TestReadWhole(t *testing.T) {
	data, _ := journalOf(100)
	c := read(t, data)
	if len(c.Records) != 100 || len(c.Damage) != 0 || c.Header.Identity != ride {
		t.Fatalf("%d records, damage %v", len(c.Records), c.Damage)
	}
	nothingInvented(t, "whole", c.Records)
}

// TestCutAnywhere cuts the journal at every byte of its last two seconds.
func TestCutAnywhere(t *testing.T) {
	data, starts := journalOf(60)
	for cut := starts[20]; cut <= len(data); cut++ {
		whole := 0
		for whole < 60 && starts[whole+1] <= cut {
			whole++
		}
		c := read(t, data[:cut])
		nothingInvented(t, fmt.Sprint("cut at ", cut), c.Records)
		if len(c.Records) != whole {
			t.Fatalf("cut at %d: %d records, %d stand there whole", cut, len(c.Records), whole)
		}
		atBoundary := starts[whole] == cut
		if atBoundary != (len(c.Damage) == 0) {
			t.Fatalf("cut at %d: damage %v", cut, c.Damage)
		}
		if !atBoundary && (c.Damage[0].Offset != int64(starts[whole]) || c.Damage[0].Bytes != int64(cut-starts[whole])) {
			t.Fatalf("cut at %d: damage %v, want it to begin at %d", cut, c.Damage[0], starts[whole])
		}
	}
}

// TestFlipAnywhere flips every bit of every byte of the last two seconds: the
// record it stands in is gone, all others stay.
func TestFlipAnywhere(t *testing.T) {
	data, starts := journalOf(60)
	for at := starts[20]; at < len(data); at++ {
		hit := 0
		for starts[hit+1] <= at {
			hit++
		}
		for bit := range 8 {
			data[at] ^= 1 << bit
			c := read(t, data)
			where := fmt.Sprintf("bit %d of byte %d", bit, at)
			nothingInvented(t, where, c.Records)
			if len(c.Records) != 59 || len(c.Damage) != 1 {
				t.Fatalf("%s: %d records, damage %v", where, len(c.Records), c.Damage)
			}
			d := c.Damage[0]
			if d.Offset != int64(starts[hit]) || d.Bytes != int64(starts[hit+1]-starts[hit]) || d.Before != uint64(hit) {
				t.Fatalf("%s: damage %v, want record %d", where, d, hit+1)
			}
			if n, known := d.Lost(); known != (hit < 59) || known && n != 1 {
				t.Fatalf("%s: %d lost, known %v", where, n, known)
			}
			data[at] ^= 1 << bit
		}
	}
}

// TestFlipHeader flips every bit of both headers: nothing is lost.
func TestFlipHeader(t *testing.T) {
	data, _ := journalOf(9)
	for at := range 2 * headerSize {
		for bit := range 8 {
			data[at] ^= 1 << bit
			if c := read(t, data); len(c.Records) != 9 || len(c.Damage) != 1 {
				t.Fatalf("bit %d of byte %d: %d records, damage %v", bit, at, len(c.Records), c.Damage)
			}
			data[at] ^= 1 << bit
		}
	}
}

func TestInjuries(t *testing.T) {
	data, starts := journalOf(20)
	record := func(n int) []byte { return data[starts[n-1]:starts[n]] }
	join := func(parts ...[]byte) []byte { return bytes.Join(parts, nil) }
	other := appendRecord(nil, Identity{9}, 11, payload(11))
	inside := bytes.Clone(data[:starts[9]])
	inside = append(appendRecord(inside, ride, 10, record(3)), data[starts[10]:]...)
	inside[starts[9]+5] ^= 1 // so that record 3 is met while searching
	for _, c := range []struct {
		name    string
		data    []byte
		records int
		damages int
		lost    uint64 // of the first damage
		known   bool
	}{
		{"a record twice", join(data[:starts[10]], record(10), data[starts[10]:]), 20, 1, 0, true},
		{"two records changed places", join(data[:starts[9]], record(11), record(10), data[starts[11]:]), 19, 2, 1, true},
		{"a record taken out", join(data[:starts[9]], data[starts[10]:]), 19, 1, 1, true},
		{"an old record repeated at the end", join(data, record(1)), 20, 1, 0, false},
		{"a record of another ride", join(data[:starts[10]], other, data[starts[11]:]), 19, 1, 1, true},
		{"an old record inside a damaged one", inside, 19, 1, 1, true},
		{"zeros at the end, as some file systems leave them", join(data, make([]byte, 4096)), 20, 1, 0, false},
		{"zeros in the middle", join(data[:starts[5]], make([]byte, starts[12]-starts[5]), data[starts[12]:]), 13, 1, 7, true},
		{"foreign bytes between", join(data[:starts[5]], []byte("hello \xf5rec\xf5"), data[starts[5]:]), 20, 1, 0, true},
		{"only headers", data[:starts[0]], 0, 0, 0, false},
		{"header cut in its copy", data[:starts[0]-1], 0, 1, 0, true},
	} {
		t.Run(c.name, func(t *testing.T) {
			got := read(t, c.data)
			if len(got.Records) != c.records || len(got.Damage) != c.damages {
				t.Fatalf("%d records, damage %v; want %d and %d damages", len(got.Records), got.Damage, c.records, c.damages)
			}
			for _, r := range got.Records {
				if !bytes.Equal(r.Bytes, payload(r.Sequence)) {
					t.Errorf("record %d invented: %q", r.Sequence, r.Bytes)
				}
			}
			if c.damages > 0 {
				if n, known := got.Damage[0].Lost(); n != c.lost || known != c.known {
					t.Errorf("%v: lost %d %v, want %d %v", got.Damage[0], n, known, c.lost, c.known)
				}
			}
		})
	}
}

// TestRandomInjuries hurts the journal in several places at once: whatever is
// read was written, in order, and all before the first injury is there.
func TestRandomInjuries(t *testing.T) {
	whole, starts := journalOf(40)
	random := rand.New(rand.NewPCG(5, 2))
	for round := range 3000 {
		data, first := bytes.Clone(whole), len(whole)
		for range 1 + random.IntN(4) {
			a := 2*headerSize + random.IntN(len(data)-2*headerSize)
			b := a + random.IntN(min(400, len(data)-a)+1)
			first = min(first, a)
			switch random.IntN(6) {
			case 0: // bits
				data[a] ^= byte(1 + random.IntN(255))
			case 1: // zeros
				clear(data[a:b])
			case 2: // bytes taken out
				data = append(data[:a:a], data[b:]...)
			case 3: // bytes repeated
				data = append(data[:b:b], data[a:]...)
			case 4: // bytes from elsewhere
				copy(data[a:b], whole[random.IntN(len(whole)):])
			case 5: // cut
				data = data[:a+1]
			}
			if len(data) <= 2*headerSize {
				break
			}
		}
		c := read(t, data)
		nothingInvented(t, fmt.Sprint("round ", round), c.Records)
		before := 0
		for before < 40 && starts[before+1] <= first {
			before++
		}
		if len(c.Records) < before {
			t.Fatalf("round %d: %d records, %d stood before the first injury", round, len(c.Records), before)
		}
	}
}

func TestReadRefuses(t *testing.T) {
	data, _ := journalOf(3)
	newer := bytes.Clone(data[:40])
	newer[8] = 2
	newer = binary.LittleEndian.AppendUint32(newer, crc32.Checksum(newer, castagnoli))
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"nothing":           {nil, "no journal"},
		"text":              {[]byte(strings.Repeat("seconds,power\n", 20)), "no journal"},
		"a newer version":   {newer, "version 2"},
		"half a header":     {data[:30], "no journal"},
		"both headers hurt": {append(append(bytes.Clone(data[:20]), make([]byte, 68)...), data[88:]...), "no journal"},
	} {
		if _, err := Read(bytes.NewReader(c.data)); err == nil || !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// TestCraftedMarks: a file of nothing but marks that claim long records is
// given up on, not searched for ever.
func TestCraftedMarks(t *testing.T) {
	data, _ := journalOf(2)
	for range 400_000 {
		data = append(data, "\xf5rec\x00\x00\x10\x00"...)
	}
	c := read(t, data)
	if len(c.Records) != 2 || len(c.Damage) != 1 || !strings.Contains(c.Damage[0].Why, "too much is damaged") {
		t.Fatalf("%d records, damage %v", len(c.Records), c.Damage)
	}
}

func TestContinue(t *testing.T) {
	path := filepath.Join(t.TempDir(), "a.journal")
	w, err := Create(path, ride)
	if err != nil {
		t.Fatal(err)
	}
	appendTo(t, w, 1, 10)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if _, err := Create(path, ride); err == nil {
		t.Fatal("a journal was made over another")
	}
	// the tenth record is torn
	whole, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	torn := whole[:len(whole)-5]
	if err := os.WriteFile(path, torn, 0o600); err != nil {
		t.Fatal(err)
	}
	w, r, err := Continue(path)
	if err != nil || len(r.Records) != 9 || len(r.Damage) != 1 {
		t.Fatalf("%v, %+v", err, r)
	}
	appendTo(t, w, 10, 15)
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	if got, _ := os.ReadFile(path); !bytes.Equal(got, torn) {
		t.Error("the damaged segment was changed")
	}
	r, err = Recover(path)
	if err != nil || len(r.Records) != 15 || len(r.Damage) != 1 || r.Segments != 2 || r.Identity != ride {
		t.Fatalf("%v, %d records, damage %v", err, len(r.Records), r.Damage)
	}
	nothingInvented(t, "continued", r.Records)
	if files, err := Files(path); err != nil || len(files) != 2 || files[1] != path+".2" {
		t.Errorf("files %v, %v", files, err)
	}
	if info, _ := os.Stat(path + ".2"); info.Mode().Perm() != 0o600 {
		t.Errorf("segment 2 has mode %v", info.Mode())
	}
}

func TestRecoverOddSegments(t *testing.T) {
	dir := t.TempDir()
	path := filepath.Join(dir, "a")
	put := func(name string, data []byte) {
		if err := os.WriteFile(filepath.Join(dir, name), data, 0o600); err != nil {
			t.Fatal(err)
		}
	}
	segment := func(id Identity, n int, from, to uint64) []byte {
		h := Header{Segment: uint32(n), Identity: id, First: from}.encode()
		b := append(bytes.Clone(h), h...)
		for seq := from; seq <= to; seq++ {
			b = appendRecord(b, id, seq, payload(seq))
		}
		return b
	}
	if _, err := Recover(path); err == nil {
		t.Error("nothing was recovered from nothing")
	}
	put("a", segment(ride, 1, 1, 5))
	put("a.2", segment(Identity{7}, 2, 6, 8)) // another ride's
	put("a.3", []byte("no journal"))
	put("a.4", segment(ride, 4, 4, 9)) // overlaps
	put("a.5", segment(ride, 5, 12, 13))
	put("a.05", segment(ride, 5, 14, 15)) // not a segment's name
	put("a.bak", segment(ride, 5, 14, 15))
	r, err := Recover(path)
	if err != nil {
		t.Fatal(err)
	}
	nothingInvented(t, "odd", r.Records)
	if len(r.Records) != 11 || len(r.Damage) != 3 || r.Segments != 5 {
		t.Fatalf("%d records, %d segments, damage %v", len(r.Records), r.Segments, r.Damage)
	}
}

func appendTo(t *testing.T, w *Writer, from, to uint64) {
	t.Helper()
	for seq := from; seq <= to; seq++ {
		if err := w.Append(payload(seq)); err != nil {
			t.Fatal(err)
		}
	}
}

func FuzzRead(f *testing.F) {
	data, starts := journalOf(12)
	f.Add(data)
	f.Add(data[:starts[7]+3])
	f.Add(append(bytes.Clone(data[:starts[3]]), data[starts[2]:]...))
	f.Add([]byte("\x89CLJ\r\n\x1a\n"))
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, b []byte) {
		c, err := Read(bytes.NewReader(b))
		if err != nil {
			return
		}
		// whole records and damage account for every byte, once
		total, last := int64(0), c.Header.First-1
		for _, r := range c.Records {
			if r.Sequence <= last {
				t.Fatalf("record %d after %d", r.Sequence, last)
			}
			last = r.Sequence
			total += int64(recordHead + len(r.Bytes))
		}
		headers := int64(min(2*headerSize, len(b)))
		for _, d := range c.Damage {
			if d.Offset+d.Bytes <= headers {
				continue
			}
			total += d.Bytes
		}
		if total+headers != int64(len(b)) {
			t.Fatalf("%d of %d bytes accounted for: %v", total+headers, len(b), c.Damage)
		}
	})
}
