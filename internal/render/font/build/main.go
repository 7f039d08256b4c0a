// Build makes the fonts that pages carry from those that were published:
//
//	npm pack @fontsource/barlow-semi-condensed@5.3.0 && tar xzf fontsource-*.tgz
//	go run ./internal/render/font/build package/files
//
// What changes is the prime, as in W′: it is published with three times the
// width of its ink, so that a hole stands behind it. It is given the room of
// the double prime.
package main

import (
	"fmt"
	"os"
	"path/filepath"

	"chainline/internal/render/font"
)

const out = "internal/render/font"

func main() {
	if len(os.Args) != 2 {
		fmt.Fprintln(os.Stderr, "build: expected the folder with the published fonts")
		os.Exit(2)
	}
	for _, weight := range []int{300, 400, 600} {
		if err := build(os.Args[1], fmt.Sprintf("barlow-semi-condensed-latin-%d-normal.woff", weight)); err != nil {
			fmt.Fprintln(os.Stderr, "build:", err)
			os.Exit(1)
		}
	}
}

func build(from, name string) error {
	file, err := os.ReadFile(filepath.Join(from, name))
	if err != nil {
		return err
	}
	f, err := font.Read(file)
	if err != nil {
		return err
	}
	_, ink := f.Ink('′')
	_, double := f.Ink('″')
	f.SetAdvance('′', ink+f.Advance('″')-double)
	if file, err = f.Bytes(); err != nil {
		return err
	}
	return os.WriteFile(filepath.Join(out, name), file, 0o644)
}
