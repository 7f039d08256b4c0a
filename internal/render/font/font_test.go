package font_test

import (
	"bytes"
	"os"
	"path/filepath"
	"testing"

	"chainline/internal/render/font"
)

func fonts(t *testing.T) map[string]*font.Font {
	t.Helper()
	paths, err := filepath.Glob("*.woff")
	if err != nil || len(paths) != 3 {
		t.Fatal(paths, err)
	}
	out := map[string]*font.Font{}
	for _, p := range paths {
		file, err := os.ReadFile(p)
		if err != nil {
			t.Fatal(err)
		}
		if out[p], err = font.Read(file); err != nil {
			t.Fatal(p, err)
		}
	}
	return out
}

// No character that is written behind another one leaves a hole: the prime in
// W′ did, as it was published.
func TestNoHoleBehindACharacter(t *testing.T) {
	for name, f := range fonts(t) {
		for _, c := range "′″’‘“”°²³%abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ0123456789" {
			_, ink := f.Ink(c)
			if room := float64(f.Advance(c)-ink) / float64(f.Em()); room < -0.1 || room > 0.15 || ink == 0 {
				t.Errorf("%s: %.2f em behind %q", name, room, c)
			}
		}
	}
}

// A font that is written and read again is the same but for what was changed.
func TestFontIsWrittenAsRead(t *testing.T) {
	for name, f := range fonts(t) {
		was := f.Advance('W')
		f.SetAdvance('′', 777)
		file, err := f.Bytes()
		if err != nil {
			t.Fatal(err)
		}
		again, err := font.Read(file)
		if err != nil {
			t.Fatal(name, err)
		}
		if again.Advance('′') != 777 || again.Advance('W') != was || !again.Has('W') || again.Has('☂') || again.Em() != 1000 {
			t.Errorf("%s: %d %d", name, again.Advance('′'), again.Advance('W'))
		}
		if twice, err := again.Bytes(); err != nil || !bytes.Equal(twice, file) {
			t.Errorf("%s: written twice it differs (%v)", name, err)
		}
	}
}

func FuzzRead(f *testing.F) {
	file, err := os.ReadFile("barlow-semi-condensed-latin-400-normal.woff")
	if err != nil {
		f.Fatal(err)
	}
	f.Add(file)
	f.Add(file[:200])
	f.Fuzz(func(t *testing.T, file []byte) {
		if x, err := font.Read(file); err == nil {
			x.Ink('W')
			x.Advance('W')
		}
	})
}
