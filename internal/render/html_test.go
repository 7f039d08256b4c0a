package render

import (
	"bytes"
	"flag"
	"os"
	"path/filepath"
	"testing"

	"chainline/brief"
)

var outFolder = flag.String("render.out", "", "folder to write the sample pages to, for looking at them")

func htmlOf(t *testing.T, b brief.Brief) string {
	t.Helper()
	var s bytes.Buffer
	if err := HTML(&s, b); err != nil {
		t.Fatal(err)
	}
	return s.String()
}

func TestSamplePages(t *testing.T) {
	for name, b := range samples() {
		page := htmlOf(t, b)
		if *outFolder != "" {
			if err := os.WriteFile(filepath.Join(*outFolder, name+".html"), []byte(page), 0o644); err != nil {
				t.Fatal(err)
			}
		}
	}
}
