package journal

import (
	"bytes"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// Record is one whole record.
type Record struct {
	Sequence uint64
	Bytes    []byte
}

// Damage is a stretch of a segment in which nothing can be proved whole, or
// sequence numbers that are missing with no damaged bytes between.
type Damage struct {
	Segment int
	Offset  int64  // of its first byte in the segment
	Bytes   int64  // 0: only numbers are missing
	Before  uint64 // sequence number of the last whole record before it; 0: none
	After   uint64 // of the first whole record after it; 0: none
	Why     string
}

// Lost is how many records are missing; false if nothing whole follows, so
// that nobody can know.
func (d Damage) Lost() (uint64, bool) {
	if d.After == 0 {
		return 0, false
	}
	if d.After <= d.Before {
		return 0, true
	}
	return d.After - d.Before - 1, true
}

// String is the damage in one line.
func (d Damage) String() string {
	lost := "how many records are lost cannot be known"
	if n, ok := d.Lost(); ok {
		lost = fmt.Sprintf("%d records lost", n)
	}
	return fmt.Sprintf("segment %d, byte %d: %s; %d bytes damaged, %s", d.Segment, d.Offset, d.Why, d.Bytes, lost)
}

// Contents is what can be proved of one segment. The records share memory
// with each other; they are the reader's to keep.
type Contents struct {
	Header  Header
	Records []Record // sequence numbers rise strictly
	Damage  []Damage // by offset; empty: every byte is accounted for
}

// Read reads one segment. The error is for what cannot be read at all: a
// failing reader, no whole header (ErrNotJournal), another version, more than
// MaxSegment bytes. Damage is no error.
func Read(r io.Reader) (*Contents, error) {
	data, err := io.ReadAll(io.LimitReader(r, MaxSegment+1))
	if err != nil {
		return nil, fmt.Errorf("reading a journal: %w", err)
	}
	if len(data) > MaxSegment {
		return nil, fmt.Errorf("a journal's segment has at most %d bytes", MaxSegment)
	}
	c := &Contents{}
	if err := c.readHeader(data); err != nil {
		return nil, err
	}
	c.readRecords(data)
	return c, nil
}

func (c *Contents) readHeader(data []byte) error {
	found := false
	var broken []Damage
	for copyNumber := range 2 {
		at := min(copyNumber*headerSize, len(data))
		h, ok, err := decodeHeader(data[at:])
		if err != nil {
			return err
		}
		if ok && !found {
			c.Header, found = h, true
		}
		if !ok {
			end := min(at+headerSize, len(data))
			broken = append(broken, Damage{Offset: int64(at), Bytes: int64(end - at), Why: "a header is damaged; its copy is used"})
		}
	}
	if !found {
		return ErrNotJournal
	}
	for i := range broken {
		broken[i].Segment = int(c.Header.Segment)
		broken[i].After = c.Header.First // no record is lost by it
		broken[i].Before = c.Header.First - 1
	}
	c.Damage = broken
	return nil
}

// readRecords accepts what is whole and rises, and searches from byte to byte
// for the next such record where there is none.
func (c *Contents) readRecords(data []byte) {
	last := c.Header.First - 1
	budget := 16*len(data) + MaxRecord // of bytes hashed in vain, or a crafted file would take for ever
	pos := min(2*headerSize, len(data))
	bad, why := -1, "" // where the current damage began
	for pos < len(data) {
		seq, payload, reason, hashed := decodeRecord(data[pos:], c.Header.Identity)
		if reason == "" && seq <= last {
			reason = fmt.Sprintf("record %d stands here a second time or out of order", seq)
		}
		if reason == "" && seq > maxSequence {
			reason = "a record's number is impossible"
		}
		if reason == "" {
			c.gap(bad, pos, last, seq, why)
			c.Records = append(c.Records, Record{seq, payload})
			last, bad = seq, -1
			pos += recordHead + len(payload)
			continue
		}
		if bad < 0 {
			bad, why = pos, reason
		}
		budget -= hashed
		next := bytes.Index(data[pos+1:], recordMark)
		if budget < 0 {
			why += "; too much is damaged to search on"
			break
		}
		if next < 0 {
			break
		}
		pos += 1 + next
	}
	if bad >= 0 {
		c.gap(bad, len(data), last, 0, why)
	}
}

// gap notes damage from bad to pos, or missing numbers if bad is negative.
func (c *Contents) gap(bad, pos int, last, next uint64, why string) {
	d := Damage{Segment: int(c.Header.Segment), Offset: int64(pos), Before: last, After: next, Why: why}
	switch {
	case bad >= 0:
		d.Offset, d.Bytes = int64(bad), int64(pos-bad)
	case next == last+1:
		return
	default:
		d.Why = "records are missing that were never written, or were taken out"
	}
	c.Damage = append(c.Damage, d)
}

// Recovered is what can be proved of all segments of a journal.
type Recovered struct {
	Identity Identity
	Segments int      // the highest number in use, by name
	Records  []Record // sequence numbers rise strictly
	Damage   []Damage
}

// Last is the highest sequence number of a whole record; 0: none.
func (r *Recovered) Last() uint64 {
	if len(r.Records) == 0 {
		return 0
	}
	return r.Records[len(r.Records)-1].Sequence
}

// Recover reads the journal at path with all its segments and changes
// nothing. The error is ErrNotJournal if no segment has a whole header.
func Recover(path string) (*Recovered, error) {
	numbers, err := segments(path)
	if err != nil {
		return nil, err
	}
	r := &Recovered{Segments: numbers[len(numbers)-1]}
	var first error
	found := false
	for _, n := range numbers {
		c, size, err := readSegment(segmentPath(path, n))
		switch {
		case err != nil:
			first = cmpErr(first, err)
			r.Damage = append(r.Damage, Damage{Segment: n, Bytes: size, Why: err.Error()})
			continue
		case !found:
			r.Identity, found = c.Header.Identity, true
		case c.Header.Identity != r.Identity:
			r.Damage = append(r.Damage, Damage{Segment: n, Bytes: size, Why: "this segment belongs to another journal"})
			continue
		}
		r.join(c)
	}
	if !found {
		return nil, fmt.Errorf("%s: %w", path, first)
	}
	return r, nil
}

func cmpErr(first, err error) error {
	if first != nil {
		return first
	}
	return err
}

// join merges a later segment's records by sequence number; what an earlier
// segment has counts.
func (r *Recovered) join(c *Contents) {
	r.Damage = append(r.Damage, c.Damage...)
	if n := r.Last(); c.Header.First > n+1 {
		r.Damage = append(r.Damage, Damage{Segment: int(c.Header.Segment), Before: n, After: c.Header.First,
			Why: "records are missing between two segments"})
	}
	for _, rec := range c.Records {
		i, have := slices.BinarySearchFunc(r.Records, rec.Sequence, func(a Record, seq uint64) int {
			switch {
			case a.Sequence < seq:
				return -1
			case a.Sequence > seq:
				return 1
			}
			return 0
		})
		if !have {
			r.Records = slices.Insert(r.Records, i, rec)
		} else if !bytes.Equal(r.Records[i].Bytes, rec.Bytes) {
			r.Damage = append(r.Damage, Damage{Segment: int(c.Header.Segment), Before: rec.Sequence - 1, After: rec.Sequence,
				Why: fmt.Sprintf("record %d differs from the one in an earlier segment, which is used", rec.Sequence)})
		}
	}
}

func readSegment(path string) (*Contents, int64, error) {
	f, err := os.Open(path)
	if err != nil {
		return nil, 0, err
	}
	defer func() { _ = f.Close() }()
	info, err := f.Stat()
	if err != nil {
		return nil, 0, err
	}
	c, err := Read(f)
	return c, info.Size(), err
}

// Files are the paths of a journal's segments, in order, for a caller that
// sets it aside.
func Files(path string) ([]string, error) {
	numbers, err := segments(path)
	if err != nil {
		return nil, err
	}
	var out []string
	for _, n := range numbers {
		out = append(out, segmentPath(path, n))
	}
	return out, nil
}

func segmentPath(path string, n int) string {
	if n == 1 {
		return path
	}
	return path + "." + strconv.Itoa(n)
}

// segments are the numbers in use at path, rising; there is at least one.
func segments(path string) ([]int, error) {
	entries, err := os.ReadDir(filepath.Dir(path))
	if err != nil {
		return nil, err
	}
	var numbers []int
	base := filepath.Base(path)
	for _, e := range entries {
		if e.Name() == base {
			numbers = append(numbers, 1)
		}
		text, ok := strings.CutPrefix(e.Name(), base+".")
		n, err := strconv.Atoi(text)
		if ok && err == nil && n >= 2 && text == strconv.Itoa(n) && int64(n) < 1<<32-1 {
			numbers = append(numbers, n)
		}
	}
	if len(numbers) == 0 {
		return nil, fmt.Errorf("%s: %w", path, os.ErrNotExist)
	}
	slices.Sort(numbers)
	return numbers, nil
}
