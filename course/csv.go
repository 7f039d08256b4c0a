package course

import (
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// Limits of ReadCSV.
const (
	maxCSVBytes  = 20_000_000
	maxCSVPoints = 1_000_000
)

var csvFields = [2]string{"distance_m", "elevation_m"}

// ReadCSV reads a surveyed course: a header `distance_m,elevation_m`, then one
// point a line. Distance is along the road, starts at 0, strictly increases
// and ends at most at 2,000 km; elevation is metres from -500 to 9000. The
// course is taken as it is surveyed, straight between points, not smoothed.
//
// UTF-8 with or without byte order mark, any line ends; blank lines are
// ignored. Errors are one sentence with line, field and what was expected, for
// example `line 4, elevation_m: "x" is not a number; expected metres`. A rise
// or fall of more than the distance it takes (100 %), files above 20 MB and
// more than 1,000,000 points are refused.
func ReadCSV(r io.Reader) (Profile, error) {
	in, err := withoutMark(&cappedReader{r: r, limit: maxCSVBytes})
	if err != nil {
		return Profile{}, err
	}
	c := csv.NewReader(in)
	c.FieldsPerRecord = -1 // counted below, in our own words
	c.ReuseRecord = true
	if err := csvHeader(c); err != nil {
		return Profile{}, err
	}
	var p Profile
	line := 1
	for {
		record, err := c.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			return Profile{}, csvError(err, line+1)
		}
		line, _ = c.FieldPos(0)
		distance, elevation, err := csvPoint(record, line)
		if err != nil {
			return Profile{}, err
		}
		if err := p.checkNext(distance, elevation, line); err != nil {
			return Profile{}, err
		}
		p.Distance = append(p.Distance, distance)
		p.Elevation = append(p.Elevation, elevation)
	}
	if n := len(p.Distance); n < 2 {
		return Profile{}, inputError(fmt.Sprintf("line %d: the file ends after %s; expected at least 2", line, count(n, "point")))
	}
	return p, nil
}

func csvHeader(c *csv.Reader) error {
	want := strings.Join(csvFields[:], ",")
	record, err := c.Read()
	if err == io.EOF {
		return inputError(fmt.Sprintf("line 1: the file is empty; expected the header %q", want))
	}
	if err != nil {
		return csvError(err, 1)
	}
	line, _ := c.FieldPos(0)
	if got := strings.Join(record, ","); got != want {
		return inputError(fmt.Sprintf("line %d: header %q; expected %q", line, clip(got), want))
	}
	return nil
}

func csvError(err error, line int) error {
	var own inputError
	var parse *csv.ParseError
	switch {
	case errors.As(err, &own):
		return inputError(fmt.Sprintf("line %d: %s", line, string(own)))
	case errors.As(err, &parse):
		return inputError(fmt.Sprintf("line %d, column %d: a stray quotation mark; expected two plain numbers", parse.Line, parse.Column))
	}
	return inputError(fmt.Sprintf("line %d: the file cannot be read: %v", line, err))
}

func csvPoint(record []string, line int) (distance, elevation float64, err error) {
	if len(record) != 2 {
		return 0, 0, inputError(fmt.Sprintf("line %d: %s; expected 2, distance_m,elevation_m, with decimal points", line, count(len(record), "field")))
	}
	var v [2]float64
	for i, field := range record {
		v[i], err = strconv.ParseFloat(strings.TrimSpace(field), 64)
		if err != nil || math.IsNaN(v[i]) || math.IsInf(v[i], 0) {
			return 0, 0, inputError(fmt.Sprintf("line %d, %s: %q is not a number; expected metres", line, csvFields[i], clip(field)))
		}
	}
	return v[0], v[1], nil
}

// checkNext says what is wrong with a point that is to follow the last one.
func (p Profile) checkNext(distance, elevation float64, line int) error {
	fail := func(field int, format string, args ...any) error {
		return inputError(fmt.Sprintf("line %d, %s: ", line, csvFields[field]) + fmt.Sprintf(format, args...))
	}
	if elevation < lowestElevation || elevation > highestElevation {
		return fail(1, "%g; expected metres from %d to %d", elevation, lowestElevation, highestElevation)
	}
	n := len(p.Distance)
	if n == 0 {
		if distance != 0 {
			return fail(0, "%g; expected 0 at the first point", distance)
		}
		return nil
	}
	last := p.Distance[n-1]
	switch {
	case n >= maxCSVPoints:
		return fail(0, "more than %d points", maxCSVPoints)
	case !(distance > last):
		return fail(0, "%g; expected more than the %g of the point before", distance, last)
	case distance > MaxDistance:
		return fail(0, "%g; expected at most %d", distance, MaxDistance)
	case math.Abs(elevation-p.Elevation[n-1]) > distance-last:
		return fail(1, "from %g to %g m in %g m of road; expected a gradient of at most 100 %%",
			p.Elevation[n-1], elevation, distance-last)
	}
	return nil
}
