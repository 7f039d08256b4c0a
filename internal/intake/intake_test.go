package intake

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/fstest"
	"time"

	"chainline/debrief"
	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/recording"
)

// ride is an invented ride of n seconds of one rider; device changes what
// differs between two devices on it.
func ride(seed uint64, n int, device string) *recording.Recording {
	rng := rand.New(rand.NewPCG(seed, 3))
	other := rand.New(rand.NewPCG(seed, 4))
	b := recording.NewBuilder("ride", 1_764_000_000+float64(seed)*100_000, 0, "road cycling")
	level, way := 180.0, 0.0
	for k := range n {
		s := float64(k)
		if k%90 == 0 {
			level = 120 + 200*rng.Float64()
		}
		w := math.Round(math.Max(0, level+25*rng.NormFloat64()))
		heart := math.Round(110 + level/8 + 12*math.Sin(s/200))
		cadence := math.Round(85 + 6*math.Sin(s/37) + 2*rng.NormFloat64())
		if device == "other" { // another power meter, the same belt
			w = math.Round(math.Max(0, w*1.04+10*other.NormFloat64()))
			cadence = math.Round(cadence + other.NormFloat64())
		}
		way += 8 + math.Sin(s/60)
		_ = b.Add(recording.Power, "meter", s, w)
		_ = b.Add(recording.HeartRate, "recorded", s, heart)
		_ = b.Add(recording.Cadence, "recorded", s, cadence)
		_ = b.Add(recording.Speed, "recorded", s, 8+math.Sin(s/60))
		_ = b.Add(recording.Position, "recorded", s, way)
		_ = b.Add(recording.Altitude, "recorded", s, math.Round(200+40*math.Sin(s/400)))
		_ = b.Add(recording.Latitude, "recorded", s, 10+way*9e-6)
		_ = b.Add(recording.Longitude, "recorded", s, 20)
	}
	r := b.Recording(true)
	return &r
}

func fitOf(t testing.TB, r *recording.Recording) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := fitfile.Activity(&b, r, fitfile.Options{}); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func csvOf(t testing.TB, r *recording.Recording) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := r.WriteCSV(&b, 1); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func storedOf(t testing.TB, r *recording.Recording) []byte {
	t.Helper()
	var b bytes.Buffer
	if err := recording.Write(&b, r); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

func gpxOf(r *recording.Recording) []byte {
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0" encoding="UTF-8"?>
<gpx version="1.1" creator="nobody" xmlns="http://www.topografix.com/GPX/1/1" xmlns:x="urn:x"><trk><name>Hills</name><type>cycling</type><trkseg>
`)
	get := func(q recording.Quantity, i int) float64 { c, _ := r.Signal(q, ""); return c.Values[i] }
	c, _ := r.Signal(recording.Power, "")
	for i, s := range c.Seconds {
		at := int64(r.StartUnix + s)
		fmt.Fprintf(&b, "<trkpt lat=\"%.7f\" lon=\"%.7f\"><ele>%g</ele><time>%s</time><extensions><power>%g</power><x:TPX><x:hr>%g</x:hr><x:cad>%g</x:cad></x:TPX></extensions></trkpt>\n",
			get(recording.Latitude, i), get(recording.Longitude, i), get(recording.Altitude, i), utc(at), c.Values[i], get(recording.HeartRate, i), get(recording.Cadence, i))
	}
	b.WriteString("</trkseg></trk></gpx>\n")
	return b.Bytes()
}

func gz(data []byte) []byte {
	var b bytes.Buffer
	z := gzip.NewWriter(&b)
	_, _ = z.Write(data)
	_ = z.Close()
	return b.Bytes()
}

func zipOf(files map[string][]byte) []byte {
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for name, data := range files {
		w, _ := z.Create(name)
		_, _ = w.Write(data)
	}
	_ = z.Close()
	return b.Bytes()
}

func read(t testing.TB, name string, data []byte) []Arrived {
	t.Helper()
	got, err := Read(name, bytes.NewReader(data), Usual())
	if err != nil {
		t.Fatalf("%s: %v", name, err)
	}
	return got
}

// One door: every kind is told by its content, whatever its name, and holds
// the same ride.
func TestKinds(t *testing.T) {
	r := ride(1, 900, "")
	want, _ := r.Signal(recording.Power, "")
	for kind, data := range map[string][]byte{"FIT": fitOf(t, r), "GPX": gpxOf(r), "CSV": csvOf(t, r), "stored": storedOf(t, r)} {
		for name, packed := range map[string][]byte{"x": data, "x.gz": gz(data), "x.zip": zipOf(map[string][]byte{"2026/march/x": data})} {
			if kind == "stored" && name == "x.gz" {
				continue // gzip of gzip is two archives
			}
			got := read(t, name, packed)
			if len(got) != 1 || got[0].Kind != kind || got[0].Err != nil {
				t.Fatalf("%s in %s: %d, %+v", kind, name, len(got), got[0])
			}
			c, _ := got[0].Recording.Signal(recording.Power, "")
			for i := range 800 {
				if c.Values[i] != want.Values[i] || c.Seconds[i] != want.Seconds[i] {
					t.Fatalf("%s in %s: %g W at %g s, want %g at %g", kind, name, c.Values[i], c.Seconds[i], want.Values[i], want.Seconds[i])
				}
			}
			if kind != "CSV" {
				if rel := Same(r, &got[0].Recording); rel != SameRecording {
					t.Errorf("%s in %s is %s", kind, name, rel)
				}
			}
			if name == "x.zip" && got[0].File != "x.zip/2026/march/x" {
				t.Errorf("called %q", got[0].File)
			}
		}
	}
}

func TestRefusals(t *testing.T) {
	course := "<gpx version=\"1.1\"><trk><trkseg>\n<trkpt lat=\"1\" lon=\"2\"></trkpt>\n</trkseg></trk></gpx>"
	for name, c := range map[string]struct{ data, want string }{
		"nothing":    {"", "nothing: the file is empty; expected a recording as FIT, GPX or CSV, or an archive of them"},
		"picture":    {"\x89PNG\r\n\x1a\n\x00\x00\x00\rIHDR", "picture: neither text nor anything known; expected"},
		"page.xml":   {"<html></html>", "page.xml: an XML file that is no GPX; expected"},
		"letter.txt": {"Dear coach,\nit was windy.\n", "letter.txt: line 1: \"Dear coach,\"; expected a header that names a time"},
		"course.gpx": {course, "course.gpx: none of its 1 points has a time; expected a ridden track, this is a course"},
		"cut.gpx":    {course[:40], "cut.gpx: line 2: the file ends in the middle; expected </gpx>"},
		"bare.csv":   {"time,power\n", "bare.csv: line 1: the file ends after its header; expected a row"},
		"words.csv":  {"time,power\n1,lots\n", "words.csv: line 2, power: \"lots\"; expected a number; left out"},
		"broken.gz":  {"\x1f\x8b\x08", "broken.gz: a damaged gzip archive"},
		"broken.zip": {"PK\x03\x04...", "broken.zip: a damaged zip archive: its list of files cannot be read"},
	} {
		_, err := Read(name, strings.NewReader(c.data), Usual())
		if message, _ := problem.ForPerson(err); !strings.HasPrefix(message, c.want) {
			t.Errorf("%s: %q, want %q", name, message, c.want)
		}
	}
}

// Archives are bounded, whatever they claim.
func TestArchiveLimits(t *testing.T) {
	small := Limits{File: 1 << 20, Archive: 1 << 20, Total: 3 << 20, Entries: 5, Depth: 2}
	zeros := make([]byte, 2<<20)
	line := fitOf(t, ride(1, 60, ""))
	many := map[string][]byte{}
	for i := range 9 {
		many[fmt.Sprintf("%d.fit", i)] = line
	}
	big := map[string][]byte{}
	for i := range 5 {
		big[fmt.Sprintf("%d.csv", i)] = zeros[:1<<20-1]
	}
	for name, c := range map[string]struct {
		data []byte
		want string
	}{
		"one.gz":    {gz(zeros), "one.gz: unpacks to more than 1 MB"},
		"many.zip":  {zipOf(many), "many.zip: more than 5 files"},
		"total.zip": {zipOf(big), "unpacks to more than"},
		"deep.zip":  {zipOf(map[string][]byte{"a.zip": zipOf(map[string][]byte{"b.zip": zipOf(map[string][]byte{"c.fit": line})})}), "more than 2 deep"},
	} {
		var said []string
		err := Each(name, bytes.NewReader(c.data), small, func(a Arrived) error {
			if a.Err != nil {
				message, _ := problem.ForPerson(a.Err)
				said = append(said, message)
			}
			return nil
		})
		if err != nil || !strings.Contains(strings.Join(said, "\n"), c.want) {
			t.Errorf("%s: %v, %q, want %q", name, err, said, c.want)
		}
	}
	wide := append([]byte("secs"+strings.Repeat(",power", 400)+"\n"), bytes.Repeat([]byte("1\n"), 40_000)...)
	if _, err := Read("wide.csv", bytes.NewReader(wide), small); err == nil || !strings.Contains(err.Error(), "cells") {
		t.Errorf("a table of four hundred columns and short rows: %v", err)
	}
	packed := gz(line)
	got := read(t, "cut.fit.gz", packed[:len(packed)-300])
	if len(got) != 1 || got[0].Recording.Whole || !strings.Contains(got[0].Losses[0], "the archive is damaged") {
		t.Errorf("%+v", got)
	}
}

func TestSame(t *testing.T) {
	a := ride(1, 1200, "")
	export := read(t, "a.gpx", gpxOf(a))[0].Recording
	again := read(t, "a.fit", fitOf(t, a))[0].Recording
	other := ride(1, 1200, "other")
	late := *other
	late.StartUnix += 7 // its clock goes ahead
	elsewhere := ride(2, 1200, "")
	elsewhere.StartUnix = a.StartUnix + 3 // at the same time, by another rider
	short := ride(1, 300, "")
	nextDay := ride(1, 1200, "")
	nextDay.StartUnix += 86400
	for name, c := range map[string]struct {
		b    *recording.Recording
		want Relation
	}{
		"itself": {a, SameRecording}, "as GPX": {&export, SameRecording}, "as FIT": {&again, SameRecording},
		"another device": {other, AnotherDevice}, "another device, another clock": {&late, AnotherDevice},
		"another rider": {elsewhere, Different}, "the next day": {nextDay, Different}, "a part": {short, AnotherDevice},
	} {
		if got := Same(a, c.b); got != c.want {
			t.Errorf("%s: %s, want %s", name, got, c.want)
		}
		if got := Same(c.b, a); got != c.want {
			t.Errorf("%s, the other way round: %s, want %s", name, got, c.want)
		}
	}
	if Fingerprint(a) != Fingerprint(&export) || Fingerprint(a) == Fingerprint(other) || Fingerprint(a) == Fingerprint(nextDay) {
		t.Error("fingerprints do not tell recordings apart")
	}
}

// folder is n invented rides with copies of each other, in folders and an
// archive.
func folder(t testing.TB, n, seconds int) fstest.MapFS {
	out := fstest.MapFS{"notes.md": {Data: []byte("not looked at")}, "bad.fit": {Data: []byte("no FIT")}}
	packed := map[string][]byte{}
	for i := range n {
		data := fitOf(t, ride(uint64(i), seconds, ""))
		if i%5 == 0 {
			packed[fmt.Sprintf("%d.fit", i)] = data
			continue
		}
		out[fmt.Sprintf("%d/ride.fit", i)] = &fstest.MapFile{Data: data}
	}
	out["rest.zip"] = &fstest.MapFile{Data: zipOf(packed)}
	return out
}

// A walk that is stopped goes on where it was.
func TestWalk(t *testing.T) {
	files := folder(t, 20, 120)
	have := map[string]bool{}
	prints := map[string]bool{}
	var refused []string
	known := func(hash string) bool { return have[hash] }
	ctx, stop := context.WithCancel(context.Background())
	take := func(a Arrived) error {
		have[a.Hash] = true
		if a.Err != nil {
			refused = append(refused, a.File)
			return nil
		}
		prints[Fingerprint(&a.Recording)] = true
		if len(prints) == 7 {
			stop()
		}
		return nil
	}
	if err := Walk(ctx, files, known, take, nil); !errors.Is(err, context.Canceled) {
		t.Fatalf("stopped with %v", err)
	}
	if len(prints) < 7 || len(prints) > 9 {
		t.Fatalf("%d rides when stopped after 7", len(prints))
	}
	before, last, total := len(prints), 0, 0
	again := 0
	err := Walk(context.Background(), files, known, func(a Arrived) error { again++; return take(a) }, func(done, all int) { last, total = done, all })
	if err != nil || len(prints) != 20 || last != total || total != 18 {
		t.Errorf("%v, %d rides, %d of %d files", err, len(prints), last, total)
	}
	if again > 20-before+1 {
		t.Errorf("%d recordings were taken in again", again-(20-before))
	}
	if !slices.Contains(refused, "bad.fit") {
		t.Errorf("refused %q", refused)
	}
	broken := errors.New("no room")
	if err := Walk(context.Background(), files, nil, func(Arrived) error { return broken }, nil); !errors.Is(err, broken) {
		t.Errorf("ended with %v", err)
	}
}

// BenchmarkWalk takes in 200 rides of an hour by two workers and reports what
// a thousand would take.
func BenchmarkWalk(b *testing.B) {
	data := fitOf(b, ride(1, 3600, ""))
	files := fstest.MapFS{}
	for i := range 200 {
		files[fmt.Sprintf("%03d.fit", i)] = &fstest.MapFile{Data: data}
	}
	var most atomic.Uint64
	b.ReportAllocs()
	for b.Loop() {
		n := 0
		err := Walk(context.Background(), files, nil, func(a Arrived) error {
			if n++; n%50 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				most.Store(max(most.Load(), m.HeapInuse))
			}
			return a.Err
		}, nil)
		if err != nil || n != 200 {
			b.Fatal(n, err)
		}
	}
	b.ReportMetric(b.Elapsed().Seconds()/float64(b.N)*5, "s/1000-rides")
	b.ReportMetric(float64(most.Load())/1e6, "MB-heap")
}

// BenchmarkSeason takes in a thousand files of an hour (25 different ones, each
// forty times), enters them in the catalogue, reckons the mean-maximal power of
// each over every duration and keeps the original on disk.
func BenchmarkSeason(b *testing.B) {
	files := fstest.MapFS{}
	for i := range 1000 {
		name := fmt.Sprintf("%02d", i%25)
		if i < 25 {
			files[name+"/0.fit"] = &fstest.MapFile{Data: fitOf(b, ride(uint64(i), 3600, ""))}
			continue
		}
		files[fmt.Sprintf("%s/%d.fit", name, i)] = files[name+"/0.fit"]
	}
	dir := b.TempDir()
	for b.Loop() {
		var most uint64
		var catalogue Catalogue
		rides, seconds := 0, 0
		err := Walk(context.Background(), files, nil, func(a Arrived) error {
			catalogue.Add(Entry{a.File, Fingerprint(&a.Recording), a.Recording.StartUnix})
			rows, err := a.Recording.Rows(1)
			if err != nil {
				return err
			}
			seconds += len(debrief.MeanMaximal(rows.Column(recording.Power)).Watts)
			if rides++; rides%100 == 0 {
				var m runtime.MemStats
				runtime.ReadMemStats(&m)
				most = max(most, m.HeapInuse)
			}
			return os.WriteFile(filepath.Join(dir, a.Hash), a.Original, 0o600)
		}, nil)
		if err != nil || rides != 1000 || seconds < 3_590_000 {
			b.Fatal(rides, seconds, err)
		}
		b.ReportMetric(float64(most)/1e6, "MB-heap-files-included")
	}
}

func BenchmarkGPX(b *testing.B) { benchmark(b, gpxOf(ride(1, 3600, ""))) }
func BenchmarkCSV(b *testing.B) { benchmark(b, csvOf(b, ride(1, 3600, ""))) }
func BenchmarkSame(b *testing.B) {
	x, y := ride(1, 3600, ""), ride(1, 3600, "other")
	for b.Loop() {
		if Same(x, y) != AnotherDevice {
			b.Fatal("not the same ride")
		}
	}
}

func benchmark(b *testing.B, data []byte) {
	b.SetBytes(int64(len(data)))
	for b.Loop() {
		if err := Each("x", bytes.NewReader(data), Usual(), func(a Arrived) error { return a.Err }); err != nil {
			b.Fatal(err)
		}
	}
}

func utc(unix int64) string { return time.Unix(unix, 0).UTC().Format(time.RFC3339) }

func TestCatalogue(t *testing.T) {
	kept := map[string]*recording.Recording{}
	var c Catalogue
	for seed := range uint64(20) {
		r := ride(seed, 600, "")
		id := fmt.Sprint(seed)
		kept[id] = r
		c.Add(Entry{id, Fingerprint(r), r.StartUnix})
	}
	loaded := 0
	load := func(id string) (*recording.Recording, error) { loaded++; return kept[id], nil }
	rounded := ride(9, 600, "")
	for i := range rounded.Channels[0].Values {
		rounded.Channels[0].Values[i] += 0.9 * float64(i%2)
	}
	for _, x := range []struct {
		r    *recording.Recording
		id   string
		want Relation
		most int
	}{
		{ride(7, 600, ""), "7", SameRecording, 0}, {rounded, "9", SameRecording, 1},
		{ride(8, 600, "other"), "8", AnotherDevice, 1}, {ride(77, 600, ""), "", Different, 0},
	} {
		loaded = 0
		id, how, err := c.Find(x.r, load)
		if id != x.id || how != x.want || err != nil || loaded > x.most {
			t.Errorf("%q, %s, %v, %d loaded; want %q, %s", id, how, err, loaded, x.id, x.want)
		}
	}
}
