// Package intake takes in recordings that others made: one door for FIT, GPX,
// CSV, stored recordings, and archives of them, told apart by their content.
package intake

import (
	"bytes"
	"compress/gzip"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io"
	"slices"
	"strings"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/recording"
)

// Limits bound what one file may cost. An archive that unpacks to more is
// refused where it passes the limit; what came before stands.
type Limits struct {
	File    int64 // bytes of one file, unpacked
	Archive int64 // bytes of one archive, packed
	Total   int64 // bytes of all files of an archive, unpacked
	Entries int   // files in an archive, those of nested ones too
	Depth   int   // archives in archives
}

// Usual are the limits for a person's own files: a season of a thousand rides
// has about 100 MB.
func Usual() Limits {
	return Limits{File: 64 << 20, Archive: 512 << 20, Total: 4 << 30, Entries: 20_000, Depth: 3}
}

// Arrived is one recording that was taken in, or one file that was not.
type Arrived struct {
	File      string // its path, within archives too: "season.zip/march/a.fit"
	Hash      string // of the file's bytes
	Kind      string // "FIT", "GPX", "CSV" or "stored"
	Number    int    // of the recording in its file, from 1
	Of        int    // how many there are in its file
	Recording recording.Recording
	Original  []byte   // the file as it came, unpacked, to be kept; shared by its recordings
	Losses    []string // what was left out or put right, one sentence each
	Err       error    // why nothing could be read; the recording is empty then
}

// Read takes in whatever the reader holds; name is what it is called in errors.
// Files of an archive that could not be read stand among the rest with their
// error. The error is for what is no recording at all.
func Read(name string, r io.Reader, l Limits) ([]Arrived, error) {
	var out []Arrived
	err := Each(name, r, l, func(a Arrived) error {
		out = append(out, a)
		return nil
	})
	if err != nil {
		return nil, err
	}
	if len(out) == 1 && out[0].Err != nil {
		return nil, out[0].Err
	}
	return out, nil
}

// Each is Read that hands over one recording after the other, so that a large
// archive never lies in memory unpacked. It stops at the first error of each.
func Each(name string, r io.Reader, l Limits, each func(Arrived) error) error {
	name = problem.OneLine(name)
	data, err := io.ReadAll(io.LimitReader(r, l.Archive+1))
	switch {
	case err != nil:
		return problem.Bad("%s: cannot be read to its end: %v", name, err)
	case int64(len(data)) > l.Archive:
		return problem.Bad("%s: larger than %d MB", name, l.Archive>>20)
	}
	d := &door{limits: l, each: each}
	return d.data(name, data, 0)
}

// door is one call's way in.
type door struct {
	limits  Limits
	known   func(hash string) bool // nil: nothing is
	each    func(Arrived) error
	stopped func() error // nil: never
	entries int
	total   int64
}

// data takes in one file's bytes.
func (d *door) data(name string, data []byte, depth int) error {
	if d.stopped != nil {
		if err := d.stopped(); err != nil {
			return err
		}
	}
	switch kind := kindOf(data); kind {
	case zipped:
		return d.zip(name, bytes.NewReader(data), int64(len(data)), depth)
	case gzipped:
		return d.gzip(name, data, depth)
	default:
		return d.file(name, data, kind)
	}
}

// file takes in what is no archive.
func (d *door) file(name string, data []byte, kind kind) error {
	hash := hashOf(data)
	if d.known != nil && d.known(hash) {
		return nil
	}
	if int64(len(data)) > d.limits.File {
		return d.refuse(name, hash, problem.Bad("%s: larger than %d MB", name, d.limits.File>>20))
	}
	var got []Arrived
	var err error
	switch kind {
	case fit:
		got, err = readFIT(name, data)
	case gpx:
		got, err = readGPX(name, data)
	case text:
		got, err = readCSV(name, data)
	default:
		err = problem.Bad("%s: %s; expected a recording as FIT, GPX or CSV, or an archive of them", name, kind)
	}
	if err != nil {
		return d.refuse(name, hash, err)
	}
	return d.hand(name, hash, data, got)
}

func (d *door) hand(name, hash string, data []byte, got []Arrived) error {
	for i := range got {
		a := got[i]
		a.File, a.Hash, a.Original, a.Number, a.Of = name, hash, data, i+1, len(got)
		if err := a.Recording.Validate(); err != nil {
			return d.refuse(name, hash, problem.Bad("%s: it makes no recording: %v", name, err))
		}
		if said := sparse(&a.Recording); said != "" {
			a.Losses = append(slices.Clone(a.Losses), said)
		}
		got[i] = Arrived{} // it may be large, and belongs to the caller now
		if err := d.each(a); err != nil {
			return err
		}
	}
	return nil
}

// sparse says so if readings mostly stand further apart than one counts for:
// what lies between is a gap, which nothing here fills.
func sparse(r *recording.Recording) string {
	for _, q := range []recording.Quantity{recording.Power, recording.HeartRate, recording.Speed, recording.Latitude} {
		c, ok := r.Signal(q, "")
		if !ok || len(c.Seconds) < 10 {
			continue
		}
		steps := make([]float64, len(c.Seconds)-1)
		for i := range steps {
			steps[i] = c.Seconds[i+1] - c.Seconds[i]
		}
		slices.Sort(steps)
		if step := steps[len(steps)/2]; step > recording.Hold {
			return fmt.Sprintf("%s was recorded only every %.0f s, and a reading counts for %g s: there are gaps all through", q, step, recording.Hold)
		}
		return ""
	}
	return ""
}

func (d *door) refuse(name, hash string, err error) error {
	return d.each(Arrived{File: name, Hash: hash, Number: 1, Of: 1, Err: err})
}

func hashOf(data []byte) string {
	sum := sha256.Sum256(data)
	return hex.EncodeToString(sum[:])
}

func readFIT(name string, data []byte) ([]Arrived, error) {
	rides, losses, err := fitfile.DecodeActivity(data, name)
	if err != nil {
		return nil, err
	}
	said := make([]string, len(losses))
	for i, l := range losses {
		said[i] = l.String()
	}
	out := make([]Arrived, len(rides))
	for i, r := range rides {
		out[i] = Arrived{Kind: "FIT", Recording: r.Recording, Losses: said}
	}
	return out, nil
}

// gzip unpacks one file; a stored recording of our own is one.
func (d *door) gzip(name string, data []byte, depth int) error {
	if depth >= d.limits.Depth {
		return d.refuse(name, hashOf(data), problem.Bad("%s: archives within archives, more than %d deep", name, d.limits.Depth))
	}
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		return d.refuse(name, hashOf(data), problem.Bad("%s: a damaged gzip archive", name))
	}
	if isStored(z) {
		hash := hashOf(data)
		if d.known != nil && d.known(hash) {
			return nil
		}
		rec, err := recording.Read(bytes.NewReader(data))
		if err != nil {
			return d.refuse(name, hash, problem.Bad("%s: %v", name, err))
		}
		return d.hand(name, hash, data, []Arrived{{Kind: "stored", Recording: *rec}})
	}
	if z, err = gzip.NewReader(bytes.NewReader(data)); err != nil {
		return d.refuse(name, hashOf(data), problem.Bad("%s: a damaged gzip archive", name))
	}
	inner, cut, err := d.unpack(z)
	if err != nil {
		return d.refuse(name, hashOf(data), problem.Bad("%s: %v", name, err))
	}
	return d.within(cut, strings.TrimSuffix(name, ".gz"), inner, depth+1)
}

// within takes in an unpacked file; of one that is cut short the recordings
// say so.
func (d *door) within(cut bool, name string, data []byte, depth int) error {
	if !cut {
		return d.data(name, data, depth)
	}
	inner := *d
	inner.each = func(a Arrived) error {
		a.Recording.Whole = false
		a.Losses = append([]string{"the archive is damaged or cut short: what could be unpacked was read"}, a.Losses...)
		return d.each(a)
	}
	err := inner.data(name, data, depth)
	d.entries, d.total = inner.entries, inner.total
	return err
}

func isStored(r io.Reader) bool {
	const first = "chainline-recording "
	head := make([]byte, len(first))
	_, err := io.ReadFull(r, head)
	return err == nil && string(head) == first
}

// unpack reads to the end or a limit; cut: it ended in damage.
func (d *door) unpack(r io.Reader) (data []byte, cut bool, err error) {
	limit := min(d.limits.File, d.limits.Total-d.total)
	data, err = io.ReadAll(io.LimitReader(r, limit+1))
	d.total += int64(len(data))
	switch {
	case int64(len(data)) > limit:
		return nil, false, fmt.Errorf("unpacks to more than %d MB", limit>>20)
	case err != nil && len(data) == 0:
		return nil, false, errors.New("a damaged archive: nothing of it can be unpacked")
	}
	return data, err != nil, nil
}

// kind is what a file's content looks like; the text is for a refusal.
type kind string

const (
	fit     kind = "a FIT file"
	gpx     kind = "a GPX file"
	text    kind = "text"
	zipped  kind = "a zip archive"
	gzipped kind = "a gzip archive"
	empty   kind = "the file is empty"
	strange kind = "neither text nor anything known"
	xmlFile kind = "an XML file that is no GPX"
)

func kindOf(data []byte) kind {
	head := data[:min(len(data), 4096)]
	body := bytes.TrimLeft(bytes.TrimPrefix(head, []byte("\xEF\xBB\xBF")), " \t\r\n")
	switch {
	case len(body) == 0:
		return empty
	case len(head) >= 12 && (string(head[8:12]) == ".FIT" || (head[0] == 12 || head[0] == 14) && bytes.Contains(head[8:12], []byte("FI"))):
		return fit
	case bytes.HasPrefix(head, []byte("PK\x03\x04")), bytes.HasPrefix(head, []byte("PK\x05\x06")):
		return zipped
	case bytes.HasPrefix(head, []byte{0x1F, 0x8B}):
		return gzipped
	case body[0] == '<':
		if bytes.Contains(head, []byte("<gpx")) || bytes.Contains(head, []byte(":gpx")) {
			return gpx
		}
		return xmlFile
	case bytes.HasPrefix(head, []byte{0xFF, 0xFE}), bytes.HasPrefix(head, []byte{0xFE, 0xFF}):
		return text // UTF-16
	case bytes.IndexByte(head, 0) >= 0:
		return strange
	}
	return text
}
