package web_test

import (
	"html"
	"net/http"
	"regexp"
	"strings"
	"testing"
)

const aMonth = `(?:January|February|March|April|May|June|July|August|September|October|November|December|Jan|Feb|Mar|Apr|Jun|Jul|Aug|Sep|Oct|Nov|Dec)\b`

var (
	dayFirst   = regexp.MustCompile(`\b\d{1,2} ` + aMonth)
	monthFirst = regexp.MustCompile(aMonth + ` \d{1,2}\b`)
	plainISO   = regexp.MustCompile(`\b20\d\d-\d\d-\d\d`)
	halfDay    = regexp.MustCompile(`\b\d{1,2}:\d\d (?:am|pm)\b`)
	wholeDay   = regexp.MustCompile(`[^−0-9](?:1[3-9]|2[0-3]):[03]0\b`) // starts of these tests are at such times, no ride's length is
	bothDates  = regexp.MustCompile(`(?i)like 2 December 2026(?: or 2026-12-02)?`)
)

// datesIn are the dates on a page that a pattern finds, with what stands
// around them.
func datesIn(page string, said ...*regexp.Regexp) (found []string) {
	_, main, _ := strings.Cut(page, "<body")
	for _, m := range regexp.MustCompile(`aria-label="([^"]*)"`).FindAllStringSubmatch(main, -1) {
		main += "<p>" + m[1] + "</p>"
	}
	text := strings.Join(strings.Fields(strings.ReplaceAll(html.UnescapeString(anyTag.ReplaceAllString(main, " | ")), "\u00a0", " ")), " ")
	text = bothDates.ReplaceAllString(text, "")
	for _, pattern := range said {
		for _, at := range pattern.FindAllStringIndex(text, -1) {
			found = append(found, text[max(0, at[0]-40):min(len(text), at[1]+12)])
		}
	}
	return found
}

// keepToDates reads every page as a visitor whose browser writes the day first
// and clocks of whole days, and as one who writes the month first and clocks of
// half days: neither reads a date or a clock of the other.
func (v *site) keepToDates(t *testing.T, leastDates, leastClocks int) {
	t.Helper()
	dates, clocks := 0, 0
	for _, x := range []struct {
		language    string
		wrong, good *regexp.Regexp
		clock, no   *regexp.Regexp
	}{{"en-GB", monthFirst, dayFirst, wholeDay, halfDay}, {"en-US", dayFirst, monthFirst, halfDay, wholeDay}} {
		pages := v.everyPage(t, func(r *http.Request) { r.Header.Set("Accept-Language", x.language) })
		for path, page := range pages {
			for _, says := range datesIn(page, x.wrong, x.no, plainISO) {
				t.Errorf("%s says to a visitor of %s: %s", path, x.language, says)
			}
			if x.language == "en-US" {
				dates, clocks = dates+len(datesIn(page, x.good)), clocks+len(datesIn(page, x.clock))
			}
		}
	}
	t.Logf("%d dates and %d clocks in the American way", dates, clocks)
	if dates < leastDates || clocks < leastClocks {
		t.Errorf("%d dates and %d clocks in the American way: this test showed nothing", dates, clocks)
	}
}
