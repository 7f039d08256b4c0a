package service

import (
	"archive/zip"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"maps"
	"math"
	"path"
	"slices"
	"strings"

	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/recording"
)

// Shared is a share file that was opened.
type Shared struct {
	Share
	Sheet     DebriefSheet // as it came
	Recording *recording.Recording
	// Again is what the same things come to when they are reckoned here; nil:
	// something was left out that it takes. Differs lists the numbers that are
	// not the same, by their place.
	Again   *DebriefSheet
	Differs []string
}

// Words says how a share file stands, in a sentence or two.
func (s Shared) Words() string {
	out := "A share file"
	if s.Version != "" {
		out += " made by version " + problem.OneLine(s.Version)
	}
	if len(s.LeftOut) > 0 {
		out += "; left out of it on purpose: " + strings.ReplaceAll(strings.Join(s.LeftOut, ", "), "_", " ")
	}
	switch {
	case s.Again == nil:
		return out + ". Not all of its numbers can be reckoned anew, because what they take was left out."
	case len(s.Differs) == 0:
		return out + ". Reckoned anew here, it gives the same numbers."
	}
	return out + fmt.Sprintf(". Reckoned anew here, %d of its numbers come out otherwise, the first %s.", len(s.Differs), s.Differs[0])
}

// OpenShare reads a share file and reckons its numbers anew. Errors are
// *problem.Error.
func OpenShare(ctx context.Context, name string, r io.ReaderAt, size int64, workers int) (s Shared, err error) {
	name = problem.OneLine(name)
	files, err := shareFiles(name, r, size)
	if err != nil {
		return s, err
	}
	if err := strict(files[shareManifest], &s.Share); err != nil {
		return s, problem.Bad("%s: share.json: %v", name, err)
	}
	if s.Schema != ShareSchema {
		return s, problem.Bad("%s: share.json: schema is %.40q; expected %q", name, s.Schema, ShareSchema)
	}
	if err := json.Unmarshal(files[shareNumbers], &s.Sheet); err != nil {
		return s, problem.Bad("%s: debrief.json: %v", name, err)
	}
	for _, ref := range []string{s.Ride, s.Rider, s.Rig, s.Road, s.Course, s.Event} {
		if _, ok := files[ref]; ref != "" && !ok {
			return s, problem.Bad("%s: share.json names %.60q, which is not in the archive", name, ref)
		}
	}
	if !(s.Draws >= 0 && s.Draws <= 100000) || s.Number < 1 {
		return s, problem.Bad("%s: share.json: draws or number is out of range", name)
	}
	again, err := reckonShare(ctx, s.Share, files, workers)
	if err != nil {
		return s, err
	}
	s.Recording = again.Recording
	if s.Whole {
		s.Again = &again
		s.Differs = differs(s.Sheet, again)
	}
	return s, nil
}

// strict reads JSON of a form that is known.
func strict(b []byte, to any) error {
	d := json.NewDecoder(bytes.NewReader(b))
	d.DisallowUnknownFields()
	return d.Decode(to)
}

// shareFiles unpacks an archive within bounds.
func shareFiles(name string, r io.ReaderAt, size int64) (map[string][]byte, error) {
	z, err := zip.NewReader(r, size)
	if err != nil {
		return nil, problem.Bad("%s: is no archive (zip); expected a share file of this program", name)
	}
	if len(z.File) > shareEntries {
		return nil, problem.Bad("%s: has %d files in it; expected a share file, which has at most %d", name, len(z.File), shareEntries)
	}
	files := map[string][]byte{}
	for _, f := range z.File {
		if f.Name != path.Clean(f.Name) || strings.HasPrefix(f.Name, "/") || strings.HasPrefix(f.Name, "..") {
			return nil, problem.Bad("%s: has a file called %.60q; expected names within the archive", name, f.Name)
		}
		in, err := f.Open()
		if err != nil {
			return nil, problem.Bad("%s: %.60q is damaged", name, f.Name)
		}
		b, err := io.ReadAll(io.LimitReader(in, shareEntry+1))
		in.Close()
		if err != nil {
			return nil, problem.Bad("%s: %.60q is damaged", name, f.Name)
		}
		if len(b) > shareEntry {
			return nil, problem.Bad("%s: %.60q is larger than %d MB", name, f.Name, shareEntry>>20)
		}
		files[f.Name] = b
	}
	for _, needed := range []string{shareManifest, shareNumbers} {
		if files[needed] == nil {
			return nil, problem.Bad("%s: has no %s; expected a share file of this program", name, needed)
		}
	}
	return files, nil
}

// reckonShare makes the debrief from what is in a share file.
func reckonShare(ctx context.Context, s Share, files map[string][]byte, workers int) (sheet DebriefSheet, err error) {
	all, err := intake.Read(path.Base(s.Ride), bytes.NewReader(files[s.Ride]), intake.Usual())
	if err != nil {
		return sheet, err
	}
	if s.Number > len(all) || all[s.Number-1].Err != nil {
		return sheet, problem.Bad("%s: has no ride %d", path.Base(s.Ride), s.Number)
	}
	got := all[s.Number-1]
	texts := map[string]string{}
	for name, b := range files {
		texts[name] = string(b)
	}
	q := DebriefRequest{Files: []string{path.Base(s.Ride)}, Harder: s.Harder, Weighed: s.Weighed, Alone: s.Alone, AsRecorded: s.AsRecorded, Source: s.Source, Without: s.LeftOut,
		Brief: BriefRequest{Rider: s.Rider, Rig: s.Rig, Road: s.Road, Course: s.Course, Event: s.Event, Style: s.Style, Recovery: s.Recovery, Seed: s.Seed, Draws: s.Draws, Today: s.Today, Workers: workers,
			Open: Texts(texts), Taught: &Taught{Weighed: s.Sweat, Strays: s.Strays}}}
	q.keep = func(c recording.Change) bool { return !slices.Contains(s.Undone, changeKey(c)) }
	q.Each = func(made DebriefSheet) error { sheet = made; return nil }
	d := &debriefed{q: q, loads: map[int]float64{}, learnt: slices.Clone(s.Efforts), rode: slices.Clone(s.Rode)}
	if err := d.check(); err != nil {
		return sheet, err
	}
	err = d.one(ctx, taken{file: path.Base(s.Ride), kind: got.Kind, number: s.Number, start: got.Recording.StartUnix, losses: got.Losses, recording: &got.Recording, whole: got.Recording.Whole})
	return sheet, err
}

// sameTo is how far two machines may differ in a number, as a share of it.
const sameTo = 1e-6

// differs lists where two debriefs are not the same.
func differs(a, b DebriefSheet) (out []string) {
	var x, y any
	for _, p := range []struct {
		of DebriefSheet
		to *any
	}{{a, &x}, {b, &y}} {
		if err := json.Unmarshal(jsonOf(p.of), p.to); err != nil {
			return []string{"all of it"}
		}
	}
	differAt("", x, y, &out)
	return out
}

func differAt(at string, a, b any, out *[]string) {
	switch a := a.(type) {
	case map[string]any:
		b, ok := b.(map[string]any)
		if !ok || len(a) != len(b) {
			*out = append(*out, at)
			return
		}
		for _, k := range slices.Sorted(maps.Keys(a)) {
			differAt(at+"/"+k, a[k], b[k], out)
		}
	case []any:
		b, ok := b.([]any)
		if !ok || len(a) != len(b) {
			*out = append(*out, at)
			return
		}
		for i := range a {
			differAt(fmt.Sprintf("%s/%d", at, i), a[i], b[i], out)
		}
	case float64:
		if v, ok := b.(float64); !ok || math.Abs(a-v) > sameTo*math.Max(1, math.Abs(a)) {
			*out = append(*out, at)
		}
	default:
		if a != b {
			*out = append(*out, at)
		}
	}
}
