package service_test

import (
	"archive/zip"
	"bytes"
	"compress/gzip"
	"fmt"
	"math"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"chainline/internal/service"
	"chainline/recording"
)

// asCSV and asGPX write an even ride of n seconds.
func asCSV(n int) []byte {
	var b bytes.Buffer
	b.WriteString("time_s,power_w,cadence_rpm\n")
	for i := range n {
		fmt.Fprintf(&b, "%d,%d,%d\n", i, 150+i%7, 85)
	}
	return b.Bytes()
}

func asGPX(n int, watts bool) []byte {
	var b bytes.Buffer
	b.WriteString(`<?xml version="1.0"?><gpx version="1.1" creator="invented" xmlns="http://www.topografix.com/GPX/1/1"><trk><trkseg>`)
	begin := time.Date(2026, 11, 3, 18, 0, 0, 0, time.UTC)
	for i := range n {
		power := ""
		if watts {
			power = fmt.Sprintf("<extensions><power>%d</power></extensions>", 160+i%7)
		}
		fmt.Fprintf(&b, `<trkpt lat="%.6f" lon="20"><ele>100</ele><time>%s</time>%s</trkpt>`, 10+float64(i)*7e-5, begin.Add(time.Duration(i)*time.Second).Format(time.RFC3339), power)
	}
	b.WriteString("</trkseg></trk></gpx>")
	return b.Bytes()
}

func zipOf(t *testing.T, files ...any) []byte {
	t.Helper()
	var b bytes.Buffer
	z := zip.NewWriter(&b)
	for i := 0; i < len(files); i += 2 {
		w, err := z.Create(files[i].(string))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := w.Write(files[i+1].([]byte)); err != nil {
			t.Fatal(err)
		}
	}
	if err := z.Close(); err != nil {
		t.Fatal(err)
	}
	return b.Bytes()
}

// A check reads what others recorded, whatever its file is called; of several
// recordings the longest with watts, and it says so.
func TestReadRecordingOfAnyKind(t *testing.T) {
	var packed bytes.Buffer
	z := gzip.NewWriter(&packed)
	_, _ = z.Write(asCSV(500))
	z.Close()
	for name, c := range map[string]struct {
		data      []byte
		end, mean float64
		says      []string
	}{
		"ride.csv":    {asCSV(400), 399, 153, nil},
		"ride.gpx":    {asGPX(420, true), 419, 163, nil},
		"ride.fit":    {asCSV(400), 399, 153, nil}, // told by its content
		"ride.csv.gz": {packed.Bytes(), 499, 153, nil},
		"rides.zip": {zipOf(t, "a.csv", asCSV(300), "walk.gpx", asGPX(900, false), "b.gpx", asGPX(600, true), "diary.txt", []byte("Dear diary")), 599, 163,
			[]string{"rides.zip: holds 3 recordings; rides.zip/b.gpx is looked at, since it is the longest with watts", "diary.txt: line 1"}},
	} {
		rec, losses, err := service.ReadRecording(name, c.data)
		if err != nil {
			t.Errorf("%s: %v", name, err)
			continue
		}
		p, ok := rec.Signal(recording.Power, "")
		mean := 0.0
		for _, v := range p.Values {
			mean += v / float64(len(p.Values))
		}
		if !ok || math.Abs(rec.End()-c.end) > 1 || math.Abs(mean-c.mean) > 0.5 {
			t.Errorf("%s: ends at %g s, %g W; want %g and %g", name, rec.End(), mean, c.end, c.mean)
		}
		for _, says := range c.says {
			if all := strings.Join(losses, "\n"); !strings.Contains(all, says) {
				t.Errorf("%s: %q is not in %q", name, says, all)
			}
		}
	}
	for says, data := range map[string][]byte{
		"x: holds no recording; expected FIT, GPX, CSV": zipOf(t, "picture.png", []byte("no")),
		"the file is empty":                             {},
		"expected a header that names a time":           []byte("Dear diary"),
	} {
		if _, _, err := service.ReadRecording("x", data); err == nil || !strings.Contains(err.Error(), says) {
			t.Errorf("%v, want %q", err, says)
		}
	}
}

// Two files of other programs are a check like any other.
func TestCheckOfOtherPrograms(t *testing.T) {
	dir := t.TempDir()
	q := service.CheckRequest{Brief: checkFiles()}
	for name, data := range map[string][]byte{"a.csv": asCSV(700), "b.gpx": asGPX(700, true)} {
		path := filepath.Join(dir, name)
		if err := os.WriteFile(path, data, 0o600); err != nil {
			t.Fatal(err)
		}
		rec, _, err := service.OpenRecording(path)
		if err != nil {
			t.Fatal(err)
		}
		q.Looks = append(q.Looks, service.CheckLook{Recording: rec, Name: name})
	}
	sheet, err := service.CheckRig(t.Context(), q)
	if err != nil || sheet.Minutes < 5 || len(sheet.Unsaid) == 0 {
		t.Errorf("%v: %+v", err, sheet)
	}
}
