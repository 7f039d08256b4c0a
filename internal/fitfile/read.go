package fitfile

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
	"regexp"
	"strings"

	"github.com/muktihari/fit/decoder"
	"github.com/muktihari/fit/kit/hash/crc16"
	"github.com/muktihari/fit/profile/typedef"

	"chainline/internal/problem"
	"chainline/recording"
)

// Limits of ReadActivity.
const (
	// MaxActivity is the largest activity file that is read, in bytes. A day
	// recorded every second with every field there is stays below 10 MB.
	MaxActivity = 64 << 20
	maxRecords  = 1_000_000
	maxBeats    = 2_000_000
	maxMarks    = 20_000
	maxRides    = 100
	maxLosses   = 50
)

// Ride is one session of a FIT file.
type Ride struct {
	Recording recording.Recording
	Number    int // of the session in the file, from 1
}

// Loss is something a file holds that was not read, or was put right.
type Loss struct {
	What  string // one sentence
	Where string // "byte 1042, after record 57"; empty: the whole file
}

// String is the loss on one line.
func (l Loss) String() string {
	if l.Where == "" {
		return l.What
	}
	return l.Where + ": " + l.What
}

// ReadActivity reads a FIT activity: each session is a ride of its own, and
// so is each file of a chain. A file that is cut short or damaged is read as
// far as it goes; what is missing then, and whatever else had to be left out
// or put right, comes back as losses. name is what the file is called in an
// error. The error is for what is no FIT activity, or one in which nothing was
// recorded.
func ReadActivity(r io.Reader, name string) (rides []Ride, losses []Loss, err error) {
	name = problem.OneLine(name)
	data, err := io.ReadAll(io.LimitReader(r, MaxActivity+1))
	switch {
	case err != nil:
		return nil, nil, problem.Bad("%s: cannot be read to its end: %v", name, err)
	case len(data) > MaxActivity:
		return nil, nil, problem.Bad("%s: larger than %d MB, expected a FIT activity", name, MaxActivity>>20)
	}
	return DecodeActivity(data, name)
}

// DecodeActivity is ReadActivity of what has been read already.
func DecodeActivity(data []byte, name string) ([]Ride, []Loss, error) {
	name = problem.OneLine(name)
	a := &activityReader{data: data, title: title(name)}
	if _, ok := a.looksLike(0); !ok {
		return nil, nil, problem.Bad("%s: not a FIT file, expected a FIT activity", name)
	}
	for at := 0; at < len(data); {
		h, ok := a.header(at)
		if !ok {
			a.lose(fmt.Sprintf("byte %d", at+1), "the last %d bytes are no FIT and are left out", len(data)-at)
			break
		}
		a.part++
		a.sequence(h)
		at = h.next
	}
	if len(a.rides) == 0 {
		return nil, nil, a.refusal(name)
	}
	return a.rides, a.losses, nil
}

func title(name string) string {
	name = name[strings.LastIndexAny(name, `/\`)+1:]
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		name = name[:i]
	}
	return plainText(name)
}

type activityReader struct {
	data    []byte
	title   string
	part    int          // of a chain, from 1
	kind    typedef.File // of the first file of the chain that is no activity
	records int
	rides   []Ride
	losses  []Loss
}

func (a *activityReader) lose(where, format string, args ...any) {
	l := Loss{What: fmt.Sprintf(format, args...), Where: where}
	if a.part > 1 {
		l.Where = strings.TrimSuffix(fmt.Sprintf("file %d of the chain, %s", a.part, where), ", ")
	}
	if len(a.losses) < maxLosses {
		a.losses = append(a.losses, l)
	}
}

// refusal is why no ride was found.
func (a *activityReader) refusal(name string) error {
	hint := ""
	if len(a.losses) > 0 {
		hint = " (" + a.losses[0].String() + ")"
	}
	switch {
	case a.kind != typedef.FileInvalid && a.kind != 0:
		return problem.Bad("%s: a FIT file of type %s, expected an activity%s", name, a.kind, hint)
	case a.records == 0:
		return problem.Bad("%s: a FIT file without records, expected an activity%s", name, hint)
	}
	return problem.Bad("%s: a FIT file whose records hold nothing of a ride, expected power, heart rate, speed or the like%s", name, hint)
}

// part is one FIT file of a chain: where its messages stand in the data.
type part struct {
	from, to int // of the messages
	next     int // where the next file of the chain begins
	fault    string
}

// looksLike tells a header with at most one damaged byte.
func (a *activityReader) looksLike(at int) (size int, ok bool) {
	d := a.data[at:]
	if len(d) < 12 {
		return 0, false
	}
	letters := 0
	for i, c := range []byte(".FIT") {
		if d[8+i] == c {
			letters++
		}
	}
	size = int(d[0])
	sized := size == 12 || size == 14
	if !sized {
		size = 14
		if len(d) > 14 && d[14]&0xF0 != 0x40 && d[12]&0xF0 == 0x40 {
			size = 12
		}
	}
	return size, letters == 4 || sized && letters == 3
}

// header finds one file of a chain. Where the size it states cannot be, its
// messages are taken to reach to the next header or the end.
func (a *activityReader) header(at int) (part, bool) {
	size, ok := a.looksLike(at)
	if !ok {
		return part{}, false
	}
	all := len(a.data)
	p := part{from: min(at+size, all)}
	stated := int(binary.LittleEndian.Uint32(a.data[at+4:]))
	end := p.from + stated
	follows := func() bool {
		_, ok := a.looksLike(end + 2)
		return ok
	}
	switch {
	case stated > 0 && end+2 == all, stated > 0 && end+2 < all && (follows() || a.checksum(at, p.from, end)):
		p.to, p.next = end, end+2
		if !a.checksum(at, p.from, end) {
			p.fault = "the checksum does not hold: some values may be wrong"
		}
	case stated > 0 && end <= all && end+2 > all:
		p.to, p.next, p.fault = end, all, "the checksum at the end is missing"
	default:
		p.to, p.next = a.reach(p.from)
		p.fault = "the size its header states cannot be: read as far as there are messages"
		if end > all {
			p.to, p.fault = p.next, "the file is cut short: what came before is kept"
		}
	}
	return p, true
}

// reach is where messages end if nothing says so: two bytes of checksum before
// the next header or the end of the file.
func (a *activityReader) reach(from int) (to, next int) {
	next = len(a.data)
	for at := from; ; {
		i := bytes.Index(a.data[at:], []byte(".FIT"))
		if i < 0 {
			break
		}
		if head := at + i - 8; head >= from {
			if _, ok := a.looksLike(head); ok {
				next = head
				break
			}
		}
		at += i + 4
	}
	return max(from, next-2), next
}

// checksum: two ways of reckoning it are in use, with and without the header.
func (a *activityReader) checksum(head, from, to int) bool {
	want := binary.LittleEndian.Uint16(a.data[to:])
	sum := crc16.New()
	_, _ = sum.Write(a.data[from:to])
	if sum.Sum16() == want {
		return true
	}
	sum.Reset()
	_, _ = sum.Write(a.data[head:to])
	return sum.Sum16() == want
}

var bytePosition = regexp.MustCompile(`\[byte pos: (\d+)\]`)

// sequence reads one file of a chain.
func (a *activityReader) sequence(p part) {
	s := newScan((p.to - p.from) / 24)
	defer s.release()
	err := a.decode(p, s)
	a.records += s.records
	if s.file != typedef.FileActivity && (s.file != typedef.FileInvalid || s.records == 0) {
		if s.file != typedef.FileInvalid && a.kind == 0 {
			a.kind = s.file
		}
		if s.records == 0 || s.file == typedef.FileCourse || s.file == typedef.FileMonitoringB {
			if a.part > 1 || s.beatsApart > 0 {
				a.lose("", "it holds no records of its own and is left out")
			}
			return
		}
	}
	whole := err == nil && p.fault == ""
	if err != nil {
		a.lose(a.place(err, p, s), "%s", broken(err, p))
	} else if p.fault != "" {
		a.lose(fmt.Sprintf("byte %d, after record %d", p.next, s.records), "%s", p.fault)
	}
	a.losses = append(a.losses, s.losses(a.part)...)
	a.add(s, whole)
}

// decode streams the messages of one file into the scan.
func (a *activityReader) decode(p part, s *scan) (err error) {
	if p.to <= p.from {
		return nil
	}
	head := []byte{12, 0x20, 0, 0, 0, 0, 0, 0, '.', 'F', 'I', 'T'}
	binary.LittleEndian.PutUint32(head[4:], uint32(p.to-p.from))
	d := decoder.New(io.MultiReader(bytes.NewReader(head), bytes.NewReader(a.data[p.from:p.to])),
		decoder.WithMesgListener(s), decoder.WithBroadcastOnly(), decoder.WithIgnoreChecksum(), decoder.WithNoComponentExpansion())
	defer func() {
		// A file must never end the program, whatever the library makes of it.
		if r := recover(); r != nil {
			err = fmt.Errorf("a message that cannot be decoded (%v)", r)
		}
	}()
	_, err = d.Decode()
	if err != nil && strings.HasPrefix(err.Error(), "decode crc") {
		return nil // the checksum was left out on purpose: header has checked it
	}
	return err
}

// place is where decoding stopped.
func (a *activityReader) place(err error, p part, s *scan) string {
	at := p.to
	if m := bytePosition.FindStringSubmatch(err.Error()); m != nil {
		var n int
		_, _ = fmt.Sscan(m[1], &n)
		at = p.from + n - 12
	}
	return fmt.Sprintf("byte %d, after record %d", min(at, len(a.data)), s.records)
}

// broken is what a decoder's error in the middle means.
func broken(err error, p part) string {
	switch {
	case errors.Is(err, io.EOF), errors.Is(err, io.ErrUnexpectedEOF):
		if p.fault != "" {
			return p.fault
		}
		return "the file ends in the middle of a message: what came before is kept"
	case errors.Is(err, decoder.ErrMesgDefMissing):
		return "damaged: a message without its definition; what came before is kept"
	}
	return "damaged: a definition that cannot be; what came before is kept"
}
