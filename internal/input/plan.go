package input

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"regexp"
	"strconv"
	"strings"

	"chainline/internal/problem"
)

// PlanRow is one piece of a plan: from here to there (m) hold these watts.
type PlanRow struct{ FromM, ToM, Watts float64 }

var planFields = []field{
	{key: "from_m", unit: "m", low: 0, high: 2e6, needed: true},
	{key: "to_m", unit: "m", low: 0, high: 2e6, needed: true},
	{key: "watts", unit: "W", low: 0, high: 3000, needed: true},
}

// ReadPlan reads a plan in CSV with the header from_m,to_m,watts: rows in
// order from 0 without gaps or overlaps. Whether it reaches the end of the
// course is for the caller to check.
func ReadPlan(name string, r io.Reader) ([]PlanRow, error) {
	f := &file{name: name}
	data := f.slurp(r)
	if f.err != nil {
		return nil, f.err
	}
	c := csv.NewReader(bytes.NewReader(data))
	c.TrimLeadingSpace = true
	c.ReuseRecord = true
	c.FieldsPerRecord = -1
	var rows []PlanRow
	for header := true; ; header = false {
		record, err := c.Read()
		if errors.Is(err, io.EOF) {
			break
		}
		if err != nil {
			f.planSyntax(err)
			return nil, f.err
		}
		if header {
			f.planHeader(c, record)
		} else {
			rows = append(rows, f.planRow(c, record, rows))
		}
		if f.err != nil {
			return nil, f.err
		}
	}
	if len(rows) == 0 {
		f.failAt(1, 1, "", "no rows", "a header from_m,to_m,watts and at least one row", "")
		return nil, f.err
	}
	return rows, nil
}

func (f *file) planSyntax(err error) {
	if e, ok := errors.AsType[*csv.ParseError](err); ok {
		f.failAt(e.Line, e.Column, "", "a quotation mark that is not closed or out of place", "numbers without quotes", "")
		return
	}
	f.failAt(1, 1, "", "not readable as CSV", "a header from_m,to_m,watts and rows of numbers", "")
}

func (f *file) planHeader(c *csv.Reader, record []string) {
	want := []string{"from_m", "to_m", "watts"}
	for i := range max(len(record), len(want)) {
		if i < len(record) && i < len(want) && strings.TrimSpace(record[i]) == want[i] {
			continue
		}
		line, column := c.FieldPos(min(i, len(record)-1))
		f.failAt(line, column, "header", "found "+strconv.Quote(clip(strings.Join(record, ","))), "from_m,to_m,watts", "")
		return
	}
}

func (f *file) planRow(c *csv.Reader, record []string, before []PlanRow) PlanRow {
	if len(record) != len(planFields) {
		line, column := c.FieldPos(0)
		f.failAt(line, column, "", fmt.Sprintf("a row of %d", len(record)), "3 values: from_m,to_m,watts", "Numbers take a point, not a comma; values are separated by commas.")
		return PlanRow{}
	}
	var v [3]float64
	for i := range v {
		v[i] = f.planNumber(c, i, record[i])
	}
	row, end := PlanRow{v[0], v[1], v[2]}, 0.0
	if len(before) > 0 {
		end = before[len(before)-1].ToM
	}
	line, column := c.FieldPos(0)
	switch {
	case len(before) == 0 && row.FromM != 0:
		f.failAt(line, column, "from_m", fmt.Sprintf("the plan begins at %g m", row.FromM), "0", "")
	case row.FromM > end:
		f.failAt(line, column, "from_m", fmt.Sprintf("a gap from %g to %g m", end, row.FromM), fmt.Sprintf("%g, where the row before ends", end), "")
	case row.FromM < end:
		f.failAt(line, column, "from_m", fmt.Sprintf("%g m lies before the end of the row before", row.FromM), fmt.Sprintf("%g", end), "")
	case row.ToM <= row.FromM:
		line, column = c.FieldPos(1)
		f.failAt(line, column, "to_m", fmt.Sprintf("%g is not beyond from_m, %g", row.ToM, row.FromM), "a piece that has a length", "")
	}
	return row
}

func (f *file) planNumber(c *csv.Reader, i int, s string) float64 {
	want := planFields[i]
	line, column := c.FieldPos(i)
	s = strings.TrimSpace(s)
	if !numeral.MatchString(s) {
		f.failAt(line, column, want.key, "found "+strconv.Quote(clip(s)), want.what(), "")
		return 0
	}
	v, err := strconv.ParseFloat(s, 64)
	if err != nil || v < want.low || v > want.high {
		f.failAt(line, column, want.key, clip(s)+" is out of range", want.what(), "")
		return 0
	}
	return v + 0
}

const lengthExpected = "a length like 21.4km or 800m"

var lengthForm = regexp.MustCompile(`^(\d+(?:\.\d*)?|\.\d+) ?(km|m)$`)

// ParseLength reads a length like "21.4km" or "800m" in metres, from 0 to
// 2000 km.
func ParseLength(s string) (float64, error) {
	m := lengthForm.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		e := problem.Bad("%q is not a length; expected %s", clip(s), lengthExpected)
		switch {
		case strings.Contains(s, ","):
			return 0, e.WithHint("Write a point, not a comma.")
		case numeral.MatchString(s):
			return 0, e.WithHint("Write the unit too: " + clip(s) + "km or " + clip(s) + "m.")
		}
		return 0, e
	}
	v, err := strconv.ParseFloat(m[1], 64)
	if m[2] == "km" {
		v *= 1000
	}
	if err != nil || v > 2e6 {
		return 0, problem.Bad("%q is out of range; expected a length from 0 to 2000 km", clip(s))
	}
	return v, nil
}

// SketchClimb is the main climb of a course of which little else is known.
type SketchClimb struct {
	Length, Ascent float64           // m
	From           Optional[float64] // m from the start
}

const (
	climbExpected = "a climb like 5.2km@6.1% or 5.2km/310m, optionally with 'from 12km'"
	steepest      = 0.4 // mean gradient of a climb that a bicycle can be ridden up, generously
)

var climbForm = regexp.MustCompile(`^([^@/]+)(@|/)(.+?)(?:\s+from\s+(.+))?$`)

// ParseSketchClimb reads a climb as length@mean gradient or length/ascent,
// with or without the place where it begins: "5.2km@6.1%", "5.2km/310m",
// "5.2km@6.1% from 12km". The gradient is rise over distance along the road.
func ParseSketchClimb(s string) (SketchClimb, error) {
	bad := problem.Bad("%q is not a climb; expected %s", clip(s), climbExpected)
	m := climbForm.FindStringSubmatch(strings.TrimSpace(s))
	if m == nil {
		return SketchClimb{}, bad
	}
	var c SketchClimb
	var err error
	if c.Length, err = ParseLength(m[1]); err != nil {
		return SketchClimb{}, bad
	}
	if m[2] == "@" {
		percent, isPercent := strings.CutSuffix(strings.TrimSpace(m[3]), "%")
		gradient, err := strconv.ParseFloat(percent, 64)
		if err != nil || !isPercent || !numeral.MatchString(percent) {
			return SketchClimb{}, bad
		}
		c.Ascent = c.Length * gradient / 100
	} else if c.Ascent, err = ParseLength(m[3]); err != nil {
		return SketchClimb{}, bad
	}
	if m[4] != "" {
		from, err := ParseLength(m[4])
		if err != nil {
			return SketchClimb{}, bad
		}
		c.From = Some(from)
	}
	if !(c.Length > 0 && c.Ascent > 0 && c.Ascent <= steepest*c.Length) || math.IsInf(c.Ascent, 0) {
		return SketchClimb{}, problem.Bad("%q is out of range; expected a climb with a length and a mean gradient above 0 and up to 40 %%", clip(s))
	}
	return c, nil
}
