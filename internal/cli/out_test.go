//go:build unix

package cli

import (
	"context"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
)

// small is a brief that is quickly made.
func small(t *testing.T) []string {
	return append(append([]string{"brief"}, demoRider("regular")...), "--course", file(t, "level.csv", "distance_m,elevation_m\n0,0\n3000,0\n"), "--draws", "20")
}

// Where nothing can be written is said before anything is computed, and leaves
// no trace.
func TestOutIsLookedAtFirst(t *testing.T) {
	dir := t.TempDir()
	if err := os.Symlink("loop", filepath.Join(dir, "loop")); err != nil {
		t.Skip(err)
	}
	if err := os.WriteFile(filepath.Join(dir, "plain.txt"), []byte("kept"), 0o644); err != nil {
		t.Fatal(err)
	}
	for out, want := range map[string]struct {
		code int
		says string
	}{
		dir:                                {2, "--out: " + dir + " is a folder; expected the name of a file"},
		filepath.Join(dir, "new") + "/":    {2, "is a folder"},
		filepath.Join(dir, "no", "b.html"): {1, "b.html: could not be written; expected a place where you may write"},
		filepath.Join(dir, "plain.txt", "b.html"):    {1, "could not be written"},
		filepath.Join(dir, "loop"):                   {1, "could not be written"},
		"/dev/fd/9999":                               {1, "could not be written"},
		filepath.Join(dir, strings.Repeat("x", 300)): {1, "could not be written"},
	} {
		r := chainline(context.Background(), 2, true, append(small(t), "--out", out)...)
		if r.code != want.code || !strings.Contains(r.err, want.says) || strings.Contains(r.err, "\x1b") || r.out != "" {
			t.Errorf("--out %s: exit %d, %q (anything shown before would be progress)", out, r.code, r.err)
		}
	}
	if left, _ := os.ReadDir(dir); len(left) != 2 {
		t.Errorf("%d files left", len(left))
	}
}

// Who may read a new file is for the umask to say.
func TestOutHonoursTheUmask(t *testing.T) {
	args := small(t)
	before := syscall.Umask(0)
	defer syscall.Umask(before)
	for _, umask := range []int{0o077, 0o022, 0o002, 0} {
		syscall.Umask(umask)
		out := filepath.Join(t.TempDir(), "b.txt")
		if r := run(append(args, "--out", out)...); r.code != 0 {
			t.Fatalf("%+v", r)
		}
		info, err := os.Stat(out)
		if want := os.FileMode(0o666 &^ umask); err != nil || info.Mode().Perm() != want {
			t.Errorf("umask %03o: %v, %v, want %v", umask, info.Mode(), err, want)
		}
	}
}

// A name of a stream is that stream: what was in the file behind it stays.
func TestOutToAnOpenStream(t *testing.T) {
	if _, err := os.Stat("/dev/fd/0"); err != nil {
		t.Skip(err)
	}
	args := small(t)
	want := run(args...)
	link := filepath.Join(t.TempDir(), "link")
	if err := os.Symlink("/dev/stdout", link); err != nil {
		t.Skip(err)
	}
	for _, out := range []string{"/dev/stdout", "/dev/fd/1", link} {
		if r := run(append(args, "--out", out)...); r.code != 0 || r.out != want.out || r.err != "" {
			t.Errorf("%s: exit %d, %d bytes, want %d; %q", out, r.code, len(r.out), len(want.out), r.err)
		}
	}
	if r := run(append(args, "--out", "/dev/stderr")...); r.code != 0 || r.err != want.out || r.out != "" {
		t.Errorf("/dev/stderr: exit %d, %d and %d bytes", r.code, len(r.out), len(r.err))
	}
	log := filepath.Join(t.TempDir(), "log")
	f, err := os.OpenFile(log, os.O_CREATE|os.O_WRONLY|os.O_APPEND, 0o600)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	fmt.Fprintln(f, "what was there")
	if r := run(append(args, "--out", fmt.Sprintf("/dev/fd/%d", f.Fd()))...); r.code != 0 {
		t.Errorf("%+v", r)
	}
	fmt.Fprintln(f, "what came after")
	if got, _ := os.ReadFile(log); string(got) != "what was there\n"+want.out+"what came after\n" {
		t.Errorf("the log holds %q", got)
	}
}

// Pipes and devices are written to as they stand.
func TestOutToPipeAndDevice(t *testing.T) {
	args := small(t)
	want := run(args...)
	pipe := filepath.Join(t.TempDir(), "pipe")
	if err := syscall.Mkfifo(pipe, 0o600); err != nil {
		t.Skip(err)
	}
	got := make(chan string)
	go func() {
		f, err := os.Open(pipe)
		if err != nil {
			got <- err.Error()
			return
		}
		defer f.Close()
		text, _ := io.ReadAll(f)
		got <- string(text)
	}()
	if r := run(append(args, "--out", pipe)...); r.code != 0 {
		t.Fatalf("%+v", r)
	}
	if text := <-got; text != want.out {
		t.Errorf("%d bytes through the pipe, want %d", len(text), len(want.out))
	}
	if r := run(append(args, "--out", os.DevNull)...); r.code != 0 || r.out != "" {
		t.Errorf("%+v", r)
	}
	if info, err := os.Stat(os.DevNull); err != nil || info.Mode().IsRegular() {
		t.Error("the device was replaced")
	}
}

// A link to a file that is not there yet makes that file.
func TestOutThroughALinkToNothing(t *testing.T) {
	dir := t.TempDir()
	link := filepath.Join(dir, "link.txt")
	if err := os.Symlink("later.txt", link); err != nil {
		t.Skip(err)
	}
	if r := run(append(small(t), "--out", link)...); r.code != 0 {
		t.Fatalf("%+v", r)
	}
	if info, err := os.Lstat(link); err != nil || info.Mode()&os.ModeSymlink == 0 {
		t.Error("the link is no link any more")
	}
	if text, err := os.ReadFile(filepath.Join(dir, "later.txt")); err != nil || len(text) == 0 {
		t.Error(err)
	}
}
