package web

import (
	"fmt"
	"html"
	"html/template"
	"math"
	"strings"

	"chainline/course"
	"chainline/estimate"
	"chainline/internal/form"
	"chainline/internal/service"
)

// The strip of a race: the course's silhouette, above it the chance of still
// being with the front group, and under it the chainline with a bead for each
// decisive moment. The chance is a band from low to high shelter around the
// line for middling shelter. Its words stand beside it.
func racePicture(sheet service.RaceSheet, c service.RaceCategory, u form.Units) template.HTML {
	if len(sheet.Profile) < 2 || len(c.Along) < 2 {
		return ""
	}
	words := html.EscapeString("The chance of still being with the front group along the course. " + chanceInWords(c, u))
	return template.HTML(raceStrip(sheet, c, u, "wide", 1076, 300, 8, words) + raceStrip(sheet, c, u, "phone", 360, 270, 4, words))
}

// raceProfile is the course as it was raced.
func raceProfile(sheet service.RaceSheet) course.Profile {
	var p course.Profile
	for _, x := range sheet.Profile {
		p.Distance, p.Elevation = append(p.Distance, x.M), append(p.Elevation, x.Elevation)
	}
	return p
}

func raceStrip(sheet service.RaceSheet, c service.RaceCategory, u form.Units, class string, width, height float64, ticks int, words string) string {
	p := raceProfile(sheet)
	const side, foot = 62.0, 58.0
	base := height - foot
	middle := 0.56 * base // the chance stands above it, the hill below
	f := courseFrame([]course.Profile{p}, 0, width-side, middle+30, base)
	y := func(chance float64) float64 { return middle - (middle-12)*chance }
	var s strings.Builder
	fmt.Fprintf(&s, `<svg class="way raced %s" viewBox="0 0 %s %s" role="img" aria-label="%s">`, class, coordText(width), coordText(height), words)
	for _, rule := range []struct {
		at   float64
		name string
	}{{0, "0 %"}, {0.5, "50 %"}, {1, "100 %"}} {
		kind := map[bool]string{true: "half", false: "rule"}[rule.at == 0.5]
		fmt.Fprintf(&s, `<path class="%s" d="M0 %sH%s"/><text class="tick" x="%s" y="%s">%s</text>`, kind, coordText(y(rule.at)), coordText(f.right), coordText(f.right+8), coordText(y(rule.at)+5), rule.name)
	}
	raceLines(&s, c.Along, f, y)
	line := f.line(p, 400)
	fmt.Fprintf(&s, `<path class="ground" d="%s"/><path class="outline" d="%s"/>`, f.ground(line), line)
	courseHeights(&s, f, p, u)
	courseTicks(&s, f, u, height-6, ticks)
	raceBeads(&s, f, c.Moments, height-36)
	s.WriteString(`</svg>`)
	return s.String()
}

// raceLines are the band and the line of the chance.
func raceLines(s *strings.Builder, along []service.RacePlace, f silhouette, y func(float64) float64) {
	var band, line strings.Builder
	for i, a := range along {
		at := map[bool]string{true: "M", false: "L"}[i == 0]
		band.WriteString(at + coordText(f.x(a.M)) + " " + coordText(y(max(a.Low, a.Middle, a.High))))
		line.WriteString(at + coordText(f.x(a.M)) + " " + coordText(y(a.Middle)))
	}
	for i := len(along) - 1; i >= 0; i-- {
		a := along[i]
		band.WriteString("L" + coordText(f.x(a.M)) + " " + coordText(y(min(a.Low, a.Middle, a.High))))
	}
	fmt.Fprintf(s, `<path class="shelters" d="%sZ"/><path class="held" d="%s"/>`, band.String(), line.String())
}

// raceBeads mark the decisive moments on the chainline, most decisive first.
func raceBeads(s *strings.Builder, f silhouette, moments []service.RaceMoment, y float64) {
	fmt.Fprintf(s, `<path class="line" d="M0 %sH%s"/>`, coordText(y), coordText(f.right))
	for _, m := range moments {
		fmt.Fprintf(s, `<path class="stretch" d="M%s %sH%s"/>`, coordText(f.x(m.FromM)), coordText(y), coordText(f.x(m.ToM)))
	}
	const r = 11.0
	var taken []float64
	for i, m := range moments {
		x := min(max(f.x((m.FromM+m.ToM)/2), r+1), f.right-r)
		for _, t := range taken { // neighbours stand clear of each other
			if math.Abs(t-x) < 2.2*r {
				x = map[bool]float64{true: t + 2.2*r, false: t - 2.2*r}[x >= t && t+2.2*r < f.right-r]
			}
		}
		taken = append(taken, x)
		fmt.Fprintf(s, `<circle class="bead" cx="%s" cy="%s" r="%s"/><text class="number" x="%s" y="%s" text-anchor="middle">%d</text>`, coordText(x), coordText(y), coordText(r), coordText(x), coordText(y+4.6), i+1)
	}
}

// chanceInWords is the picture in a sentence.
func chanceInWords(c service.RaceCategory, u form.Units) string {
	var said []string
	last := math.Inf(1)
	for i, a := range c.Along {
		if i > 0 && (last-a.Middle >= 0.1 || i == len(c.Along)-1) {
			said = append(said, fmt.Sprintf("%s at %s", estimate.Chance(a.Middle), u.Distance(a.M)))
			last = a.Middle
		} else if i == 0 {
			last = a.Middle
		}
	}
	return fmt.Sprintf("With middling shelter: %s. Low shelter ends at %s, high at %s.", strings.Join(said, ", "), estimate.Chance(c.LowShelter), estimate.Chance(c.TopShelter))
}
