package fitfile

import (
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// samples are the FIT files carried inside the FIT library's own module; they
// are read from the module cache and never copied, for their licence is not
// this program's.
func samples(t testing.TB) map[string][]byte {
	t.Helper()
	out, err := exec.Command("go", "list", "-m", "-f", "{{.Dir}}", "github.com/muktihari/fit").Output()
	if err != nil {
		t.Fatalf("go list: %v", err)
	}
	root := filepath.Join(strings.TrimSpace(string(out)), "testdata")
	found := map[string][]byte{}
	err = filepath.WalkDir(root, func(path string, d os.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(path, ".fit") {
			return err
		}
		name, _ := filepath.Rel(root, path)
		found[filepath.ToSlash(name)], err = os.ReadFile(path)
		return err
	})
	if err != nil || len(found) < 20 {
		t.Fatalf("%d samples below %s: %v", len(found), root, err)
	}
	return found
}

func TestSmoke(t *testing.T) {
	for name, data := range samples(t) {
		rides, losses, err := DecodeActivity(data, name)
		t.Log(name, err)
		for _, r := range rides {
			rec := r.Recording
			t.Log("   ", r.Number, rec.Sport, rec.StartUnix, rec.ZoneSeconds, rec.Whole, rec.End(), len(rec.Marks), rec.Used)
			for _, c := range rec.Channels {
				t.Log("        ", c.Quantity, c.Source, len(c.Seconds), c.Seconds[0], c.Values[0], c.Values[len(c.Values)/2])
			}
		}
		for _, l := range losses {
			t.Log("   -", l)
		}
	}
}
