package service

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"strings"

	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/recording"
)

// DebriefLeftOut is a file or ride that no debrief was made of.
type DebriefLeftOut struct {
	File string `json:"file"`
	Why  string `json:"why"`
}

// taken is a ride that was read.
type taken struct {
	file, kind string
	number     int
	start      float64 // Unix s, for the order
	losses     []string
	recording  *recording.Recording // nil: it is read again when its turn comes
	original   []byte
	whole      bool
}

func (t taken) label() string {
	if t.number > 1 {
		return fmt.Sprintf("%s (ride %d)", t.file, t.number)
	}
	return t.file
}

// heldRides are held unpacked; of more, only the files are, which are a tenth
// as large.
const heldRides = 30

// takeIn reads every ride below the names, in the order of time.
func takeIn(ctx context.Context, q DebriefRequest) (rides []taken, out []DebriefLeftOut, err error) {
	for _, name := range q.Files {
		arrived := func(in string) func(intake.Arrived) error {
			return func(a intake.Arrived) error {
				if err := ctx.Err(); err != nil {
					return err
				}
				file := a.File
				if in != "" {
					file = filepath.Join(in, a.File)
				}
				switch {
				case a.Err == nil:
					t := taken{file: file, kind: a.Kind, number: a.Number, start: a.Recording.StartUnix, losses: a.Losses, whole: a.Recording.Whole, original: a.Original}
					if len(rides) < heldRides {
						t.recording, t.original = &a.Recording, nil
					}
					rides = append(rides, t)
				case in == "" && a.File == problem.OneLine(name):
					return a.Err // it was named: nobody wants the rest without it
				default:
					why, _ := problem.ForPerson(a.Err)
					out = append(out, DebriefLeftOut{file, why})
				}
				return nil
			}
		}
		if err := takeInOne(ctx, q, name, arrived); err != nil {
			return nil, nil, err
		}
	}
	if len(rides) == 0 {
		e := problem.Bad("%s: holds no ride; expected recordings as FIT, GPX or CSV, or archives of them", problem.OneLine(q.Files[0]))
		if len(out) > 0 {
			e = e.WithHint("The first that could not be read: " + out[0].Why)
		}
		return nil, nil, e
	}
	besideDated(rides)
	slices.SortStableFunc(rides, func(a, b taken) int {
		return cmp.Or(cmp.Compare(a.start, b.start), cmp.Compare(a.file, b.file), cmp.Compare(a.number, b.number))
	})
	slices.SortFunc(out, func(a, b DebriefLeftOut) int { return cmp.Compare(a.File, b.File) })
	return rides, out, nil
}

// besideDated gives a ride that has no date, as a table often has none, the
// start of one that has and differs only in the ending of its name: it may be
// the same, and is compared then.
func besideDated(rides []taken) {
	stem := func(t taken) string { return strings.TrimSuffix(t.file, filepath.Ext(t.file)) }
	dated := map[string]float64{}
	for _, t := range rides {
		if t.start >= firstDate {
			dated[stem(t)] = t.start
		}
	}
	for i, t := range rides {
		if start, ok := dated[stem(t)]; ok && t.start < firstDate {
			rides[i].start = start
		}
	}
}

func takeInOne(ctx context.Context, q DebriefRequest, name string, arrived func(in string) func(intake.Arrived) error) error {
	if info, err := os.Stat(name); q.Brief.Open == nil && err == nil && info.IsDir() {
		return intake.Walk(ctx, os.DirFS(name), nil, arrived(name), func(done, total int) {
			if q.Progress != nil {
				q.Progress(fmt.Sprintf("reading %s, file %d of %d", filepath.Base(name), done, total))
			}
		})
	}
	f, err := q.Brief.open(name)
	if err != nil {
		return err
	}
	defer f.Close()
	if q.Progress != nil {
		q.Progress("reading " + filepath.Base(name))
	}
	return intake.Each(name, f, intake.Usual(), arrived(""))
}

// read is the ride itself.
func (t *taken) read() error {
	if t.recording != nil {
		return nil
	}
	all, err := intake.Read(t.file, bytes.NewReader(t.original), intake.Usual())
	if err != nil {
		return err
	}
	rec := all[t.number-1].Recording
	rec.Whole = t.whole
	t.recording, t.original = &rec, nil
	return nil
}

// dated is the ride where it stands in the order of time.
func (t taken) dated() *recording.Recording {
	r := *t.recording
	r.StartUnix = t.start
	return &r
}

// firstDate is 1990 in Unix s: what began before has no date.
const firstDate = 631152000

// sameWithin is how far the starts of two recordings of one ride may lie apart,
// s; intake.Same judges the rest.
const sameWithin = 300

// together are the rides, in the order of time, that may be one and the same.
func together(rides []taken) (groups [][]taken) {
	for i, t := range rides {
		if i == 0 || t.start-rides[i-1].start > sameWithin {
			groups = append(groups, nil)
		}
		last := len(groups) - 1
		groups[last] = append(groups[last], t)
	}
	return groups
}

// withoutRepeats reads a group and keeps of every ride one recording: one with
// power before one without, one with a date before one without, then the one
// with most channels.
func withoutRepeats(group []taken) (kept []taken, out []DebriefLeftOut, err error) {
	group = slices.Clone(group)
	for i := range group {
		if err := group[i].read(); err != nil {
			return nil, nil, err
		}
	}
	power := func(t taken) int { return min(1, len(t.recording.Sources(recording.Power))) }
	slices.SortStableFunc(group, func(a, b taken) int {
		return cmp.Or(cmp.Compare(power(b), power(a)), cmp.Compare(a.start-a.recording.StartUnix, b.start-b.recording.StartUnix), cmp.Compare(len(b.recording.Channels), len(a.recording.Channels)))
	})
next:
	for _, t := range group {
		for _, k := range kept {
			if how := intake.Same(k.dated(), t.dated()); how != intake.Different {
				out = append(out, DebriefLeftOut{t.label(), fmt.Sprintf("%s: is %s as %s", t.label(), sameWords(how), k.label())})
				continue next
			}
		}
		kept = append(kept, t)
	}
	slices.SortStableFunc(kept, func(a, b taken) int { return cmp.Compare(a.start, b.start) })
	return kept, out, nil
}

func sameWords(how intake.Relation) string {
	if how == intake.SameRecording {
		return "the same recording"
	}
	return "the same ride, recorded by another device,"
}
