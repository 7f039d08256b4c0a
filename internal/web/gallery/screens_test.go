package gallery_test

import (
	"os"
	"strings"
	"testing"

	"chainline/internal/web/gallery"
)

const screens = "../../../docs/screens"

// withoutPicture are the pages of which docs/screens need not have a picture at
// both widths, by template, and why. A page that gets its pictures goes from
// here.
var withoutPicture = map[string]string{
	"gallery.html":      "is no page of the program",
	"fields.html":       "is no page of the program",
	"brief-making.html": "stands for seconds",
	"working.html":      "stands for seconds",
}

// TestEveryPageHasAPicture: docs/screens shows at least one state of every page
// at laptop and phone width, and nothing that is no state any more.
func TestEveryPageHasAPicture(t *testing.T) {
	files, err := os.ReadDir(screens)
	if err != nil {
		t.Fatal(err)
	}
	there := map[string]bool{}
	for _, f := range files {
		there[f.Name()] = true
	}
	states, shown := map[string]bool{}, map[string]bool{}
	var pages []string
	for _, st := range gallery.States() {
		states[st.Name] = true
		page := st.Page.Template()
		if _, seen := shown[page]; !seen {
			pages, shown[page] = append(pages, page), false
		}
		if there[st.Name+"-laptop.png"] && there[st.Name+"-phone.png"] {
			shown[page] = true
		}
	}
	for _, page := range pages {
		if _, excepted := withoutPicture[page]; !shown[page] && !excepted {
			t.Errorf("%s: no state of it has pictures at laptop and phone width in docs/screens; make screenshots draws all", page)
		}
	}
	for page := range withoutPicture {
		if _, is := shown[page]; !is {
			t.Errorf("%s: excepted, but there is no such page", page)
		}
	}
	for name := range there {
		state := strings.TrimSuffix(strings.TrimSuffix(strings.TrimSuffix(name, ".png"), "-laptop"), "-phone")
		if strings.HasSuffix(name, ".png") && !states[state] {
			t.Errorf("docs/screens/%s: is a picture of no state", name)
		}
	}
}
