package service

import (
	"bytes"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"syscall"

	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/recording"
)

func refused(err error) bool { return errors.Is(err, syscall.ECONNREFUSED) }

// checkLimits bound what a file may cost that a check looks at: it holds one
// ride, or an archive of a few.
func checkLimits() intake.Limits {
	return intake.Limits{File: 64 << 20, Archive: recording.MaxStored, Total: 512 << 20, Entries: 1000, Depth: 3}
}

// mostLosses are told of one file, one by one.
const mostLosses = 8

// ReadRecording reads what a device, this program or another one recorded:
// whatever package intake takes in. Of several recordings the longest one with
// watts is looked at, else the longest. Losses say what was not, and what could
// not be read.
func ReadRecording(name string, data []byte) (rec *recording.Recording, losses []string, err error) {
	name = problem.OneLine(filepath.Base(name))
	var best intake.Arrived
	var bad []error
	found := 0
	err = intake.Each(name, bytes.NewReader(data), checkLimits(), func(a intake.Arrived) error {
		if a.Err != nil {
			bad = append(bad, a.Err)
			return nil
		}
		a.Original = nil
		if found++; found == 1 || rather(&a.Recording, &best.Recording) {
			best = a
		}
		return nil
	})
	switch {
	case err != nil:
		return nil, nil, err
	case found == 0 && len(bad) > 0:
		return nil, nil, bad[0]
	case found == 0:
		return nil, nil, problem.Bad("%s: holds no recording; expected FIT, GPX, CSV, a recording of this program, or an archive of one", name)
	}
	if found > 1 {
		losses = append(losses, fmt.Sprintf("%s: holds %d recordings; %s is looked at, since it is the longest%s", name, found, which(best, name), withWatts(&best.Recording)))
	}
	for _, l := range best.Losses {
		losses = append(losses, best.File+": "+l)
	}
	for _, e := range bad {
		message, _ := problem.ForPerson(e)
		losses = append(losses, message)
	}
	if n := len(losses); n > mostLosses {
		losses = append(losses[:mostLosses:mostLosses], fmt.Sprintf("%s: and %d more like these", name, n-mostLosses))
	}
	return &best.Recording, losses, nil
}

// rather tells whether a check should look at a in place of b.
func rather(a, b *recording.Recording) bool {
	if x, y := len(a.Sources(recording.Power)) > 0, len(b.Sources(recording.Power)) > 0; x != y {
		return x
	}
	return a.End() > b.End()
}

func which(a intake.Arrived, name string) string {
	if a.File != name {
		return a.File
	}
	return fmt.Sprintf("number %d", a.Number)
}

func withWatts(r *recording.Recording) string {
	if len(r.Sources(recording.Power)) > 0 {
		return " with watts"
	}
	return ""
}

// OpenRecording is ReadRecording of a file on disk.
func OpenRecording(name string) (*recording.Recording, []string, error) {
	f, err := OpenFile(name)
	if err != nil {
		return nil, nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, recording.MaxStored+1))
	if err != nil {
		return nil, nil, problem.Bad("%s: cannot be read to its end: %v", name, err)
	}
	if len(data) > recording.MaxStored {
		return nil, nil, problem.Bad("%s: is larger than %d MB; expected a recording", name, recording.MaxStored>>20)
	}
	return ReadRecording(name, data)
}
