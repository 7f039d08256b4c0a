package service

import (
	"bytes"
	"errors"
	"io"
	"path/filepath"
	"syscall"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/recording"
)

func refused(err error) bool { return errors.Is(err, syscall.ECONNREFUSED) }

// ReadRecording reads what a device or this program recorded: a FIT activity
// or a stored recording. Losses say what could not be read.
func ReadRecording(name string, data []byte) (rec *recording.Recording, losses []string, err error) {
	name = problem.OneLine(filepath.Base(name))
	switch {
	case len(data) >= 12 && string(data[8:12]) == ".FIT":
		rides, lost, err := fitfile.DecodeActivity(data, name)
		if err != nil {
			return nil, nil, err
		}
		for _, l := range lost {
			losses = append(losses, name+": "+l.String())
		}
		longest := 0
		for i := range rides {
			if rides[i].Recording.End() > rides[longest].Recording.End() {
				longest = i
			}
		}
		if len(rides) > 1 {
			losses = append(losses, name+": holds several rides; the longest is looked at")
		}
		return &rides[longest].Recording, losses, nil
	case len(data) >= 2 && data[0] == 0x1f && data[1] == 0x8b:
		rec, err := recording.Read(bytes.NewReader(data))
		if err != nil {
			return nil, nil, problem.Bad("%s: %v", name, err)
		}
		return rec, nil, nil
	}
	return nil, nil, problem.Bad("%s: is no recording; expected a FIT activity or a recording of this program", name)
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
