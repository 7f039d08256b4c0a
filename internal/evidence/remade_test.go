package evidence

import (
	"context"
	"strings"
	"testing"
)

func remadeRows(t *testing.T) (rows []RemadeRow, lines []string) {
	t.Helper()
	lines = strings.Split(strings.TrimSpace(string(document(t, "evidence-remade.csv"))), "\n")
	if lines[0] != RemadeHeader || len(lines) != 1+RemadeRiders {
		t.Fatalf("docs/evidence-remade.csv has %d lines and the header %q", len(lines), lines[0])
	}
	for i, line := range lines[1:] {
		r, err := ParseRemadeRow(line)
		if err != nil {
			t.Fatalf("docs/evidence-remade.csv:%d: %v", i+2, err)
		}
		rows = append(rows, r)
	}
	return rows, lines[1:]
}

// The first rider of every course rides again, to the printed digit.
func TestRemadeIsFresh(t *testing.T) {
	rows, lines := remadeRows(t)
	if got, want := RemadeTable(rows), Table(document(t, "evidence.md"), "remade"); got != want {
		t.Errorf("the table of plans made anew in docs/evidence.md is stale (make evidence); from the rows:\n%s", got)
	}
	for i := range RemadeCourses {
		got, err := Remade(context.Background(), i)
		if err != nil {
			t.Fatal(err)
		}
		if got.String() != lines[i] {
			t.Errorf("docs/evidence-remade.csv is stale (make evidence): rider %d is\n%s, the file says\n%s", i, got, lines[i])
		}
	}
}

// Over the committed rows: made anew, riders finish no later than by the fixed
// plan on average, run empty less often, and are not bothered often.
func TestRemadeIsNoLaterAndNoEmptier(t *testing.T) {
	rows, _ := remadeRows(t)
	s := SummariseRemade(rows, -1)
	if s.Later > 0 {
		t.Errorf("made anew they finish %.1f s later (standard error %.1f s)", s.Later, s.SE)
	}
	if s.AnewEmpty >= s.FixedEmpty {
		t.Errorf("made anew %.1f %% run empty, by the fixed plan %.1f %%", 100*s.AnewEmpty, 100*s.FixedEmpty)
	}
	if s.Changes > 10 {
		t.Errorf("%.1f changes an hour", s.Changes)
	}
}
