package journal

import (
	"errors"
	"fmt"
	"os"
	"sync"
	"time"
)

// ErrFull is what Append gives when memory already holds MaxUnsynced bytes
// that the disk did not take. The record's number is skipped.
var ErrFull = errors.New("the journal's memory is full of what the disk did not take: this record is lost")

// ErrClosed is what a closed writer gives.
var ErrClosed = errors.New("the journal is closed")

// Writer appends records. All methods may be called from any goroutine.
type Writer struct {
	path   string
	disk   disk
	limit  int64  // bytes after which a new segment begins
	header Header // of the segment that is written

	mu       sync.Mutex // guards what follows; never held during input or output
	next     uint64     // the next record's sequence number
	unsynced []byte     // encoded records the disk has not confirmed, from offset synced on
	starts   []start    // of the records in unsynced
	err      error      // of the last attempt; nil if it went well
	closed   bool

	io      sync.Mutex // one write or sync at a time; guards what follows
	file    file
	synced  int64 // bytes of the segment the disk has confirmed
	written int   // bytes of unsynced that were handed to the system

	wake   chan struct{}
	errs   chan error
	stop   chan struct{}
	done   chan struct{} // closed when the goroutine has ended; nil: none runs
	ending sync.Once
}

type start struct {
	sequence uint64
	at       int64 // offset in the segment
}

// Create makes a new journal, for its owner only; a file that exists is left
// alone and is an error. Nothing is written behind the caller's back until
// Start or Sync is called.
func Create(path string, id Identity) (*Writer, error) {
	return create(osDisk{}, path, Header{Segment: 1, Identity: id, First: 1})
}

// Continue recovers the journal at path and goes on in a new segment. What
// is there is not changed.
func Continue(path string) (*Writer, *Recovered, error) {
	r, err := Recover(path)
	if err != nil {
		return nil, nil, err
	}
	w, err := create(osDisk{}, path, Header{Segment: uint32(r.Segments + 1), Identity: r.Identity, First: r.Last() + 1})
	return w, r, err
}

func create(d disk, path string, h Header) (*Writer, error) {
	w := &Writer{path: path, disk: d, limit: MaxSegment / 2, header: h, next: h.First,
		wake: make(chan struct{}, 1), errs: make(chan error, 1), stop: make(chan struct{})}
	if err := w.open(nil); err != nil {
		return nil, err
	}
	return w, nil
}

func (w *Writer) name() string { return segmentPath(w.path, int(w.header.Segment)) }

// open makes the segment's file with its two headers and, if the segment is
// made again, what it held; all of it is on the disk when open returns.
func (w *Writer) open(held []byte) error {
	f, err := w.disk.create(w.name())
	if err != nil {
		return err
	}
	if held == nil {
		h := w.header.encode()
		held = append(h, h...)
	}
	if _, err = f.WriteAt(held, 0); err == nil {
		err = f.Sync()
	}
	if err != nil { // an attempt that failed leaves no half file of its own behind
		return errors.Join(err, f.Close(), w.disk.remove(w.name()))
	}
	w.file, w.synced, w.written = f, int64(len(held)), 0
	return nil
}

// Append adds a record. It only touches memory, copies b, and never waits for
// the disk. The errors are ErrFull, ErrClosed and a record above MaxRecord.
func (w *Writer) Append(b []byte) error {
	if len(b) > MaxRecord {
		return fmt.Errorf("a journal's record has at most %d bytes, this one has %d", MaxRecord, len(b))
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.closed {
		return ErrClosed
	}
	seq := w.next
	w.next++
	if len(w.unsynced)+recordHead+len(b) > MaxUnsynced {
		return ErrFull
	}
	w.starts = append(w.starts, start{seq, int64(len(w.unsynced))})
	w.unsynced = appendRecord(w.unsynced, w.header.Identity, seq, b)
	select {
	case w.wake <- struct{}{}:
	default:
	}
	return nil
}

// Start runs the writer's goroutine: what is appended is handed to the system
// at once and confirmed by the disk at every tick; a second is meant. It may
// be called once.
func (w *Writer) Start(every time.Duration) {
	w.done = make(chan struct{})
	go func() {
		defer close(w.done)
		tick := time.NewTicker(every)
		defer tick.Stop()
		for {
			select {
			case <-w.stop:
				return
			case <-tick.C:
				_ = w.Sync() // told by Err and Errors
			case <-w.wake:
				w.write()
			}
		}
	}()
}

// write hands what is new to the system without asking the disk. While the
// disk fails only Sync tries, once a tick.
func (w *Writer) write() {
	w.io.Lock()
	defer w.io.Unlock()
	if w.file == nil || w.Err() != nil {
		return
	}
	if _, err := w.flush(); err != nil {
		w.report(err)
	}
}

// flush writes what has not been written; the count is of all of unsynced
// that now is. On an error all of it is written again next time, at the same
// place: nothing depends on how much of it arrived.
func (w *Writer) flush() (int, error) {
	w.mu.Lock()
	all := w.unsynced // its bytes never change
	w.mu.Unlock()
	if w.written == len(all) {
		return len(all), nil
	}
	if _, err := w.file.WriteAt(all[w.written:], w.synced+int64(w.written)); err != nil {
		w.written = 0
		return 0, err
	}
	w.written = len(all)
	return len(all), nil
}

// Sync puts on the disk all that was appended before the call. On an error
// all of it stays in memory and is tried again by the next Sync.
func (w *Writer) Sync() error {
	w.io.Lock()
	defer w.io.Unlock()
	if w.file == nil {
		return ErrClosed
	}
	err := w.sync()
	w.report(err)
	return err
}

func (w *Writer) sync() error {
	if err := w.disk.same(w.name(), w.file); err != nil {
		if again := w.reopen(); again != nil {
			return errors.Join(err, again)
		}
	}
	if w.synced > w.limit {
		if err := w.nextSegment(); err != nil {
			return err
		}
	}
	n, err := w.flush()
	if err != nil {
		return err
	}
	if n == 0 {
		return nil
	}
	if err := w.file.Sync(); err != nil {
		w.written = 0 // the system may have dropped what it could not write
		return err
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.unsynced = append([]byte(nil), w.unsynced[n:]...)
	keep := 0
	for keep < len(w.starts) && w.starts[keep].at < int64(n) {
		keep++
	}
	w.starts = append([]start(nil), w.starts[keep:]...)
	for i := range w.starts {
		w.starts[i].at -= int64(n)
	}
	w.synced += int64(n)
	w.written = 0
	return nil
}

// reopen is for a file that has gone from its folder. Its bytes can still be
// read through the open file, so it is made again with all it held; if that
// cannot be, a new segment begins with what the disk has not confirmed.
func (w *Writer) reopen() error {
	old := w.file
	held := make([]byte, w.synced)
	_, err := old.ReadAt(held, 0)
	if err == nil {
		err = w.open(held)
	}
	if errors.Is(err, os.ErrNotExist) {
		return err // the folder itself is gone
	}
	if err != nil {
		return w.nextSegment()
	}
	_ = old.Close() // nothing of it is needed any more
	return nil
}

// nextSegment goes on in a new file, with what the disk has not confirmed.
func (w *Writer) nextSegment() error {
	old, before := w.file, w.header
	w.mu.Lock()
	w.header.First = w.next
	if len(w.starts) > 0 {
		w.header.First = w.starts[0].sequence
	}
	w.mu.Unlock()
	err := os.ErrExist
	for errors.Is(err, os.ErrExist) {
		w.header.Segment++
		err = w.open(nil)
	}
	if err != nil {
		w.header = before
		return err
	}
	_ = old.Close() // all that counts of it is on the disk, or it cannot be read
	return nil
}

// report remembers how the last attempt went and offers it to Errors, where
// a newer one takes the place of one nobody took.
func (w *Writer) report(err error) {
	if err != nil {
		err = fmt.Errorf("journal %s: %w", w.name(), err)
	}
	w.mu.Lock()
	w.err = err
	w.mu.Unlock()
	if err == nil {
		return
	}
	select {
	case <-w.errs:
	default:
	}
	select {
	case w.errs <- err:
	default:
	}
}

// Err is the error of the last attempt to write or sync, nil if it went well.
func (w *Writer) Err() error {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.err
}

// Errors offers the newest error nobody took; a failing disk gives one a
// tick. It is never closed.
func (w *Writer) Errors() <-chan error { return w.errs }

// Unsynced is how many bytes the disk has not confirmed.
func (w *Writer) Unsynced() int {
	w.mu.Lock()
	defer w.mu.Unlock()
	return len(w.unsynced)
}

// Close syncs and ends the writer. If the disk does not take it, the writer
// stays as it is, nothing is forgotten, and Close may be called again.
func (w *Writer) Close() error {
	w.mu.Lock()
	was := w.closed
	w.closed = true
	w.mu.Unlock()
	if was {
		return nil
	}
	if err := w.Sync(); err != nil {
		w.mu.Lock()
		w.closed = false
		w.mu.Unlock()
		return err
	}
	return w.Abandon()
}

// Abandon ends the writer without syncing: what Unsynced counts is forgotten.
func (w *Writer) Abandon() error {
	w.ending.Do(func() { close(w.stop) })
	if w.done != nil {
		<-w.done
	}
	w.mu.Lock()
	w.closed = true
	w.mu.Unlock()
	w.io.Lock()
	defer w.io.Unlock()
	if w.file == nil {
		return nil
	}
	err := w.file.Close()
	w.file = nil
	return err
}
