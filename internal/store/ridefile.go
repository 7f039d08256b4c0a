package store

import (
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"errors"
	"io/fs"
	"os"
	"path/filepath"

	"chainline/internal/problem"
)

// The files of rides lie beside the database, one for each SHA-256: a season
// has a hundred megabytes of them, which the database would have to rewrite
// with every deletion. A file is written before the ride that needs it; files
// that no ride needs are swept away.

// MaxRideFile is the most bytes of a ride's file.
const MaxRideFile = 64 << 20

const (
	rideFiles = "originals" // below the data folder
	liveRides = "rides"     // internal/live's, below the data folder
)

func (s *Store) rideFile(hash string) string {
	return filepath.Join(s.dir, rideFiles, hash[:2], hash)
}

func (s *Store) hasRideFile(hash string) bool {
	_, err := os.Stat(s.rideFile(hash))
	return err == nil
}

// RideFile is a ride's file as it came.
func (s *Store) RideFile(hash string) ([]byte, error) {
	if !validHash.MatchString(hash) {
		return nil, notFound("file", hash)
	}
	b, err := os.ReadFile(s.rideFile(hash))
	if errors.Is(err, fs.ErrNotExist) {
		return nil, notFound("file", hash)
	}
	if err != nil {
		return nil, folderError(s.dir, err)
	}
	if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != hash {
		return nil, &problem.Error{Message: "the file of a ride was changed on the disk; it is not what came", Hint: "Take the ride in again from where it came.", Err: ErrDamaged}
	}
	return b, nil
}

// writeRideFiles writes what is not there yet, each whole or not at all, and
// waits until all of it is on the disk.
func (s *Store) writeRideFiles(files map[string][]byte) error {
	var open []*os.File
	defer func() {
		for _, f := range open {
			_ = f.Close() // closed already unless something failed
		}
	}()
	folders := map[string]bool{}
	for hash, b := range files {
		switch {
		case !validHash.MatchString(hash):
			return problem.Bad("the SHA-256 of a ride's file is missing")
		case len(b) > MaxRideFile:
			return problem.Bad("a ride's file has %d bytes; at most %d were expected", len(b), MaxRideFile)
		case s.hasRideFile(hash):
			continue
		}
		path := s.rideFile(hash)
		if err := os.MkdirAll(filepath.Dir(path), 0o700); err != nil {
			return folderError(s.dir, err)
		}
		folders[filepath.Dir(path)] = true
		f, err := os.OpenFile(path+".new", os.O_RDWR|os.O_CREATE|os.O_TRUNC, 0o600)
		if err != nil {
			return folderError(s.dir, err)
		}
		open = append(open, f)
		if _, err := f.Write(b); err != nil {
			return folderError(s.dir, err)
		}
	}
	for _, f := range open { // all are on their way by now: the first waits for most of the others
		if err := errors.Join(f.Sync(), f.Close()); err != nil {
			return folderError(s.dir, err)
		}
		if err := os.Rename(f.Name(), f.Name()[:len(f.Name())-len(".new")]); err != nil {
			return folderError(s.dir, err)
		}
	}
	for dir := range folders {
		syncFolder(dir)
	}
	return nil
}

// syncFolder brings the names in a folder to the disk, where a system can.
func syncFolder(dir string) {
	if d, err := os.Open(dir); err == nil {
		_ = d.Sync() // some systems cannot sync a folder; the file is there all the same
		_ = d.Close()
	}
}

// sweep removes the files that no ride needs.
func (s *Store) sweep(ctx context.Context) error {
	s.sweeping.Lock()
	defer s.sweeping.Unlock()
	root := filepath.Join(s.dir, rideFiles)
	if _, err := os.Stat(root); errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	needed, err := s.RideHashes(ctx)
	if err != nil {
		return err
	}
	return filepath.WalkDir(root, func(path string, e fs.DirEntry, err error) error {
		if err != nil || e.IsDir() || needed[e.Name()] {
			return err
		}
		if err := os.Remove(path); err != nil && !errors.Is(err, fs.ErrNotExist) {
			return folderError(s.dir, err)
		}
		return nil
	})
}

// RideHashes are the files that rides came in.
func (s *Store) RideHashes(ctx context.Context) (map[string]bool, error) {
	all := map[string]bool{}
	err := s.tx(ctx, func(tx *sql.Tx) error { // not a view: it must see what was written last
		rows, err := tx.QueryContext(ctx, "SELECT DISTINCT hash FROM rides")
		if err != nil {
			return err
		}
		defer func() { _ = rows.Close() }()
		for rows.Next() {
			var hash string
			if err := rows.Scan(&hash); err != nil {
				return err
			}
			all[hash] = true
		}
		return rows.Err()
	})
	return all, err
}

// dropLive removes the journal and the files that a live ride left in the data
// folder, so that it is not taken up again.
func (s *Store) dropLive(id string) error {
	if id == "" || id != filepath.Base(id) || id[0] == '.' {
		return nil
	}
	paths, err := filepath.Glob(filepath.Join(s.dir, liveRides, id+".*"))
	for _, p := range paths {
		if e := os.Remove(p); e != nil && !errors.Is(e, fs.ErrNotExist) {
			err = errors.Join(err, e)
		}
	}
	return err
}

// liveOf are the live rides among the rides of some riders.
func liveOf(ctx context.Context, tx *sql.Tx, riders string, args ...any) (ids []string, err error) {
	rows, err := tx.QueryContext(ctx, "SELECT live FROM rides WHERE live <> '' AND rider_id IN (SELECT id FROM objects WHERE "+riders+")", args...)
	if err != nil {
		return nil, err
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var id string
		if err := rows.Scan(&id); err != nil {
			return nil, err
		}
		ids = append(ids, id)
	}
	return ids, rows.Err()
}
