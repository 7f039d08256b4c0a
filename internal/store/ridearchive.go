package store

import (
	"bytes"
	"context"
	"crypto/sha256"
	"database/sql"
	"encoding/hex"
	"encoding/json"
	"path"
	"slices"
	"strings"
	"time"
)

// Rides in an archive: their files as they came, and what was measured and said
// of them. What they taught is learnt again.

type manifestRide struct {
	ID          string          `json:"id"`
	Added       time.Time       `json:"added"`
	Rider       string          `json:"rider,omitempty"`
	Rig         string          `json:"rig,omitempty"`
	Road        string          `json:"road,omitempty"`
	Course      string          `json:"course,omitempty"`
	Brief       string          `json:"brief,omitempty"`
	Repeats     string          `json:"repeats,omitempty"`
	Start       time.Time       `json:"start"`
	File        string          `json:"file"`
	SHA256      string          `json:"sha256"`
	Number      int             `json:"number"`
	Filename    string          `json:"filename"`
	Fingerprint string          `json:"fingerprint"`
	Facts       json.RawMessage `json:"facts,omitempty"`
	Said        json.RawMessage `json:"said,omitempty"`
	Best        []byte          `json:"best,omitempty"`
}

// manifestLeftOut is what is left out of a rider's learning.
type manifestLeftOut struct {
	Rider string `json:"rider"`
	Key   string `json:"key"`
}

func archivedRideFile(r Ride) string {
	return path.Join("ride", r.Hash[:16], "f-"+packedName(r.Filename))
}

// ridesOf are the rides of an archive, the oldest first.
func ridesOf(ctx context.Context, tx *sql.Tx, riderID string) ([]Ride, error) {
	return rides(ctx, tx, "WHERE ?1 = '' OR rider_id = ?1 ORDER BY start, id", riderID)
}

// archiveRides writes rides and their files into an archive.
func (s *Store) archiveRides(ctx context.Context, tx *sql.Tx, z *zipWriter, m *manifest, riderID string, here map[string]bool) error {
	all, err := ridesOf(ctx, tx, riderID)
	if err != nil {
		return err
	}
	files, ids := map[string]string{}, map[string]bool{}
	for _, r := range all {
		ids[r.ID] = true
	}
	kept := func(id string, in map[string]bool) string {
		if in[id] {
			return id
		}
		return ""
	}
	for _, r := range all {
		if r, err = ride(ctx, tx, r.ID); err != nil {
			return err
		}
		if files[r.Hash] == "" {
			b, err := s.RideFile(r.Hash)
			if err != nil {
				return err
			}
			files[r.Hash] = z.file(archivedRideFile(r), b)
		}
		m.Rides = append(m.Rides, manifestRide{ID: r.ID, Added: r.Added, Rider: r.RiderID, Rig: kept(r.RigID, here), Road: kept(r.RoadID, here),
			Course: kept(r.CourseID, here), Brief: kept(r.BriefID, here), Repeats: kept(r.Repeats, ids), Start: r.Start, File: files[r.Hash], SHA256: r.Hash,
			Number: r.Number, Filename: r.Filename, Fingerprint: r.Fingerprint, Facts: r.Facts, Said: r.Said, Best: r.Best})
	}
	rows, err := tx.QueryContext(ctx, "SELECT rider_id, key FROM left_out WHERE ?1 = '' OR rider_id = ?1 ORDER BY rider_id, key", riderID)
	if err != nil {
		return err
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var l manifestLeftOut
		if err := rows.Scan(&l.Rider, &l.Key); err != nil {
			return err
		}
		m.LeftOut = append(m.LeftOut, l)
	}
	return rows.Err()
}

// checkRides is checkManifest for rides.
func (a *archive) checkRides(kinds map[string]Kind, briefs, used map[string]bool) error {
	ids := map[string]bool{}
	for _, r := range a.manifest.Rides {
		ids[r.ID] = true
	}
	if len(ids) != len(a.manifest.Rides) {
		return badArchive("the ID of a ride stands twice")
	}
	for _, r := range a.manifest.Rides {
		used[r.File] = true
		if !validID.MatchString(r.ID) || !validHash.MatchString(r.SHA256) || r.File == "" {
			return badArchive("ride %.60q: its ID or the SHA-256 of its file is not allowed", r.ID)
		}
		for kind, id := range map[Kind]string{Rider: r.Rider, Rig: r.Rig, Road: r.Road, Course: r.Course} {
			if id != "" && kinds[id] != kind {
				return badArchive("ride %s is of %s %.60q, which is not in it", r.ID, kind, id)
			}
		}
		if r.Brief != "" && !briefs[r.Brief] || r.Repeats != "" && (!ids[r.Repeats] || r.Repeats == r.ID) {
			return badArchive("ride %s is of a brief or ride that is not in it", r.ID)
		}
		if y := r.Added.Year(); y < 1970 || y > 9999 {
			return badArchive("ride %s: a time of the year %d", r.ID, y)
		}
	}
	for _, l := range a.manifest.LeftOut {
		if kinds[l.Rider] != Rider || l.Key == "" || len(l.Key) > maxName {
			return badArchive("something is left out of the learning of a rider that is not in it")
		}
	}
	return nil
}

// rides adds the rides of an archive. Who has a ride has its file and place in
// it: what was said of it here stays.
func (in *importing) rides(ctx context.Context) error {
	old, err := ridesOf(ctx, in.tx, "")
	if err != nil {
		return err
	}
	here, same := map[string]string{}, map[string][]string{}
	for _, r := range old {
		here[r.ID] = contentOfRide(r)
		same[here[r.ID]] = append(same[here[r.ID]], r.ID)
	}
	ids, added := map[string]string{}, map[string]bool{}
	for _, e := range in.archive.manifest.Rides {
		r := Ride{ID: e.ID, Added: e.Added, RiderID: in.ids[e.Rider], RigID: in.ids[e.Rig], RoadID: in.ids[e.Road], CourseID: in.ids[e.Course],
			BriefID: in.briefs[e.Brief], Start: e.Start, Hash: e.SHA256, Number: e.Number, Filename: e.Filename, Fingerprint: e.Fingerprint,
			Facts: compact(e.Facts), Said: compact(e.Said), Best: e.Best}
		if err := checkRide(&r); err != nil {
			return inArchive(err)
		}
		id, known := place(e.ID, contentOfRide(r), here, same)
		ids[e.ID], r.ID = id, id
		entry := Entry{Kind: "ride", ID: id, Was: e.ID, Name: e.Filename}
		if known {
			in.report.Known = append(in.report.Known, entry)
			continue
		}
		in.report.Added = append(in.report.Added, entry)
		added[id] = true
		if err := in.rideFile(e); err != nil {
			return err
		}
		if err := writeRide(ctx, in.tx, r); err != nil {
			return err
		}
	}
	for _, e := range in.archive.manifest.Rides {
		if e.Repeats == "" || !added[ids[e.ID]] {
			continue
		}
		if _, err := in.tx.ExecContext(ctx, "UPDATE rides SET repeats = ? WHERE id = ?", ids[e.Repeats], ids[e.ID]); err != nil {
			return err
		}
	}
	return in.leftOut(ctx, ids)
}

// rideFile writes a file before the ride that needs it; if the import fails it
// is swept away.
func (in *importing) rideFile(e manifestRide) error {
	if in.store.hasRideFile(e.SHA256) {
		return nil
	}
	b, err := in.archive.read(e.File, MaxRideFile)
	if err != nil {
		return err
	}
	if sum := sha256.Sum256(b); hex.EncodeToString(sum[:]) != e.SHA256 {
		return badArchive("ride %s: its file is not the one whose SHA-256 is given", e.ID)
	}
	return in.store.writeRideFiles(map[string][]byte{e.SHA256: b})
}

func (in *importing) leftOut(ctx context.Context, rides map[string]string) error {
	for _, l := range in.archive.manifest.LeftOut {
		parts := strings.Split(l.Key, "/")
		for i, p := range parts {
			if id, ok := rides[p]; ok {
				parts[i] = id
			}
		}
		if _, err := in.tx.ExecContext(ctx, "INSERT INTO left_out (rider_id, key) VALUES (?, ?) ON CONFLICT DO NOTHING", in.ids[l.Rider], strings.Join(parts, "/")); err != nil {
			return err
		}
	}
	return nil
}

// compact is JSON as the service wrote it, before the manifest was laid out.
func compact(text json.RawMessage) []byte {
	var b bytes.Buffer
	if json.Compact(&b, text) != nil {
		return text // it was read as JSON before, so that this does not happen
	}
	return b.Bytes()
}

// contentOfRide is equal for recordings of one file that belong to one rider.
func contentOfRide(r Ride) string { return digest(r.RiderID, r.Hash, r.Number) }

// rideRefs adds what a rider's rides refer to.
func rideRefs(rs []Ride, wanted map[string]bool) {
	for _, r := range rs {
		for _, id := range []string{r.RigID, r.RoadID, r.CourseID} {
			wanted[id] = true
		}
	}
}

// idsOf are the IDs of what is in an archive.
func idsOf(os []Object, bs []Brief) map[string]bool {
	here := map[string]bool{}
	for o := range slices.Values(os) {
		here[o.ID] = true
	}
	for b := range slices.Values(bs) {
		here[b.ID] = true
	}
	return here
}
