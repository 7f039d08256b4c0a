package store

import (
	"database/sql"
	"fmt"
	"math/rand/v2"
	"strings"
	"testing"
)

// Small rows in a random order, changed and deleted, so that pages of the
// database are split and joined and rows move: what has moved away must not
// stay legible in the gap.
func TestRowsThatMovedLeaveNoGhosts(t *testing.T) {
	dir := t.TempDir()
	s := mustOpen(t, dir)
	draw := rand.New(rand.NewPCG(8, 8))
	const n = 600
	err := s.tx(ctx, func(tx *sql.Tx) error {
		for _, i := range draw.Perm(n) {
			o := Object{ID: fmt.Sprint("r", i), Kind: Rider, Name: markOf(i), Text: strings.Repeat("-", draw.IntN(900)) + markOf(i), Created: noon, Updated: noon}
			if err := insertObject(ctx, tx, o); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	gone := draw.Perm(n)[:500]
	for k, i := range gone {
		j := draw.IntN(n) // somebody grows or shrinks; perhaps nobody is there
		_, err := s.write.Exec("UPDATE objects SET text = ? WHERE id = ?", strings.Repeat("+", draw.IntN(1500))+markOf(j), fmt.Sprint("r", j))
		if err != nil {
			t.Fatal(err)
		}
		if k < len(gone)-1 {
			_, err = s.write.Exec("DELETE FROM objects WHERE id = ?", fmt.Sprint("r", i))
		} else {
			err = s.Delete(ctx, fmt.Sprint("r", i))
		}
		if err != nil {
			t.Fatal(err)
		}
	}
	for _, i := range gone {
		if where := legible(t, dir, markOf(i)); where != nil {
			t.Errorf("%s is still in %v", markOf(i), where)
		}
	}
}
