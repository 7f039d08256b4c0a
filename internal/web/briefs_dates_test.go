package web

import "testing"

func TestInDates(t *testing.T) {
	us := dates{true, true}
	for page, want := range map[string]string{
		`<p>Made <time datetime="2026-12-02">2 December 2026</time></p>`:                                  `<p>Made <time datetime="2026-12-02">December 2, 2026</time></p>`,
		`<time datetime="2026-12-03">Thursday 3 December 2026</time>`:                                     `<time datetime="2026-12-03">Thursday, December 3, 2026</time>`,
		`<time datetime="2026-12-03T09:05">Thursday 3 December 2026, 09:05</time>`:                        `<time datetime="2026-12-03T09:05">Thursday, December 3, 2026, 9:05 am</time>`,
		`<time datetime="19:05:30">19:05:30</time>`:                                                       `<time datetime="19:05:30">7:05:30 pm</time>`,
		`<time datetime="00:10">0:10</time>`:                                                              `<time datetime="00:10">12:10 am</time>`,
		`<text class="tick clock" x="1" y="2" text-anchor="end">19:30 gun</text>`:                         `<text class="tick clock" x="1" y="2" text-anchor="end">7:30 gun</text>`,
		`<time datetime="99">soon</time> <text class="tick" x="1">19:30 km</text> <p>Made 2 May 2026</p>`: `<time datetime="99">soon</time> <text class="tick" x="1">19:30 km</text> <p>Made 2 May 2026</p>`,
	} {
		if got := inDates(page, us); got != want {
			t.Errorf("%s\nbecame %s\nwant   %s", page, got, want)
		}
		if got := inDates(page, UsualDates); got != page {
			t.Errorf("%s became %s for most of the world", page, got)
		}
	}
}
