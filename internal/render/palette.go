package render

import (
	"fmt"
	"math"
	"strings"
)

// token is one colour of the page in its light and its dark form.
type token struct {
	name, light, dark string
	text              bool // used for text on paper, so held to 4.5:1
}

var tokens = []token{
	{"paper", "#fbfaf6", "#16131c", false},
	{"ink", "#171a21", "#f3efe6", true},
	{"quiet", "#5c584f", "#a49dae", true},
	{"rule", "#e4dfd3", "#2c2836", false},
	{"accent", "#0f7c74", "#7fd0c8", true},
}

// intensityStops run from rest to the hardest effort; lightness only falls
// on light paper and only rises on dark.
var (
	intensityLight = []string{"#e9e4d8", "#dbc48c", "#d09652", "#b86644", "#8b3c4a", "#4f2147"}
	intensityDark  = []string{"#2c2836", "#5c3e54", "#8c4e54", "#bc6c50", "#e4a65e", "#faecbe"}
)

// levels is the number of steps the intensity scale is drawn in, fullShare
// the share of critical power at which it is at its end. Our judgement: fine
// enough to tell neighbouring cues apart, and critical power itself lies a
// little above the middle, where the hue changes most.
const (
	levels    = 11
	fullShare = 1.7
)

// level is the step of the intensity scale for a share of critical power.
func level(share float64) int {
	if !(share > 0) {
		return 0
	}
	return min(levels-1, int(math.Round(share/fullShare*(levels-1))))
}

// Level is the step of the intensity scale for a share of critical power: what
// is at --kN in the pages' style sheets.
func Level(share float64) int { return level(share) }

// intensity is the colour of one step, between the stops on either side.
func intensity(stops []string, step int) string {
	at := float64(step) / (levels - 1) * float64(len(stops)-1)
	i := min(int(at), len(stops)-2)
	a, b := rgb(stops[i]), rgb(stops[i+1])
	var c [3]int
	for k := range c {
		c[k] = int(math.Round(a[k] + (at-float64(i))*(b[k]-a[k])))
	}
	return fmt.Sprintf("#%02x%02x%02x", c[0], c[1], c[2])
}

// rgb reads #rrggbb; the palette above is the only caller.
func rgb(hex string) [3]float64 {
	var r, g, b int
	if _, err := fmt.Sscanf(hex, "#%02x%02x%02x", &r, &g, &b); err != nil {
		panic("render: bad colour " + hex)
	}
	return [3]float64{float64(r), float64(g), float64(b)}
}

// variables are the CSS custom properties of the light or the dark page.
func variables(dark bool) string {
	var s strings.Builder
	for _, t := range tokens {
		c := t.light
		if dark {
			c = t.dark
		}
		fmt.Fprintf(&s, "--%s:%s;", t.name, c)
	}
	stops := intensityLight
	if dark {
		stops = intensityDark
	}
	for i := range levels {
		fmt.Fprintf(&s, "--k%d:%s;", i, intensity(stops, i))
	}
	return s.String()
}
