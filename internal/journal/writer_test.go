package journal

import (
	"bytes"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"path/filepath"
	"sync"
	"testing"
	"testing/synctest"
	"time"
)

// fakeDisk is a disk in memory that can fail. What a file keeps through a
// loss of power is what the last good sync saw.
type fakeDisk struct {
	mu       sync.Mutex
	files    map[string]*fakeFile
	full     bool // writes arrive half and fail
	badSync  bool // fsync fails and drops what was written since the last
	noFolder bool // nothing can be created, nothing is there
}

func (d *fakeDisk) fail(full, badSync bool) {
	d.mu.Lock()
	defer d.mu.Unlock()
	d.full, d.badSync = full, badSync
}

type fakeFile struct {
	disk          *fakeDisk
	bytes, synced []byte
	unreadable    bool
	syncs         int
}

var errDisk = errors.New("no space left on device")

func newFakeDisk() *fakeDisk { return &fakeDisk{files: map[string]*fakeFile{}} }

func (d *fakeDisk) create(path string) (file, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.noFolder {
		return nil, os.ErrNotExist
	}
	if d.files[path] != nil {
		return nil, os.ErrExist
	}
	d.files[path] = &fakeFile{disk: d}
	return d.files[path], nil
}

func (d *fakeDisk) same(path string, open file) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.files[path] != open {
		return os.ErrNotExist
	}
	return nil
}

func (d *fakeDisk) remove(path string) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	delete(d.files, path)
	return nil
}

func (f *fakeFile) WriteAt(b []byte, at int64) (int, error) {
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	n, err := len(b), error(nil)
	if f.disk.full {
		n, err = n/2, errDisk
		if at > int64(len(f.synced)) {
			clear(f.bytes[max(len(f.synced), int(at)-10):at]) // a torn sector
		}
	}
	if grow := int(at) + n - len(f.bytes); grow > 0 {
		f.bytes = append(f.bytes, make([]byte, grow)...)
	}
	copy(f.bytes[at:], b[:n])
	return n, err
}

func (f *fakeFile) ReadAt(b []byte, at int64) (int, error) {
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	if f.unreadable {
		return 0, errors.New("stale")
	}
	return copy(b, f.bytes[at:]), nil
}

func (f *fakeFile) Sync() error {
	f.disk.mu.Lock()
	defer f.disk.mu.Unlock()
	if f.disk.badSync {
		f.bytes = bytes.Clone(f.synced)
		return errDisk
	}
	f.synced = bytes.Clone(f.bytes)
	f.syncs++
	return nil
}

func (f *fakeFile) Close() error { return nil }

func fakeWriter(t *testing.T) (*fakeDisk, *Writer) {
	t.Helper()
	d := newFakeDisk()
	w, err := create(d, "a", Header{Segment: 1, Identity: ride, First: 1})
	if err != nil {
		t.Fatal(err)
	}
	return d, w
}

// onDisk is what a loss of power now would leave of a segment.
func onDisk(t *testing.T, d *fakeDisk, name string, want int) {
	t.Helper()
	d.mu.Lock()
	synced := d.files[name].synced
	d.mu.Unlock()
	c := read(t, synced)
	nothingInvented(t, name, c.Records)
	if len(c.Records) != want || len(c.Damage) != 0 {
		t.Fatalf("%s: %d records on the disk, want %d; damage %v", name, len(c.Records), want, c.Damage)
	}
}

// TestSyncsEachSecond: the clock here is synctest's.
func TestSyncsEachSecond(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d, w := fakeWriter(t)
		w.Start(time.Second)
		f := d.files["a"]
		appendTo(t, w, 1, 5)
		synctest.Wait()
		if c := read(t, f.bytes); len(c.Records) != 5 {
			t.Errorf("the system was handed %d records at once, want 5", len(c.Records))
		}
		onDisk(t, d, "a", 0)
		time.Sleep(time.Second + time.Millisecond)
		onDisk(t, d, "a", 5)
		synctest.Wait()
		before := f.syncs
		for seq := uint64(6); seq <= 605; seq++ { // a minute at ten a second
			appendTo(t, w, seq, seq)
			time.Sleep(100 * time.Millisecond)
		}
		synctest.Wait()
		if n := f.syncs - before; n != 60 {
			t.Errorf("%d syncs in a minute, want 60", n)
		}
		appendTo(t, w, 606, 606)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		onDisk(t, d, "a", 606)
		if err := w.Append(nil); !errors.Is(err, ErrClosed) {
			t.Errorf("appended to a closed journal: %v", err)
		}
		if err := w.Close(); err != nil {
			t.Errorf("closed twice: %v", err)
		}
	})
}

func TestDiskFullForAMinute(t *testing.T) {
	for _, kind := range []string{"full", "fsync fails"} {
		synctest.Test(t, func(t *testing.T) {
			d, w := fakeWriter(t)
			w.Start(time.Second)
			appendTo(t, w, 1, 10)
			time.Sleep(1500 * time.Millisecond)
			appendTo(t, w, 11, 12) // handed to the system, not yet confirmed
			synctest.Wait()
			d.fail(kind == "full", kind != "full")
			for seq := uint64(13); seq <= 70; seq++ {
				appendTo(t, w, seq, seq)
				time.Sleep(time.Second)
			}
			synctest.Wait()
			if w.Err() == nil || w.Unsynced() == 0 {
				t.Fatalf("%s: err %v, %d unsynced", kind, w.Err(), w.Unsynced())
			}
			select {
			case err := <-w.Errors():
				if !errors.Is(err, errDisk) {
					t.Error(err)
				}
			default:
				t.Errorf("%s: nobody is told", kind)
			}
			if err := w.Close(); err == nil {
				t.Errorf("%s: closed with records that are not on the disk", kind)
			}
			onDisk(t, d, "a", 10)
			d.fail(false, false)
			time.Sleep(time.Second)
			synctest.Wait()
			if w.Err() != nil || w.Unsynced() != 0 {
				t.Errorf("%s: err %v, %d unsynced after it was over", kind, w.Err(), w.Unsynced())
			}
			appendTo(t, w, 71, 71)
			if err := w.Close(); err != nil {
				t.Fatal(err)
			}
			onDisk(t, d, "a", 71)
		})
	}
}

func TestMemoryIsBounded(t *testing.T) {
	d, w := fakeWriter(t)
	d.full = true
	big := make([]byte, MaxRecord)
	if err := w.Append(make([]byte, MaxRecord+1)); err == nil {
		t.Error("a record above the limit was taken")
	}
	took := 0
	for range 6 {
		switch err := w.Append(big); {
		case err == nil:
			took++
		case !errors.Is(err, ErrFull):
			t.Fatal(err)
		}
	}
	if took != 3 || w.Unsynced() > MaxUnsynced {
		t.Fatalf("%d records, %d bytes in memory", took, w.Unsynced())
	}
	if err := w.Append([]byte("x")); err != nil { // a small one still finds room
		t.Fatal(err)
	}
	d.full = false
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	c := read(t, d.files["a"].synced)
	if len(c.Records) != 4 || c.Records[3].Sequence != 7 || len(c.Damage) != 1 {
		t.Fatalf("%d records, damage %v", len(c.Records), c.Damage)
	}
	if n, known := c.Damage[0].Lost(); n != 3 || !known {
		t.Errorf("%d lost, known %v, want the 3 refused", n, known)
	}
}

func TestFileTakenAway(t *testing.T) {
	t.Run("and the folder comes back", func(t *testing.T) {
		d, w := fakeWriter(t)
		appendTo(t, w, 1, 5)
		if err := w.Sync(); err != nil {
			t.Fatal(err)
		}
		delete(d.files, "a")
		d.noFolder = true
		appendTo(t, w, 6, 9)
		if err := w.Sync(); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("the folder is gone: %v", err)
		}
		d.noFolder, d.full = false, true
		if err := w.Sync(); err == nil || len(d.files) != 0 {
			t.Fatalf("an attempt on a full disk: %v, left %d files", err, len(d.files))
		}
		d.full = false
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		onDisk(t, d, "a", 9)
	})
	t.Run("and what it held cannot be read", func(t *testing.T) {
		d, w := fakeWriter(t)
		appendTo(t, w, 1, 5)
		if err := w.Sync(); err != nil {
			t.Fatal(err)
		}
		d.files["a"].unreadable = true
		delete(d.files, "a")
		appendTo(t, w, 6, 9)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if c := read(t, d.files["a.2"].synced); len(c.Records) != 4 || c.Header.First != 6 || c.Header.Segment != 2 {
			t.Fatalf("%d records, %+v", len(c.Records), c.Header)
		}
	})
	t.Run("and another has its name", func(t *testing.T) {
		d, w := fakeWriter(t)
		appendTo(t, w, 1, 5)
		if err := w.Sync(); err != nil {
			t.Fatal(err)
		}
		stranger := &fakeFile{disk: d, bytes: []byte("mine")}
		d.files["a"], d.files["a.2"] = stranger, stranger
		appendTo(t, w, 6, 9)
		if err := w.Close(); err != nil {
			t.Fatal(err)
		}
		if string(stranger.bytes) != "mine" {
			t.Error("a stranger's file was written to")
		}
		if c := read(t, d.files["a.3"].synced); len(c.Records) != 4 {
			t.Fatalf("%d records", len(c.Records))
		}
	})
}

// TestPowerLoss: after the last good sync the disk has kept some sectors, not
// others, perhaps with a longer file and nothing in it. What was synced is
// there, nothing is invented.
func TestPowerLoss(t *testing.T) {
	random := rand.New(rand.NewPCG(5, 3))
	after := 0 // records found that were never synced
	for round := range 500 {
		d, w := fakeWriter(t)
		synced := uint64(0)
		for seq := uint64(1); seq <= 60; seq++ {
			appendTo(t, w, seq, seq)
			switch {
			case random.IntN(20) == 0:
				if err := w.Sync(); err != nil {
					t.Fatal(err)
				}
				synced = seq
			case random.IntN(3) == 0:
				w.write()
			}
		}
		f := d.files["a"]
		left := bytes.Clone(f.bytes)
		for at := len(f.synced); at < len(left); at = (at/512 + 1) * 512 {
			if random.IntN(2) == 0 {
				clear(left[at:min((at/512+1)*512, len(left))])
			}
		}
		if random.IntN(3) == 0 {
			left = left[:len(f.synced)+random.IntN(len(left)-len(f.synced)+1)]
		}
		c := read(t, left)
		nothingInvented(t, fmt.Sprint("round ", round), c.Records)
		for i := range synced {
			if i >= uint64(len(c.Records)) || c.Records[i].Sequence != i+1 {
				t.Fatalf("round %d: record %d was synced and is not there; damage %v", round, i+1, c.Damage)
			}
		}
		after += len(c.Records) - int(synced)
	}
	if after == 0 {
		t.Error("no round left anything behind the last sync: this test tests nothing")
	}
}

func TestLongRideRolls(t *testing.T) {
	d, w := fakeWriter(t)
	w.limit = 500
	for seq := uint64(1); seq <= 60; seq++ {
		appendTo(t, w, seq, seq)
		if err := w.Sync(); err != nil {
			t.Fatal(err)
		}
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	seen := uint64(0)
	for n := 1; n <= len(d.files); n++ {
		c := read(t, d.files[segmentPath("a", n)].synced)
		for _, r := range c.Records {
			if seen++; r.Sequence != seen {
				t.Fatalf("record %d, want %d", r.Sequence, seen)
			}
		}
	}
	if seen != 60 || len(d.files) < 4 {
		t.Errorf("%d records in %d segments", seen, len(d.files))
	}
}

// TestFolderRemoved is the same on the real file system.
func TestFolderRemoved(t *testing.T) {
	dir := filepath.Join(t.TempDir(), "rides")
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	path := filepath.Join(dir, "a")
	w, err := Create(path, ride)
	if err != nil {
		t.Fatal(err)
	}
	appendTo(t, w, 1, 5)
	if err := w.Sync(); err != nil {
		t.Fatal(err)
	}
	if err := os.RemoveAll(dir); err != nil {
		t.Skip("this system does not remove an open file:", err)
	}
	appendTo(t, w, 6, 9)
	if err := w.Sync(); !errors.Is(err, os.ErrNotExist) {
		t.Fatalf("nobody is told that the folder is gone: %v", err)
	}
	if err := os.Mkdir(dir, 0o700); err != nil {
		t.Fatal(err)
	}
	if err := w.Close(); err != nil {
		t.Fatal(err)
	}
	r, err := Recover(path)
	if err != nil || len(r.Records) != 9 || len(r.Damage) != 0 {
		t.Fatalf("%v, %+v", err, r)
	}
}

// BenchmarkAppend is what the engine waits for.
func BenchmarkAppend(b *testing.B) {
	w, err := Create(filepath.Join(b.TempDir(), "a"), ride)
	if err != nil {
		b.Fatal(err)
	}
	w.Start(time.Second)
	record := bytes.Repeat([]byte("x"), 200)
	for b.Loop() {
		if err := w.Append(record); errors.Is(err, ErrFull) {
			_ = w.Sync()
		} else if err != nil {
			b.Fatal(err)
		}
	}
	_ = w.Abandon()
}
