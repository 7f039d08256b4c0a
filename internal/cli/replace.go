package cli

import (
	"os"
	"path/filepath"
)

// replaceFile puts data where name is, whole or not at all: a temporary file
// beside it, synced, renamed, and the folder synced.
func replaceFile(name string, data []byte) error {
	if info, err := os.Lstat(name); err == nil && !info.Mode().IsRegular() {
		// A device or a pipe (/dev/stdout) is written to, not replaced.
		f, err := os.OpenFile(name, os.O_WRONLY, 0)
		if err != nil {
			return err
		}
		if _, err = f.Write(data); err != nil {
			_ = f.Close()
			return err
		}
		return f.Close()
	}
	dir := filepath.Dir(name)
	f, err := os.CreateTemp(dir, ".chainline-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already when the rename succeeded
	if _, err = f.Write(data); err == nil {
		err = f.Chmod(0o644)
	}
	if err == nil {
		err = f.Sync()
	}
	if e := f.Close(); err == nil {
		err = e
	}
	if err == nil {
		err = os.Rename(f.Name(), name)
	}
	if err != nil {
		return err
	}
	if d, err := os.Open(dir); err == nil {
		defer d.Close()
		_ = d.Sync() // some file systems cannot; the file itself is safe
	}
	return nil
}
