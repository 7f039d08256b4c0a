package render

import (
	"math"
	"strings"
)

// strip draws the strip in characters, two columns in.
func (t *terminal) strip(s Strip) {
	put := func(rows ...string) {
		for _, r := range rows {
			t.line("  " + r)
		}
	}
	if len(s.Bands) > 0 {
		put(effortRows(s)...)
	}
	put(hillRows(s)...)
	if s.Chain > 0 {
		put(chainRow(s), labelRow(s, s.Targets))
	}
	put(labelRow(s, s.Ticks))
}

const effortHeight = 5 // rows

// effortRow is the row of an effort: critical power has the middle row to
// itself (within 2 %), harder lies above it and easier below, in proportion.
func effortRow(share, most float64) int {
	const middle = effortHeight / 2
	switch {
	case math.Abs(share-1) <= 0.02:
		return middle
	case share > 1:
		return middle - min(middle, int(math.Ceil((share-1)/(most-1)*middle)))
	}
	return middle + min(middle, max(1, int(math.Ceil((1-math.Max(share, 0))*middle))))
}

func effortRows(s Strip) []string {
	n := int(s.Plot)
	most := 1.25
	for _, b := range s.Bands {
		most = math.Max(most, b.Share)
	}
	rows := make([][]rune, effortHeight)
	for i := range rows {
		fill := " "
		if i == effortHeight/2 && s.Critical > 0 {
			fill = "·"
		}
		rows[i] = []rune(strings.Repeat(fill, n))
	}
	last, k := -1, 0
	for x := range n {
		m := (float64(x) + 0.5) / s.Plot * s.Length
		for k+1 < len(s.Bands) && m >= s.Bands[k].ToM {
			k++
		}
		row := effortRow(s.Bands[k].Share, most)
		if last >= 0 && row != last {
			top, bottom := '┌', '┘'
			if row > last {
				top, bottom = '┐', '└'
			}
			for r := min(row, last); r <= max(row, last); r++ {
				rows[r][x] = '│'
			}
			rows[min(row, last)][x], rows[max(row, last)][x] = top, bottom
		} else {
			rows[row][x] = '─'
		}
		last = row
	}
	return texts(rows)
}

func texts(rows [][]rune) []string {
	var out []string
	for _, r := range rows {
		out = append(out, string(r))
	}
	return out
}

// heightAt reads an outline at a column, in rows above the foot.
func heightAt(line []Point, x, base float64) float64 {
	for i := 1; i < len(line); i++ {
		if x <= line[i].X {
			a, b := line[i-1], line[i]
			f := 0.0
			if b.X > a.X {
				f = (x - a.X) / (b.X - a.X)
			}
			return base - (a.Y + f*(b.Y-a.Y))
		}
	}
	return base - line[len(line)-1].Y
}

// hillRows draw the silhouette with eighths of a block; where several are
// possible, shade says how many of them are that high.
func hillRows(s Strip) []string {
	if len(s.Outlines) == 0 {
		return nil
	}
	n, h := int(s.Plot), int(s.HillBase-s.HillTop)
	rows := make([][]rune, h)
	for r := range rows {
		rows[r] = []rune(strings.Repeat(" ", n))
		for x := range n {
			floor, over := float64(h-1-r), 0
			height := 0.0
			for _, line := range s.Outlines {
				height = heightAt(line, float64(x)+0.5, s.HillBase)
				if height > floor+0.5 {
					over++
				}
			}
			if len(s.Outlines) == 1 {
				rows[r][x] = []rune(" ▁▂▃▄▅▆▇█")[int(math.Round(8*max(0, min(1, height-floor))))]
				continue
			}
			rows[r][x] = []rune(" ░▒▓█")[int(math.Ceil(4*float64(over)/float64(len(s.Outlines))))]
		}
	}
	return texts(rows)
}

// chainRow is the chainline with its beads; a mark stands where a cue of a
// range starts.
func chainRow(s Strip) string {
	row := []rune(strings.Repeat("─", int(s.Plot)))
	for _, x := range s.Marks {
		row[min(int(x), len(row)-1)] = '┴'
	}
	for _, b := range s.Beads {
		start := int(math.Round(b.X - b.Half))
		for i, r := range []rune(b.Label) {
			if k := start + i; k >= 0 && k < len(row) {
				row[k] = r
			}
		}
		for _, k := range []int{start - 1, start + len([]rune(b.Label))} {
			if k >= 0 && k < len(row) && row[k] == '┴' { // beside a number it would read as a digit
				row[k] = '─'
			}
		}
	}
	return string(row)
}

// labelRow sets labels where they belong; one that would touch its left
// neighbour is left out.
func labelRow(s Strip, labels []Label) string {
	row := []rune(strings.Repeat(" ", int(s.Width)))
	free := 0
	for _, l := range labels {
		text := []rune(clean(l.Text))
		start := l.X
		switch l.Anchor {
		case "middle":
			start -= float64(len(text)) / 2
		case "end":
			start -= float64(len(text))
		}
		at := max(0, min(int(math.Round(start)), len(row)-len(text)))
		if at < free {
			continue
		}
		copy(row[at:], text)
		free = at + len(text) + 1
	}
	return string(row)
}
