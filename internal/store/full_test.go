package store

import (
	"database/sql"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"sort"
	"testing"
	"time"
)

// full puts rows into every table.
func full(t *testing.T, s *Store) {
	t.Helper()
	ok := func(err error) {
		t.Helper()
		if err != nil {
			t.Fatal(err)
		}
	}
	club(t, s)
	ok(s.SetSetting(ctx, "units", "imperial"))
	ok(s.PutVisit(ctx, "ab12", time.Now().AddDate(60, 0, 0)))
	ok(s.AddAttempt(ctx, "192.0.2.7"))
	putCheck(t, s, RigCheck{ID: "check", Made: noon, Title: "Check of Cellar", RiderID: "ada", RigID: "cellar", Report: []byte(`{"a":1}`)})
	ok(s.ApplyCorrection(ctx, "check", "pedals"))
	rides := season(t, s)
	r, err := s.Ride(ctx, rides[0].ID)
	ok(err)
	ok(s.SetLearnt(ctx, r.ID, r.Said, []byte(`{"taught":1}`)))
	ok(s.SetLeftOut(ctx, "ada", "ridea/300", true))
	_, err = s.PutRideImport(ctx, RideImport{ID: "import", State: "done", Request: []byte(`{}`), Progress: []byte(`{}`)}, []ImportFile{{File: "a.fit", Hash: r.Hash}})
	ok(err)
	_, err = s.PutCalendar(ctx, Calendar{Name: "club.ics", Bytes: []byte("BEGIN:VCALENDAR")})
	ok(err)
	_, err = s.PutRaceResults(ctx, RaceResults{EventID: "cup", Sheet: []byte(`{"rows":[]}`)})
	ok(err)
	ok(s.PutForecast(ctx, Forecast{EventID: "cup", RiderID: "ada", RigID: "cellar", CourseID: "ridge", RoadID: "open", Key: "k", Made: noon, Sheet: []byte(`{}`)}))
	_, err = s.PutStartList(ctx, StartList{ID: "list", Made: noon, Title: "Handicap", Riders: []string{"ada", "bo"}, Request: []byte(`{}`), Sheet: []byte(`{}`)})
	ok(err)
}

// TestFullDatabasesMigrate: databases that the programs of then filled, with
// rows in every table there was, keep each value of each row. The newest one
// is written like the other fixtures (-fixture), once.
func TestFullDatabasesMigrate(t *testing.T) {
	latest := len(migrations())
	at := func(schema int) string { return fmt.Sprintf("testdata/full%d.db", schema) }
	if *writeFixture {
		if _, err := os.Stat(at(latest)); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("%s is there: %v", at(latest), err)
		}
		dir := t.TempDir()
		s := mustOpen(t, dir)
		full(t, s)
		mustClose(t, s)
		copyFile(t, filepath.Join(dir, databaseFile), at(latest))
	}
	for schema := 2; schema <= latest; schema++ { // the first has objects and briefs alone: TestFixturesOfEverySchemaMigrate
		t.Run(fmt.Sprint(schema), func(t *testing.T) {
			dir := t.TempDir()
			path := filepath.Join(dir, databaseFile)
			copyFile(t, at(schema), path)
			if is, _, err := header(path); is != schema || err != nil {
				t.Fatalf("the fixture has schema %d, %v", is, err)
			}
			was := rowsOf(t, path)
			for table, rows := range was {
				if len(rows) == 0 {
					t.Errorf("%s is empty: nothing is shown of it", table)
				}
			}
			s := mustOpen(t, dir)
			checkWhole(t, s)
			mustClose(t, s)
			is := rowsOf(t, path)
			for table, rows := range was {
				if !reflect.DeepEqual(is[table], rows) {
					t.Errorf("%s had\n%v\nand has\n%v", table, rows, is[table])
				}
			}
		})
	}
}

// rowsOf are all rows of all tables of a database that nobody has open, by
// table, each as its values by column.
func rowsOf(t *testing.T, path string) map[string][]string {
	t.Helper()
	db, err := sql.Open("sqlite", fileURI(path)+"?mode=ro")
	if err != nil {
		t.Fatal(err)
	}
	defer db.Close()
	names, err := db.Query("SELECT name FROM sqlite_schema WHERE type = 'table' ORDER BY name")
	if err != nil {
		t.Fatal(err)
	}
	defer names.Close()
	var tables []string
	for names.Next() {
		var name string
		if err := names.Scan(&name); err != nil {
			t.Fatal(err)
		}
		tables = append(tables, name)
	}
	all := map[string][]string{}
	for _, table := range tables {
		all[table] = rowsIn(t, db, table)
	}
	return all
}

func rowsIn(t *testing.T, db *sql.DB, table string) []string {
	t.Helper()
	rows, err := db.Query("SELECT * FROM " + table)
	if err != nil {
		t.Fatal(err)
	}
	defer rows.Close()
	columns, err := rows.Columns()
	if err != nil {
		t.Fatal(err)
	}
	out := []string{}
	for rows.Next() {
		values, into := make([]any, len(columns)), make([]any, len(columns))
		for i := range values {
			into[i] = &values[i]
		}
		if err := rows.Scan(into...); err != nil {
			t.Fatal(err)
		}
		row := ""
		for i, c := range columns {
			row += fmt.Sprintf("%s=%v ", c, values[i])
		}
		out = append(out, row)
	}
	sort.Strings(out)
	return out
}
