package cli

import (
	"os"
	"path/filepath"
)

// usualMode is for a file that was not there.
const usualMode = 0o644

// replaceFile puts data where name is, whole or not at all: a temporary file
// beside it, synced, renamed, and the folder synced. A link stays a link, and a
// file keeps who may read it.
func replaceFile(name string, data []byte) error {
	if target, err := filepath.EvalSymlinks(name); err == nil {
		name = target
	}
	mode := os.FileMode(usualMode)
	if info, err := os.Stat(name); err == nil {
		if !info.Mode().IsRegular() {
			return writeDevice(name, data)
		}
		mode = info.Mode().Perm()
	}
	dir := filepath.Dir(name)
	f, err := os.CreateTemp(dir, ".chainline-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name()) // gone already when the rename succeeded
	if _, err = f.Write(data); err == nil {
		err = f.Chmod(mode)
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

// writeDevice writes to a device or a pipe (/dev/stdout), which is not replaced.
func writeDevice(name string, data []byte) error {
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
