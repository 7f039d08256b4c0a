package session_test

import (
	"os"
	"reflect"
	"regexp"
	"strings"
	"testing"

	"chainline/session"
)

var fence = regexp.MustCompile("(?ms)^```(\\w*)\n(.*?)^```$")

// Every example of docs/sessions.md is what it says: a session that can be
// read, printed and scaled, or a fault with this very error.
func TestDocsExamples(t *testing.T) {
	page, err := os.ReadFile("../docs/sessions.md")
	if err != nil {
		t.Fatal(err)
	}
	count := map[string]int{}
	for _, m := range fence.FindAllStringSubmatch(string(page), -1) {
		count[m[1]]++
		switch m[1] {
		case "session":
			s, err := session.Parse(m[2])
			if err != nil {
				t.Errorf("%v in\n%s", err, m[2])
				continue
			}
			if again, err := session.Parse(session.Print(s)); err != nil || !reflect.DeepEqual(s, again) {
				t.Errorf("printed and read again: %v\n%s", err, session.Print(s))
			}
			if _, _, err := session.Scale(s, rider()); err != nil {
				t.Errorf("%v in\n%s", err, m[2])
			}
		case "fault":
			text, want, _ := strings.Cut(strings.TrimSpace(m[2]), "\n")
			if _, err := session.Parse(text); err == nil || err.Error() != want {
				t.Errorf("%s\n got %v\nwant %s", text, err, want)
			}
		default:
			t.Errorf("a fence of kind %q", m[1])
		}
	}
	if count["session"] < 6 || count["fault"] < 3 {
		t.Errorf("examples %v: the page was not read", count)
	}
	rides, tests := 0, 0
	for _, s := range session.Library() {
		if strings.HasPrefix(s.ID, "test-") {
			tests++
		} else if s.ID != session.RigCheckID {
			rides++
		}
	}
	if rides != 12 || tests != 9 {
		t.Errorf("%d rides and %d tests; the page says twelve and nine", rides, tests)
	}
}
