package intake

import (
	"bytes"
	"context"
	"io"
	"io/fs"
	"sync"

	"chainline/internal/problem"
)

const workers = 2

// Walk takes in every recording below a folder, archives unpacked. known tells
// by a file's hash what was taken in before: it is read but not decoded again,
// so that a walk that was stopped goes on where it was. each is called for one
// recording at a time, in no fixed order; a file that could not be read comes
// with its error. progress is told how many files are done. Two files at most
// are in memory at once, an archive's one by one. Walk stops at the first
// error of each and when the context ends, whose error it then returns.
func Walk(ctx context.Context, root fs.FS, known func(hash string) bool, each func(Arrived) error, progress func(done, total int)) error {
	names, err := List(ctx, root)
	if err != nil {
		return err
	}
	var mutex sync.Mutex
	one := func(a Arrived) error {
		mutex.Lock()
		defer mutex.Unlock()
		if err := ctx.Err(); err != nil { // it ended while this one waited
			return err
		}
		return each(a)
	}
	asked := func(hash string) bool {
		mutex.Lock()
		defer mutex.Unlock()
		return known != nil && known(hash)
	}
	return Files(ctx, root, names, asked, one, progress)
}

// Files is Walk over these files of a folder, whatever their names. known and
// each may be called for two recordings at once; those of one file come one
// after the other.
func Files(ctx context.Context, root fs.FS, names []string, known func(hash string) bool, each func(Arrived) error, progress func(done, total int)) error {
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var mutex sync.Mutex
	done, next := 0, make(chan string)
	one := func(a Arrived) error {
		if err := context.Cause(ctx); err != nil {
			return err
		}
		return each(a)
	}
	var group sync.WaitGroup
	for range workers {
		group.Go(func() {
			for name := range next {
				d := &door{limits: Usual(), known: known, each: one, stopped: func() error { return context.Cause(ctx) }}
				if err := d.open(root, name); err != nil {
					stop(err)
					return
				}
				mutex.Lock()
				done++
				if progress != nil {
					progress(done, len(names))
				}
				mutex.Unlock()
			}
		})
	}
feed:
	for _, name := range names {
		select {
		case next <- name:
		case <-ctx.Done():
			break feed
		}
	}
	close(next)
	group.Wait()
	return context.Cause(ctx)
}

// List is the files below a folder that may be recordings.
func List(ctx context.Context, root fs.FS) ([]string, error) {
	var names []string
	err := fs.WalkDir(root, ".", func(name string, e fs.DirEntry, err error) error {
		if stopped := ctx.Err(); stopped != nil {
			return stopped
		}
		switch {
		case err != nil && name == ".":
			return problem.Bad("the folder cannot be read: %v", err)
		case err != nil:
			return fs.SkipDir // one that may not be opened does not stop the rest
		case e.Type().IsRegular() && wanted(name):
			names = append(names, name)
		}
		return nil
	})
	return names, err
}

// open takes in one file of a folder. A zip archive is read where it lies.
func (d *door) open(root fs.FS, name string) error {
	f, err := root.Open(name)
	if err != nil {
		return d.refuse(problem.OneLine(name), "", problem.Bad("%s: cannot be opened", problem.OneLine(name)))
	}
	defer f.Close()
	info, err := f.Stat()
	if err != nil {
		return d.refuse(problem.OneLine(name), "", problem.Bad("%s: cannot be read", problem.OneLine(name)))
	}
	if at, ok := f.(io.ReaderAt); ok {
		head := make([]byte, 4)
		if n, _ := at.ReadAt(head, 0); n == 4 && kindOf(head) == zipped {
			return d.zip(problem.OneLine(name), at, info.Size(), 0)
		}
	}
	var b bytes.Buffer
	b.Grow(int(min(max(0, info.Size()), d.limits.File)) + bytes.MinRead)
	_, err = b.ReadFrom(io.LimitReader(f, d.limits.File+1))
	data := b.Bytes()
	switch {
	case err != nil:
		return d.refuse(problem.OneLine(name), "", problem.Bad("%s: cannot be read to its end", problem.OneLine(name)))
	case int64(len(data)) > d.limits.File:
		return d.refuse(problem.OneLine(name), "", problem.Bad("%s: larger than %d MB", problem.OneLine(name), d.limits.File>>20))
	}
	return d.data(problem.OneLine(name), data, 0)
}
