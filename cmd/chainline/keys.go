package main

import (
	"io"

	"golang.org/x/term"
)

// readKeys reads single keys of a terminal until stop is called, which puts
// the terminal back as it was. Ctrl-C arrives as a key like any other.
func readKeys(fd int, in io.Reader) (keys <-chan byte, stop func(), err error) {
	before, err := term.MakeRaw(fd)
	if err != nil {
		return nil, nil, err
	}
	out := make(chan byte)
	done := make(chan bool)
	go func() {
		defer close(out)
		b := make([]byte, 1)
		for {
			if n, err := in.Read(b); n == 0 || err != nil {
				return
			}
			select {
			case out <- b[0]:
			case <-done:
				return
			}
		}
	}()
	return out, func() {
		close(done)
		_ = term.Restore(fd, before) // the terminal is the shell's again either way
	}, nil
}
