package render

import (
	"bytes"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"unicode/utf8"

	"chainline/brief"
)

func textOf(t *testing.T, b brief.Brief, o TextOptions) string {
	t.Helper()
	var s bytes.Buffer
	if err := Text(&s, b, o); err != nil {
		t.Fatal(err)
	}
	return s.String()
}

func TestTextFitsEightyColumns(t *testing.T) {
	for name, b := range everyBrief() {
		text := textOf(t, b, TextOptions{})
		if *outFolder != "" {
			if err := os.WriteFile(filepath.Join(*outFolder, name+".txt"), []byte(text), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		if strings.ContainsAny(text, "\x1b\r\t") {
			t.Errorf("%s: control characters in plain text", name)
		}
		for i, line := range strings.Split(text, "\n") {
			if n := utf8.RuneCountInString(line); n > 80 {
				t.Errorf("%s: line %d has %d characters: %s", name, i+1, n, line)
			}
		}
	}
}
