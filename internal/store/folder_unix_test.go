//go:build unix

package store

import (
	"io/fs"
	"os"
	"path/filepath"
	"syscall"
	"testing"
)

func modes(t *testing.T, dir string) {
	t.Helper()
	n := 0
	err := filepath.WalkDir(dir, func(path string, e fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		info, err := e.Info()
		if err != nil {
			return err
		}
		want := fs.FileMode(0o600)
		if e.IsDir() {
			want = 0o700
		}
		if info.Mode().Perm() != want {
			t.Errorf("%s is %v, want %v", path, info.Mode(), want)
		}
		n++
		return nil
	})
	if err != nil || n < 3 {
		t.Errorf("%d files, %v", n, err)
	}
}

// The mask is that of the whole process: no test of this package runs beside.
func TestOwnerOnlyWhateverTheMask(t *testing.T) {
	for _, mask := range []int{0, 0o022, 0o277} {
		dir := filepath.Join(t.TempDir(), "data")
		old := syscall.Umask(mask)
		s, err := Open(ctx, dir)
		if err == nil {
			mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"})
			modes(t, dir) // the log included
			mustClose(t, s)
		}
		syscall.Umask(old)
		if err != nil {
			t.Fatalf("mask %o: %v", mask, err)
		}
		modes(t, dir)
	}
}

func TestAFolderOpenToOthersIsClosed(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "data")
	mustClose(t, mustOpen(t, dir))
	for _, path := range []string{dir, filepath.Join(dir, databaseFile), filepath.Join(dir, lockFile)} {
		if err := os.Chmod(path, 0o755); err != nil {
			t.Fatal(err)
		}
	}
	mustClose(t, mustOpen(t, dir))
	modes(t, dir)
}

func TestSomebodysFolderIsNotTouched(t *testing.T) {
	dir := t.TempDir()
	file := filepath.Join(dir, "letter.txt")
	if err := os.WriteFile(file, nil, 0o644); err != nil {
		t.Fatal(err)
	}
	_, err := Open(ctx, dir)
	isSentence(t, err, "has other things in it")
	if info, err := os.Stat(dir); err != nil || info.Mode().Perm() == 0o700 {
		t.Errorf("%v %v", info, err)
	}
	_, err = Open(ctx, file)
	isSentence(t, err, "is a file")
}
