package store

import (
	"errors"
	"flag"
	"fmt"
	"os"
	"path/filepath"
	"reflect"
	"testing"
)

// After adding a migration: go test ./internal/store -run TestFixtures -fixture
// writes the fixture of the newest schema, once. It is never written again:
// its worth is that the program of then made it.
var writeFixture = flag.Bool("fixture", false, "write the fixture database of the newest schema")

func fixture(schema int) string { return fmt.Sprintf("testdata/schema%d.db", schema) }

// TestFixturesOfEverySchemaMigrate opens databases that the programs of then
// wrote.
func TestFixturesOfEverySchemaMigrate(t *testing.T) {
	latest := len(migrations())
	if *writeFixture {
		if _, err := os.Stat(fixture(latest)); !errors.Is(err, os.ErrNotExist) {
			t.Fatalf("%s is there: %v", fixture(latest), err)
		}
		dir := t.TempDir()
		s := mustOpen(t, dir)
		club(t, s)
		mustClose(t, s)
		copyFile(t, filepath.Join(dir, databaseFile), fixture(latest))
	}
	fresh := mustOpen(t, t.TempDir())
	club(t, fresh)
	wantObjects, wantBriefs := everything(t, fresh)
	for schema := 1; schema <= latest; schema++ {
		t.Run(fmt.Sprint(schema), func(t *testing.T) {
			dir := t.TempDir()
			copyFile(t, fixture(schema), filepath.Join(dir, databaseFile))
			if at, mark, err := header(filepath.Join(dir, databaseFile)); at != schema || mark != applicationID || err != nil {
				t.Fatalf("the fixture has schema %d, mark %#x, %v", at, mark, err)
			}
			s := mustOpen(t, dir)
			os, bs := everything(t, s)
			if !reflect.DeepEqual(os, wantObjects) || !reflect.DeepEqual(bs, wantBriefs) {
				t.Errorf("after migration:\n%+v\n%+v\nwant\n%+v\n%+v", os, bs, wantObjects, wantBriefs)
			}
			if got, want := schemaOf(t, s), schemaOf(t, fresh); got != want {
				t.Errorf("a migrated database has the schema\n%s\na new one\n%s", got, want)
			}
			checkWhole(t, s)
		})
	}
}

// schemaOf is every table and index as SQLite keeps them.
func schemaOf(t *testing.T, s *Store) (all string) {
	t.Helper()
	err := s.read.QueryRowContext(ctx, "SELECT group_concat(sql, ';' ORDER BY name) FROM sqlite_schema").Scan(&all)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

// checkWhole lets SQLite look at every page and every reference.
func checkWhole(tb testing.TB, s *Store) {
	tb.Helper()
	var says string
	if err := s.write.QueryRowContext(ctx, "PRAGMA integrity_check").Scan(&says); err != nil || says != "ok" {
		tb.Fatalf("integrity_check: %s, %v", says, err)
	}
	var wrong int
	if err := s.write.QueryRowContext(ctx, "SELECT count(*) FROM pragma_foreign_key_check").Scan(&wrong); err != nil || wrong != 0 {
		tb.Fatalf("foreign_key_check: %d, %v", wrong, err)
	}
}

func copyFile(tb testing.TB, from, to string) {
	tb.Helper()
	b, err := os.ReadFile(from)
	if err == nil {
		err = os.WriteFile(to, b, 0o600)
	}
	if err != nil {
		tb.Fatal(err)
	}
}
