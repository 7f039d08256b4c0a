package store

import (
	"context"
	"database/sql"
	"encoding/json"
	"fmt"
	"path"
	"slices"
	"strings"
	"time"
)

// Calendars, results and start lists in an archive. Forecasts are left out:
// they are reckoned again. An archive of one rider has the calendars, which are
// nobody's, and the results of its events that are not about somebody else;
// start lists, which are of several riders, are in archives of everything.

type manifestCalendar struct {
	ID    string    `json:"id"`
	Added time.Time `json:"added"`
	Name  string    `json:"name"`
	File  string    `json:"file"`
}

type manifestResults struct {
	ID    string    `json:"id"`
	Added time.Time `json:"added"`
	Event string    `json:"event"`
	File  string    `json:"file"`
}

type manifestStarts struct {
	ID      string    `json:"id"`
	Made    time.Time `json:"made"`
	Title   string    `json:"title"`
	Riders  []string  `json:"riders"`
	Request string    `json:"request"` // the names of the files
	Sheet   string    `json:"sheet"`
}

// archiveRaces writes them into an archive; here are the IDs of its objects.
func archiveRaces(ctx context.Context, tx *sql.Tx, z *zipWriter, m *manifest, riderID string, here map[string]bool) error {
	cs, err := calendarsOf(ctx, tx)
	if err != nil {
		return err
	}
	for _, c := range cs {
		m.Calendars = append(m.Calendars, manifestCalendar{c.ID, c.Added, c.Name, z.file(path.Join("calendar", c.ID, "f-"+packedName(c.Name)), c.Bytes)})
	}
	rs, err := resultsOf(ctx, tx, "")
	if err != nil {
		return err
	}
	name := ""
	if riderID != "" {
		if err := tx.QueryRowContext(ctx, "SELECT name FROM objects WHERE id = ?", riderID).Scan(&name); err != nil {
			return err
		}
	}
	for _, r := range rs {
		if here[r.EventID] && (riderID == "" || nobodyElses(r.Sheet, name)) {
			m.Results = append(m.Results, manifestResults{r.ID, r.Added, r.EventID, z.file(path.Join("results", r.ID+".json"), r.Sheet)})
		}
	}
	if riderID != "" {
		return nil
	}
	ls, err := startLists(ctx, tx, "ORDER BY made, id")
	for _, l := range ls {
		m.Starts = append(m.Starts, manifestStarts{l.ID, l.Made, l.Title, l.Riders,
			z.file(path.Join("starts", l.ID, "request.json"), l.Request), z.file(path.Join("starts", l.ID, "sheet.json"), l.Sheet)})
	}
	return err
}

// racedBy adds what a rider's forecasts are of: the event with its categories,
// the course, the rig and the road.
func racedBy(ctx context.Context, tx *sql.Tx, riderID string, wanted map[string]bool) error {
	rows, err := tx.QueryContext(ctx, "SELECT event_id, rig_id, course_id, coalesce(road_id, '') FROM forecasts WHERE rider_id = ?", riderID)
	if err != nil {
		return err
	}
	defer func() { _ = rows.Close() }()
	for rows.Next() {
		var ids [4]string
		if err := rows.Scan(&ids[0], &ids[1], &ids[2], &ids[3]); err != nil {
			return err
		}
		for _, id := range ids {
			wanted[id] = true
		}
	}
	return rows.Err()
}

// nobodyElses is whether results are about this rider or nobody.
func nobodyElses(sheet []byte, name string) bool {
	var s struct {
		Me *struct {
			Name string `json:"name"`
		} `json:"me"`
	}
	return json.Unmarshal(sheet, &s) == nil && (s.Me == nil || strings.EqualFold(s.Me.Name, name))
}

// checkRaces is checkManifest for them.
func (a *archive) checkRaces(kinds map[string]Kind, used map[string]bool) error {
	seen := map[string]bool{}
	fresh := func(what, id string, at time.Time) error {
		if !validID.MatchString(id) || seen[what+id] {
			return badArchive("%s %.60q: the ID is not allowed or stands twice", what, id)
		}
		seen[what+id] = true
		if y := at.Year(); y < 1970 || y > 9999 {
			return badArchive("%s %s: a time of the year %d", what, id, y)
		}
		return nil
	}
	for _, c := range a.manifest.Calendars {
		if err := fresh("calendar", c.ID, c.Added); err != nil {
			return err
		}
		used[c.File] = true
	}
	for _, r := range a.manifest.Results {
		if err := fresh("results", r.ID, r.Added); err != nil {
			return err
		}
		if kinds[r.Event] != Event {
			return badArchive("results %s are of event %.60q, which is not in it", r.ID, r.Event)
		}
		used[r.File] = true
	}
	for _, l := range a.manifest.Starts {
		if err := fresh("start list", l.ID, l.Made); err != nil {
			return err
		}
		for _, id := range l.Riders {
			if kinds[id] != Rider {
				return badArchive("start list %s is of rider %.60q, who is not in it", l.ID, id)
			}
		}
		used[l.Request], used[l.Sheet] = true, true
	}
	return nil
}

// races adds what is not here yet.
func (in *importing) races(ctx context.Context) error {
	if err := in.calendars(ctx); err != nil {
		return err
	}
	if err := in.results(ctx); err != nil {
		return err
	}
	return in.starts(ctx)
}

// took reports something, and says whether it is to be written.
func (in *importing) took(kind, name, was, id string, known bool) bool {
	e := Entry{Kind: kind, ID: id, Was: was, Name: name}
	if known {
		in.report.Known = append(in.report.Known, e)
	} else {
		in.report.Added = append(in.report.Added, e)
	}
	return !known
}

func (in *importing) calendars(ctx context.Context) error {
	old, err := calendarsOf(ctx, in.tx)
	if err != nil {
		return err
	}
	here, same, names := map[string]string{}, map[string][]string{}, map[string]bool{}
	for _, c := range old {
		here[c.ID], names[c.Name] = digest(c.Name, c.Bytes), true
		same[here[c.ID]] = append(same[here[c.ID]], c.ID)
	}
	for _, e := range in.archive.manifest.Calendars {
		c := Calendar{ID: e.ID, Added: e.Added, Name: e.Name}
		if c.Bytes, err = in.archive.read(e.File, maxCalendar); err != nil {
			return err
		}
		if err := checkCalendar(c); err != nil {
			return inArchive(err)
		}
		id, known := place(e.ID, digest(c.Name, c.Bytes), here, same)
		for n := 2; !known && names[c.Name]; n++ { // two of one name would be taken for each other
			c.Name = fmt.Sprintf("%d %.90s", n, e.Name)
		}
		names[c.Name], c.ID = true, id
		if !in.took("calendar", c.Name, e.ID, id, known) {
			continue
		}
		if len(names) > maxCalendars {
			return inArchive(tooManyCalendars(c))
		}
		if err := writeCalendar(ctx, in.tx, c); err != nil {
			return err
		}
	}
	return nil
}

func (in *importing) results(ctx context.Context) error {
	old, err := resultsOf(ctx, in.tx, "")
	if err != nil {
		return err
	}
	here, same := map[string]string{}, map[string][]string{}
	for _, r := range old {
		here[r.ID] = digest(r.EventID, r.Sheet)
		same[here[r.ID]] = append(same[here[r.ID]], r.ID)
	}
	for _, e := range in.archive.manifest.Results {
		r := RaceResults{Added: e.Added, EventID: in.ids[e.Event]}
		if r.Sheet, err = in.archive.read(e.File, maxResults); err != nil {
			return err
		}
		r.Sheet = followIDs(r.Sheet, in.ids)
		if err := checkResults(r); err != nil {
			return inArchive(err)
		}
		id, known := place(e.ID, digest(r.EventID, r.Sheet), here, same)
		r.ID = id
		if !in.took("result list", "results", e.ID, id, known) {
			continue
		}
		if err := writeResults(ctx, in.tx, r); err != nil {
			return err
		}
	}
	return nil
}

func (in *importing) starts(ctx context.Context) error {
	old, err := startLists(ctx, in.tx, "ORDER BY made, id")
	if err != nil {
		return err
	}
	here, same := map[string]string{}, map[string][]string{}
	for _, l := range old {
		here[l.ID] = contentOfStarts(l)
		same[here[l.ID]] = append(same[here[l.ID]], l.ID)
	}
	for _, e := range in.archive.manifest.Starts {
		l := StartList{Made: e.Made, Title: e.Title}
		for _, id := range e.Riders {
			l.Riders = append(l.Riders, in.ids[id])
		}
		if l.Request, err = in.archive.read(e.Request, maxResults); err != nil {
			return err
		}
		if l.Sheet, err = in.archive.read(e.Sheet, maxText); err != nil {
			return err
		}
		l.Request = followIDs(l.Request, in.ids)
		if err := checkStartList(l); err != nil {
			return inArchive(err)
		}
		id, known := place(e.ID, contentOfStarts(l), here, same)
		l.ID = id
		if !in.took("start list", l.Title, e.ID, id, known) {
			continue
		}
		if err := writeStartList(ctx, in.tx, l); err != nil {
			return err
		}
	}
	return nil
}

func contentOfStarts(l StartList) string {
	riders := slices.Sorted(slices.Values(l.Riders))
	return digest(l.Made.UnixMilli(), l.Title, riders, l.Request, l.Sheet)
}

// followIDs gives strings of a JSON text that are IDs of objects those that
// they have here. Everything else stays to the byte.
func followIDs(text []byte, ids map[string]string) []byte {
	return quoted.ReplaceAllFunc(text, func(s []byte) []byte {
		id := string(s[1 : len(s)-1])
		if to, ok := ids[id]; ok && to != id {
			return fmt.Appendf(nil, "%q", to)
		}
		return s
	})
}
