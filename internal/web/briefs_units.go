package web

import (
	"fmt"
	"html"
	"regexp"
	"sort"
	"strconv"
	"strings"

	"chainline/internal/form"
)

// A brief is kept as the page that was made, in metric units. Whoever chose
// others sees the same page with its quantities said in theirs: numbers with
// their units in every sentence, columns by their heads, and round miles under
// the strip.

var (
	pageTag    = regexp.MustCompile(`(?s)<style.*?</style>|<[^>]*>`)
	spokenOf   = regexp.MustCompile(`aria-label="([^"]*)"`)
	pageCells  = regexp.MustCompile(`(<td class="km">)(\d+(?:\.\d+)?)(</td>)`)
	massRange  = regexp.MustCompile(`(<th scope="row">Mass with bike</th>.*?<td class="range">)(\d+\.\d) \+ (\d+\.\d)(</td>)`)
	wheelHeads = regexp.MustCompile(`<th class="(lead|opt)">wheel km/h</th>`)
	pageTicks  = regexp.MustCompile(`(?:<text class="tick" x="[-\d.]+" y="[-\d.]+" text-anchor="(?:start|middle)">\d+ km</text>\s*)+`)
	pageTick   = regexp.MustCompile(`x="([-\d.]+)" y="([-\d.]+)" text-anchor="\w+">(\d+) km<`)
	numberIn   = regexp.MustCompile(`\d+(?:\.\d+)?`)
)

// inUnits is a page of a brief, or a bar card, in somebody's units. Names are
// what people called things: they stay as they were typed.
func inUnits(page string, u form.Units, names ...string) string {
	if u == asFiled {
		return page
	}
	miles := func(number string) string {
		return strings.TrimSuffix(u.Words(number+" km"), " mi")
	}
	page = pageTicks.ReplaceAllStringFunc(page, mileTicks)
	page = pageCells.ReplaceAllStringFunc(page, func(s string) string {
		m := pageCells.FindStringSubmatch(s)
		return m[1] + miles(m[2]) + m[3]
	})
	page = strings.ReplaceAll(page, `<th class="km">km</th>`, `<th class="km">mi</th>`)
	page = massRange.ReplaceAllStringFunc(page, func(s string) string {
		m := massRange.FindStringSubmatch(s)
		pounds := func(kg string) string { return strings.TrimSuffix(u.Words(kg+" kg"), " lb") }
		return m[1] + pounds(m[2]) + " + " + pounds(m[3]) + m[4]
	})
	for _, m := range wheelHeads.FindAllStringSubmatch(page, -1) { // of the cues and of the rules alike
		cell := regexp.MustCompile(`(?s)<td class="` + m[1] + `">.*?</td>`)
		page = cell.ReplaceAllStringFunc(page, func(s string) string {
			return outsideTags(s, func(text string) string {
				return numberIn.ReplaceAllStringFunc(text, miles)
			})
		})
		page = strings.ReplaceAll(page, m[0], `<th class="`+m[1]+`">wheel mph</th>`)
	}
	return sentencesIn(page, u, names)
}

// outsideTags changes what stands between tags.
func outsideTags(page string, change func(string) string) string {
	var out strings.Builder
	done := 0
	for _, at := range pageTag.FindAllStringIndex(page, -1) {
		out.WriteString(change(page[done:at[0]]) + page[at[0]:at[1]])
		done = at[1]
	}
	return out.String() + change(page[done:])
}

// sentencesIn restates the text of a page, even where a tag stands between a
// number and its unit, and what is said instead of its pictures.
func sentencesIn(page string, u form.Units, names []string) string {
	var tags []string
	text := pageTag.ReplaceAllStringFunc(page, func(tag string) string {
		tags = append(tags, spokenOf.ReplaceAllStringFunc(tag, func(s string) string {
			return `aria-label="` + shielded(spokenOf.FindStringSubmatch(s)[1], u, names) + `"`
		}))
		return "\x00"
	})
	var out strings.Builder
	for i, piece := range strings.Split(shielded(text, u, names), "\x00") {
		out.WriteString(piece)
		if i < len(tags) {
			out.WriteString(tags[i])
		}
	}
	return out.String()
}

// shielded restates a text but for the names in it.
func shielded(text string, u form.Units, names []string) string {
	var hidden []string
	sort.Slice(names, func(i, j int) bool { return len(names[i]) > len(names[j]) })
	for _, name := range names {
		name = html.EscapeString(name)
		if name == "" || u.Words(name) == name || !strings.Contains(text, name) {
			continue
		}
		text = strings.ReplaceAll(text, name, "\x01"+strconv.Itoa(len(hidden))+"\x01")
		hidden = append(hidden, name)
	}
	text = u.Words(text)
	for i, name := range hidden {
		text = strings.ReplaceAll(text, "\x01"+strconv.Itoa(i)+"\x01", name)
	}
	return text
}

// mileTicks are round miles in the place of the round kilometres under a strip.
func mileTicks(ticks string) string {
	type tick struct{ x, km float64 }
	var all []tick
	y := ""
	for _, m := range pageTick.FindAllStringSubmatch(ticks, -1) {
		x, _ := strconv.ParseFloat(m[1], 64)
		km, _ := strconv.ParseFloat(m[3], 64)
		all, y = append(all, tick{x, km}), m[2]
	}
	if len(all) < 2 || all[1].km <= all[0].km {
		return ticks
	}
	last := all[len(all)-1]
	perMile := (last.x - all[0].x) / (last.km - all[0].km) * 1.609344
	room := 0.8 * (all[1].x - all[0].x)
	step := 1.0
	for next := 0; step*perMile < room; next++ {
		step *= []float64{2, 2.5, 2}[next%3] // 1, 2, 5, 10, 20
	}
	var out strings.Builder
	for i := 0; float64(i)*step*perMile <= last.x-all[0].x+0.1*room; i++ {
		anchor := "middle"
		if i == 0 {
			anchor = "start"
		}
		fmt.Fprintf(&out, `<text class="tick" x="%s" y="%s" text-anchor="%s">%.0f mi</text>`, strconv.FormatFloat(all[0].x+float64(i)*step*perMile, 'f', 2, 64), y, anchor, float64(i)*step)
	}
	return out.String()
}
