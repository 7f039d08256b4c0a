package store

import (
	"bytes"
	"errors"
	"os"
	"path/filepath"
	"runtime"
	"strings"
	"testing"
	"time"
)

func TestDefaultDir(t *testing.T) {
	if runtime.GOOS != "linux" {
		t.Skip("the other systems have folders of their own")
	}
	for _, c := range []struct{ xdg, home, want string }{
		{"/x/data", "/home/a", "/x/data/chainline"},
		{"", "/home/a", "/home/a/.local/share/chainline"},
		{"relative", "/home/a", "/home/a/.local/share/chainline"}, // to be ignored, says the specification
	} {
		got, err := DefaultDir(func(name string) string { return map[string]string{"XDG_DATA_HOME": c.xdg, "HOME": c.home}[name] })
		if err != nil || got != c.want {
			t.Errorf("%+v: %q %v", c, got, err)
		}
	}
	_, err := DefaultDir(func(string) string { return "" })
	isSentence(t, err, "no home folder")
}

func TestAFolderInUseIsRefused(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	_, err := Open(ctx, dir)
	isSentence(t, err, "already in use")
	if !errors.Is(err, ErrInUse) {
		t.Errorf("%v", err)
	}
	mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"}) // the first is not disturbed
	mustClose(t, s)
	mustOpen(t, dir)
}

func TestALockFileLeftBehindLocksNobodyOut(t *testing.T) {
	dir := t.TempDir()
	if err := os.WriteFile(filepath.Join(dir, lockFile), []byte("4711"), 0o600); err != nil {
		t.Fatal(err)
	}
	mustOpen(t, dir)
}

func TestOddNamesOfFolders(t *testing.T) {
	for _, name := range []string{"a b", "what?mode=ro", "no#1", "100%25", "ü"} {
		dir := filepath.Join(t.TempDir(), "new", name)
		s := mustOpen(t, dir)
		mustPut(t, s, Object{Kind: Rig, Name: "a", Text: "x"})
		mustClose(t, s)
		if _, err := os.Stat(filepath.Join(dir, databaseFile)); err != nil {
			t.Error(err)
		}
	}
}

// written makes a folder with a closed database and gives the database's path.
func written(t *testing.T) (dir, db string) {
	t.Helper()
	dir = t.TempDir()
	s := mustOpen(t, dir)
	club(t, s)
	mustClose(t, s)
	return dir, filepath.Join(dir, databaseFile)
}

func mustRead(tb testing.TB, path string) []byte {
	tb.Helper()
	b, err := os.ReadFile(path)
	if err != nil {
		tb.Fatal(err)
	}
	return b
}

// refused opens the folder in vain and sees that the database stays to the byte.
func refused(t *testing.T, dir string, want error, words string) {
	t.Helper()
	db := filepath.Join(dir, databaseFile)
	before := mustRead(t, db)
	s, err := Open(ctx, dir)
	if err == nil {
		mustClose(t, s)
		t.Fatal("it was opened")
	}
	isSentence(t, err, words)
	if !errors.Is(err, want) {
		t.Errorf("%v is not %v", err, want)
	}
	if !bytes.Equal(before, mustRead(t, db)) {
		t.Error("the database was changed")
	}
}

func TestADatabaseFromTheFutureIsLeftAlone(t *testing.T) {
	dir, _ := written(t)
	s := mustOpen(t, dir)
	if _, err := s.write.Exec("PRAGMA user_version = 99; CREATE TABLE news (x)"); err != nil {
		t.Fatal(err)
	}
	// Killed: the new number stands only in the log.
	killed := t.TempDir()
	for _, end := range []string{"", "-wal"} {
		copyFile(t, filepath.Join(dir, databaseFile)+end, filepath.Join(killed, databaseFile)+end)
	}
	mustClose(t, s)
	refused(t, dir, ErrNewer, "newer Chainline (schema 99")
	refused(t, dir, ErrNewer, "newer Chainline") // the lock was given back
	log := filepath.Join(killed, databaseFile) + "-wal"
	before := mustRead(t, log)
	refused(t, killed, ErrNewer, "newer Chainline (schema 99")
	if !bytes.Equal(before, mustRead(t, log)) {
		t.Error("the log was changed")
	}
}

func TestADamagedDatabaseIsLeftAlone(t *testing.T) {
	for name, damage := range map[string]func([]byte) []byte{
		"no database":        func([]byte) []byte { return []byte(strings.Repeat("Dear diary, ", 1000)) },
		"a short one":        func([]byte) []byte { return []byte("Dear diary") },
		"cut":                func(b []byte) []byte { return b[:len(b)/2] },
		"page of noise":      func(b []byte) []byte { copy(b[4096+8:8192], bytes.Repeat([]byte{0xa7}, 4096)); return b },
		"of another program": func(b []byte) []byte { copy(b[68:], "othr"); return b },
		"zeros":              func(b []byte) []byte { return make([]byte, len(b)) },
	} {
		t.Run(name, func(t *testing.T) {
			dir, db := written(t)
			if err := os.WriteFile(db, damage(mustRead(t, db)), 0o600); err != nil {
				t.Fatal(err)
			}
			refused(t, dir, ErrDamaged, "left as it is")
		})
	}
}

func TestSettingsVisitsAttempts(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	now := noon
	clock := func() time.Time { return now }
	s.Now = clock
	must := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	must(s.SetSetting(ctx, "units", "metric"))
	must(s.SetSetting(ctx, "units", "imperial"))
	must(s.SetSetting(ctx, "theme", "dark"))
	must(s.SetSetting(ctx, "theme", ""))
	must(s.PutVisit(ctx, "h1", noon.Add(time.Hour)))
	must(s.PutVisit(ctx, "h2", noon.Add(2*time.Hour)))
	for range 3 {
		must(s.AddAttempt(ctx, "here"))
		now = now.Add(10 * time.Minute)
	}
	must(s.AddAttempt(ctx, "there"))
	mustClose(t, s)
	s = mustOpen(t, dir)
	s.Now = clock
	setting := func(key, want string) {
		t.Helper()
		if got, err := s.Setting(ctx, key); err != nil || got != want {
			t.Errorf("%s is %q, %v", key, got, err)
		}
	}
	setting("units", "imperial")
	setting("theme", "")
	attempts := func(from string, within time.Duration, want int) {
		t.Helper()
		if got, err := s.Attempts(ctx, from, within); err != nil || got != want {
			t.Errorf("%d attempts from %q in %v, %v; want %d", got, from, within, err, want)
		}
	}
	attempts("here", time.Hour, 3)
	attempts("here", 15*time.Minute, 1)
	attempts("", time.Hour, 4)
	must(s.ClearAttempts(ctx, "here"))
	attempts("", time.Hour, 1)
	visit := func(hash string, there bool) {
		t.Helper()
		v, err := s.Visit(ctx, hash)
		if there != (err == nil) || !there && !errors.Is(err, ErrNotFound) || there && v.Hash != hash {
			t.Errorf("visit %s: %+v %v", hash, v, err)
		}
	}
	visit("h1", true)
	now = noon.Add(time.Hour)
	visit("h1", false)
	visit("h2", true)
	must(s.PutVisit(ctx, "h3", now.Add(time.Hour)))
	if n := len(visitsKept(t, s)); n != 2 {
		t.Errorf("%d visits are kept; the one that expired should be gone", n)
	}
	must(s.DeleteVisit(ctx, "h2"))
	visit("h2", false)
	must(s.DeleteVisits(ctx))
	visit("h3", false)
	now = noon.Add(48 * time.Hour)
	must(s.AddAttempt(ctx, "x"))
	attempts("", 100*time.Hour, 1)
}

func visitsKept(t *testing.T, s *Store) (all []string) {
	t.Helper()
	rows, err := s.read.Query("SELECT hash FROM visits")
	if err != nil {
		t.Fatal(err)
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var h string
		if err := rows.Scan(&h); err != nil {
			t.Fatal(err)
		}
		all = append(all, h)
	}
	return all
}
