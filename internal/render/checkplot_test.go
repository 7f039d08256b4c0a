package render

import (
	"encoding/xml"
	"errors"
	"io"
	"strings"
	"testing"

	"chainline/rig"
)

func TestCheckPlot(t *testing.T) {
	p := rig.Plot{X: "trainer, W", Y: "meter <crank>, W", Points: [][2]float64{{100, 104}, {150, 155}, {200, 209}},
		Lines: [][][2]float64{{{100, 100}, {200, 200}}, {{100, 104}, {200, 208}}}, Names: []string{"the same", "the fit"}}
	svg := string(CheckPlot(p))
	d := xml.NewDecoder(strings.NewReader(svg))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			t.Fatalf("%v\n%s", err, svg)
		}
	}
	if strings.Count(svg, "<circle") != 3 || strings.Count(svg, `class="line"`) != 4 || !strings.Contains(svg, "the fit") || strings.Contains(svg, "<crank>") || strings.Contains(svg, "NaN") {
		t.Error(svg)
	}
	words := CheckPlotWords(p)
	if want := "3 points; trainer, W from 97 to 203, meter <crank>, W from 101 to 212. The line ‘the same’ goes from 100 at 100 to 200 at 200. The line ‘the fit’ goes from 104 at 100 to 208 at 200."; words != want {
		t.Errorf("%s\nwant %s", words, want)
	}
}

// What cannot be drawn gives nothing, and one point a picture.
func TestCheckPlotOfLittle(t *testing.T) {
	if s := CheckPlot(rig.Plot{X: "s", Y: "W"}); s != "" {
		t.Error(s)
	}
	if s := string(CheckPlot(rig.Plot{Points: [][2]float64{{5, 5}}})); !strings.Contains(s, "<circle") || strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
		t.Error(s)
	}
}

func TestTicks(t *testing.T) {
	for _, x := range []struct{ from, to float64 }{{0, 1}, {-3, 250}, {0.001, 0.004}, {1800, 1860}} {
		all := ticks(x.from, x.to, 5)
		if len(all) < 2 || len(all) > 7 || all[0] < x.from || all[len(all)-1] > x.to {
			t.Errorf("%v: %v", x, all)
		}
	}
}
