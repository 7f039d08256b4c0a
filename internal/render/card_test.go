package render

import (
	"bytes"
	"math"
	"math/rand/v2"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"unicode/utf8"

	"chainline/brief"
	"chainline/course"
)

// everyCard are briefs with 1 to 60 cues of chance efforts, and all samples.
func everyCard() map[string]brief.Brief {
	all := everyBrief()
	r := rand.New(rand.NewPCG(3, 1))
	for n := 2; n <= 60; n++ {
		b := busy(n)
		for i := range b.Plan.Cues {
			c := &b.Plan.Cues[i]
			c.Watts, c.LastS = 5*math.Round(r.Float64()*80), 10+300*r.Float64()
			c.Share = c.Watts / 240
		}
		if n%3 == 1 {
			b.Rig.Speaks = "feel"
		}
		all["chance "+whole(float64(n))] = b
	}
	return all
}

func TestCardHasAtMostSevenLines(t *testing.T) {
	for name, b := range everyCard() {
		lines := cardLines(b)
		if len(lines) > 7 || len(lines) < 1 {
			t.Errorf("%s: %d lines", name, len(lines))
		}
		if n := len(b.Plan.Cues); n >= 7 && len(lines) != 7 {
			t.Errorf("%s: %d lines for %d cues, want 7", name, len(lines), n)
		}
		var text bytes.Buffer
		if err := CardText(&text, b); err != nil {
			t.Fatal(err)
		}
		rows := strings.Split(strings.TrimSuffix(text.String(), "\n"), "\n")
		if len(rows) > 7 {
			t.Errorf("%s: %d rows of text", name, len(rows))
		}
		for _, row := range rows {
			if n := utf8.RuneCountInString(row); n > 40 {
				t.Errorf("%s: a row of %d characters: %q", name, n, row)
			}
		}
		if strings.ContainsAny(text.String(), "\x1b\r\t") {
			t.Errorf("%s: control characters", name)
		}
	}
}

// TestCardSaysOnlyWhatThePlanSays: the lines cover every cue once, in order; a
// range holds all its watts and no line but a mean hides a difference of more
// than rangeShare of critical power; a mean is the plan's, over time.
func TestCardSaysOnlyWhatThePlanSays(t *testing.T) {
	for name, b := range everyCard() {
		cues := b.Plan.Cues
		if len(cues) < 2 || b.Rig.Speaks != "watts" || name == "not numbers" {
			continue
		}
		next := 0
		for _, l := range cardLines(b) {
			if l.First != next {
				t.Fatalf("%s: a line starts at cue %d, want %d", name, l.First+1, next+1)
			}
			next = l.Last + 1
			inf := math.Inf(1)
			low, high, joules, seconds := inf, -inf, 0.0, 0.0
			var road, hills, downs []float64
			for _, c := range cues[l.First:next] {
				last := c.LastS
				if last == 0 {
					last = 1
				}
				low, high = math.Min(low, c.Watts), math.Max(high, c.Watts)
				joules, seconds = joules+c.Watts*last, seconds+last
				rise := elevationAt(b.Course.Profile, c.ToM) - elevationAt(b.Course.Profile, c.FromM)
				switch {
				case c.Watts < .6*240 && rise < 0:
					downs = append(downs, c.Watts)
				case c.Watts > 1.03*240 && rise > 0:
					hills = append(hills, c.Watts)
				default:
					road = append(road, c.Watts)
				}
			}
			want := spanWords(low, high)
			if l.Apart {
				want = spanWords(slices.Min(road), slices.Max(road))
				words := apartWanted(hills, downs)
				if l.Words != words || slices.Max(road)-slices.Min(road) > rangeShare*240 {
					t.Errorf("%s: road %v, hills %v, downhills %v are said as %+v", name, road, hills, downs, l)
				}
			} else if l.Mean {
				if !strings.Contains(l.Words, "average") || !strings.Contains(l.Words, whole(low)) || !strings.Contains(l.Words, whole(high)) {
					t.Errorf("%s: a mean that does not say so: %+v", name, l)
				}
				want = whole(joules / seconds)
			} else if high-low > rangeShare*240 {
				t.Errorf("%s: %v to %v W as one range", name, low, high)
			}
			if l.Hold != want {
				t.Errorf("%s: holds %s, want %s", name, l.Hold, want)
			}
		}
		if next != len(cues) {
			t.Errorf("%s: ends at cue %d of %d", name, next, len(cues))
		}
	}
}

func apartWanted(hills, downs []float64) string {
	switch {
	case len(hills) == 0:
		return "but downhill " + spanWords(slices.Min(downs), slices.Max(downs))
	case len(downs) == 0:
		return "hills " + spanWords(slices.Min(hills), slices.Max(hills))
	}
	return "up to " + whole(slices.Max(hills)) + ", down to " + whole(slices.Min(downs))
}

func spanWords(low, high float64) string {
	if low == high {
		return whole(low)
	}
	return whole(low) + "–" + whole(high)
}

func TestCardOfTheRacer(t *testing.T) {
	lines := cardLines(racer())
	first, last := lines[0], lines[len(lines)-1]
	if first.Place != "start" || first.Hold != "420" || spaces(first.Words) != "for 14 s, not more" {
		t.Errorf("starts %+v", first)
	}
	if last.First != 8 || last.Last != 8 || last.Hold != "330" || last.Words != "Home, empty it" {
		t.Errorf("finishes %+v", last)
	}
	climbs := 0
	for _, l := range lines {
		if l.First == l.Last && (l.Words == "Climb 1" || l.Words == "Climb 2") {
			climbs++
		}
	}
	if l := lines[3]; l.Hold != "240–245" || l.Words != "but downhill 60" {
		t.Errorf("between the climbs it says %+v", l)
	}
	if climbs != 2 {
		t.Errorf("%d climbs have lines of their own, want both: %+v", climbs, lines)
	}
}

// TestCardJoinsTheLikeFirst: of eight cues the two within 5 % are joined.
func TestCardJoinsTheLikeFirst(t *testing.T) {
	b := busy(8)
	for i, w := range []float64{300, 200, 280, 180, 188, 260, 150, 320} {
		b.Plan.Cues[i].Watts, b.Plan.Cues[i].LastS = w, 100
	}
	b.Course.Climbs = []course.Climb{}
	lines := cardLines(b)
	if len(lines) != 7 || lines[3].Hold != "180–188" || lines[3].First != 3 || lines[3].Last != 4 {
		t.Errorf("got %+v", lines)
	}
}

func TestCardOfASketch(t *testing.T) {
	lines := cardLines(newcomer())
	if len(lines) != 6 || lines[0].Hold != "28" || lines[0].Place != "first minute" || lines[0].Words != "not more" {
		t.Errorf("starts %+v", lines)
	}
	if l := lines[1]; spaces(l.Place) != "over 5 %" || l.Hold != "32" || l.Words != "50×15, steep up" {
		t.Errorf("the steepest comes as %+v", l)
	}
	if l := lines[5]; spaces(l.Place) != "21.4 km" || spaces(l.Hold) != "1 h 01 min" {
		t.Errorf("finishes %+v", l)
	}
}

func TestCardPage(t *testing.T) {
	for name, b := range everyBrief() {
		var s bytes.Buffer
		if err := Card(&s, b); err != nil {
			t.Fatal(err)
		}
		if *outFolder != "" {
			if err := os.WriteFile(filepath.Join(*outFolder, "card-"+strings.ReplaceAll(name, " ", "_")+".html"), s.Bytes(), 0o644); err != nil {
				t.Fatal(err)
			}
		}
		page := fontData.ReplaceAllString(s.String(), "")
		if found := address.FindString(page); found != "" {
			t.Errorf("%s: the card reaches out: %q", name, found)
		}
		if !strings.Contains(page, "@page{size:80mm 50mm") || !strings.Contains(page, "default-src 'none'") {
			t.Errorf("%s: no size or no content security policy", name)
		}
		n := 0
		for _, e := range elements(t, page) {
			if e.name == "li" {
				n++
			}
			if e.name == "script" {
				t.Errorf("%s: a name became an element", name)
			}
		}
		if n != len(cardLines(b)) {
			t.Errorf("%s: %d lines on the card, want %d", name, n, len(cardLines(b)))
		}
	}
}
