package store

import (
	"errors"
	"fmt"
	"net/url"
	"os"
	"path/filepath"
	"runtime"
	"strings"

	"chainline/internal/problem"
)

const appFolder = "chainline"

// DefaultDir is the data folder when nobody names one: in the folder for data
// that XDG_DATA_HOME names, else where the system keeps a user's data. env is
// os.Getenv.
func DefaultDir(env func(string) string) (string, error) {
	// The XDG base directory specification: a relative path is to be ignored.
	if d := env("XDG_DATA_HOME"); filepath.IsAbs(d) {
		return filepath.Join(d, appFolder), nil
	}
	home := env("HOME")
	switch runtime.GOOS {
	case "windows":
		if d := env("LocalAppData"); filepath.IsAbs(d) {
			return filepath.Join(d, appFolder), nil
		}
		home = ""
	case "darwin":
		if filepath.IsAbs(home) {
			return filepath.Join(home, "Library", "Application Support", appFolder), nil
		}
	}
	if !filepath.IsAbs(home) {
		return "", problem.Bad("there is no home folder to keep data in").WithHint("Name the data folder.")
	}
	return filepath.Join(home, ".local", "share", appFolder), nil
}

// prepareFolder creates the folder for its owner alone, or closes one that is
// there to others if it is empty or ours. Somebody's folder of other things is
// not touched.
func prepareFolder(dir string) error {
	if dir == "" {
		return problem.Bad("the data folder has no name")
	}
	info, err := os.Stat(dir)
	if errors.Is(err, os.ErrNotExist) {
		if err := os.MkdirAll(filepath.Dir(dir), 0o755); err != nil {
			return folderError(dir, err)
		}
		if err := os.Mkdir(dir, 0o700); err != nil && !errors.Is(err, os.ErrExist) {
			return folderError(dir, err)
		}
		info, err = os.Stat(dir)
	}
	switch {
	case err != nil:
		return folderError(dir, err)
	case !info.IsDir():
		return problem.Bad("%s is a file; the data folder must be a folder", dir)
	case info.Mode().Perm() == 0o700 || runtime.GOOS == "windows": // there a profile's rights are inherited
		return nil
	}
	if ours, err := oursOrEmpty(dir); err != nil || !ours {
		if err != nil {
			return folderError(dir, err)
		}
		return problem.Bad("%s is open to others and has other things in it", dir).WithHint("Give an empty folder or one that does not exist yet.")
	}
	if err := os.Chmod(dir, 0o700); err != nil {
		return folderError(dir, fmt.Errorf("it cannot be closed to others: %w", err))
	}
	return nil
}

// oursOrEmpty says whether closing the folder to others hurts nobody.
func oursOrEmpty(dir string) (bool, error) {
	entries, err := os.ReadDir(dir)
	if errors.Is(err, os.ErrPermission) {
		return true, nil // a fresh folder under a strict umask; chmod decides
	}
	if err != nil || len(entries) == 0 {
		return err == nil, err
	}
	for _, e := range entries {
		if e.Name() == databaseFile || e.Name() == lockFile {
			return true, nil
		}
	}
	return false, nil
}

// fileURI is a path as SQLite wants it before its parameters: question and
// number signs in names of folders must not end it.
func fileURI(path string) string {
	p := filepath.ToSlash(path)
	if !strings.HasPrefix(p, "/") && filepath.IsAbs(path) {
		p = "/" + p // C:/Users/...
	}
	return "file:" + (&url.URL{Path: p}).EscapedPath()
}

func (s *Store) path() string { return filepath.Join(s.dir, databaseFile) }
