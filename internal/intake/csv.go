package intake

import (
	"bytes"
	"encoding/csv"
	"errors"
	"fmt"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf16"

	"chainline/internal/problem"
	"chainline/recording"
)

const (
	csvPreamble = 20 // lines that may stand before the header
	csvColumns  = 500
	csvCells    = 10_000_000 // of columns that are read, rows cut short included
	csvLine     = 1 << 20    // bytes of one line
)

// readCSV reads a table of a ride: a header somewhere in the first lines that
// names what its columns are, then one row for each instant. Delimiter,
// decimal comma, units and the form of the time are found out; what had to be
// guessed is said. Cells that are no numbers are gaps and are said too.
func readCSV(name string, data []byte) ([]Arrived, error) {
	data = asUTF8(data)
	if line := longest(data); line > csvLine {
		return nil, problem.Bad("%s: a line of %d kB; expected a table", name, line>>10)
	}
	h, err := findHeader(data)
	if err != nil {
		return nil, problem.Bad("%s: %v", name, err)
	}
	c := &csvReader{header: h, comma: h.delimiter != ','}
	if err := c.rows(data); err != nil {
		return nil, problem.Bad("%s: %v", name, err)
	}
	rec, losses, err := c.recording(titleOf(name))
	if err != nil {
		return nil, problem.Bad("%s: %v", name, err)
	}
	return []Arrived{{Kind: "CSV", Recording: rec, Losses: losses}}, nil
}

// asUTF8 takes the byte order mark away and turns UTF-16, as spreadsheets
// write it, into UTF-8.
func asUTF8(data []byte) []byte {
	var order func(b []byte) uint16
	switch {
	case bytes.HasPrefix(data, []byte{0xFF, 0xFE}):
		order = func(b []byte) uint16 { return uint16(b[0]) | uint16(b[1])<<8 }
	case bytes.HasPrefix(data, []byte{0xFE, 0xFF}):
		order = func(b []byte) uint16 { return uint16(b[1]) | uint16(b[0])<<8 }
	default:
		return bytes.TrimPrefix(data, []byte("\xEF\xBB\xBF"))
	}
	units := make([]uint16, 0, len(data)/2)
	for i := 2; i+1 < len(data); i += 2 {
		units = append(units, order(data[i:]))
	}
	return []byte(string(utf16.Decode(units)))
}

func longest(data []byte) int {
	longest := 0
	for line := range bytes.Lines(data) {
		longest = max(longest, len(line))
	}
	return longest
}

// header is what the columns of a table are.
type header struct {
	delimiter  rune
	line       int // it stands on
	offset     int // of the first byte behind it
	fields     []field
	names      []string
	quantities int  // how many fields are read
	ours       bool // Chainline's own table: rows speak of the time before them
}

// findHeader looks for the first line that names a time and a quantity, or two
// quantities.
func findHeader(data []byte) (header, error) {
	offset, number := 0, 0
	first := ""
	for line := range bytes.Lines(data) {
		offset += len(line)
		if number++; number > csvPreamble {
			break
		}
		text := strings.TrimSpace(string(line))
		if text == "" {
			continue
		}
		if first == "" {
			first = text
		}
		for _, delimiter := range []rune{'\t', ';', ','} {
			if h, ok := headerOf(strings.TrimLeft(text, "# "), delimiter); ok {
				h.line, h.offset = number, offset
				return h, nil
			}
		}
	}
	return header{}, fmt.Errorf("line 1: %q; expected a header that names a time and what was measured, like time_s,power_w,heart_rate_bpm,cadence_rpm", clip(first))
}

func headerOf(line string, delimiter rune) (header, bool) {
	r := csv.NewReader(strings.NewReader(line))
	r.Comma, r.LazyQuotes, r.TrimLeadingSpace = delimiter, true, delimiter != '\t'
	names, err := r.Read()
	if err != nil || len(names) > csvColumns {
		return header{}, false
	}
	h := header{delimiter: delimiter, names: names}
	times := 0
	for _, name := range names {
		f := fieldOf(name)
		h.fields = append(h.fields, f)
		switch {
		case f.time:
			times++
		case f.quantity != "":
			h.quantities++
		}
	}
	h.ours = len(names) > 2 && names[0] == "seconds" && names[1] == "paused" && names[len(names)-1] == "marks"
	return h, h.quantities > 0 && (times > 0 || h.quantities > 1 || len(names) == 1)
}

// csvReader goes through the rows below a header.
type csvReader struct {
	header
	comma  bool // a comma may be a decimal one
	table  table
	lines  []int
	cells  [][]float64 // by field, row for row
	clock  clockReader
	bad    int
	losses []string
	paused bool
}

func (c *csvReader) rows(data []byte) error {
	r := csv.NewReader(bytes.NewReader(data[c.offset:]))
	r.Comma, r.LazyQuotes, r.FieldsPerRecord, r.ReuseRecord = c.delimiter, true, -1, true
	r.TrimLeadingSpace = c.delimiter != '\t'
	c.cells = make([][]float64, len(c.fields))
	for {
		row, err := r.Read()
		if err == io.EOF {
			break
		}
		if err != nil {
			var parse *csv.ParseError
			if errors.As(err, &parse) {
				return fmt.Errorf("line %d: a stray quotation mark; expected a table", parse.Line+c.line)
			}
			return err
		}
		line, _ := r.FieldPos(0)
		line += c.line
		if len(c.lines) >= maxRows {
			return fmt.Errorf("line %d: more than %d rows", line, maxRows)
		}
		if len(c.lines)*c.quantities > csvCells {
			return fmt.Errorf("line %d: more than %d cells", line, csvCells)
		}
		c.row(row, line)
	}
	if len(c.lines) == 0 {
		return fmt.Errorf("line %d: the file ends after its header; expected a row for each instant", c.line)
	}
	return nil
}

func (c *csvReader) row(row []string, line int) {
	at := math.NaN()
	c.clock.begin()
	empty := true
	values := make([]float64, len(c.fields))
	for i, f := range c.fields {
		values[i] = math.NaN()
		if i >= len(row) {
			continue
		}
		cell := strings.TrimSpace(row[i])
		if isGap(cell) {
			continue
		}
		switch {
		case f.time:
			empty = false
			if !c.clock.take(f, cell, c.comma) {
				c.lose(line, i, cell, "seconds, h:mm:ss or a date and time")
			}
		case f.quantity != "":
			empty = false
			v, ok := decimal(cell, c.comma)
			if !ok {
				c.lose(line, i, cell, "a number")
				continue
			}
			values[i] = v
		}
	}
	if empty {
		return
	}
	at = c.clock.end()
	c.lines = append(c.lines, line)
	c.table.at = append(c.table.at, at)
	for i, f := range c.fields {
		if f.quantity != "" {
			c.cells[i] = append(c.cells[i], values[i])
		}
	}
	if c.ours {
		c.own(row, at)
	}
}

// own takes pauses and laps of a table of this program.
func (c *csvReader) own(row []string, at float64) {
	if len(row) < 2 {
		return
	}
	if now := row[1] == "1"; now != c.paused {
		kind := recording.Resume
		if now {
			kind = recording.Pause
		}
		c.paused = now
		step := 0.0
		if n := len(c.table.at); n > 1 {
			step = at - c.table.at[n-2]
		}
		c.table.marks = append(c.table.marks, recording.Mark{Seconds: at - step, Kind: kind})
	}
	for said := range strings.SplitSeq(row[len(row)-1], "; ") {
		if words, ok := strings.CutPrefix(said, "lap"); ok && len(row) == len(c.names) {
			c.table.marks = append(c.table.marks, recording.Mark{Seconds: at, Kind: recording.Lap, Words: strings.TrimPrefix(words, ": ")})
		}
	}
}

func isGap(cell string) bool {
	switch strings.ToLower(cell) {
	case "", "-", "--", "nan", "null", "none", "n/a", "na":
		return true
	}
	return false
}

// decimal reads a number with a point or, where that cannot be the delimiter
// or stands alone, a comma.
func decimal(cell string, comma bool) (float64, bool) {
	if i := strings.IndexByte(cell, ','); i >= 0 && strings.Count(cell, ",") == 1 && !strings.Contains(cell, ".") {
		cell = cell[:i] + "." + cell[i+1:]
	}
	v, err := strconv.ParseFloat(cell, 64)
	return v, err == nil && !math.IsNaN(v) && !math.IsInf(v, 0)
}

// lose notes a cell that is left out; the first few are quoted.
func (c *csvReader) lose(line, i int, cell, expected string) {
	if c.bad++; c.bad <= 5 {
		c.losses = append(c.losses, fmt.Sprintf("line %d, %s: %q; expected %s; left out", line, clip(c.names[i]), clip(cell), expected))
	}
}

// recording gives each column its unit and makes a recording of them.
func (c *csvReader) recording(title string) (recording.Recording, []string, error) {
	var losses []string
	say := func(format string, args ...any) { losses = append(losses, fmt.Sprintf(format, args...)) }
	times := c.clock.settle(say)
	c.table.at = times
	if c.ours && len(times) > 1 {
		if step := times[1] - times[0]; step > 0 && step <= 3600 { // false for an unknown one too
			c.table.back = step
		}
	}
	first, last := math.Inf(1), math.Inf(-1)
	for _, t := range times {
		if !math.IsNaN(t) {
			first, last = math.Min(first, t), math.Max(last, t)
		}
	}
	duration := last - first
	found, left := c.columns(duration, say)
	if len(left) > 0 {
		say("columns left out: %s", strings.Join(left[:min(len(left), 20)], ", "))
	}
	if c.bad > 5 {
		c.losses = append(c.losses, fmt.Sprintf("%d cells in all are no numbers and left out", c.bad))
	}
	losses = append(losses, c.losses...)
	if !found {
		why := fmt.Sprintf("line %d: no row has a value; expected numbers below the header", c.line+1)
		if len(c.losses) > 0 {
			why = c.losses[0]
		}
		return recording.Recording{}, nil, errors.New(why)
	}
	rec, more := c.table.recording(title, "unknown", c.clock.zone, func(i int) string { return fmt.Sprintf("line %d", c.lines[i]) })
	return rec, append(losses, more...), nil
}

// columns gives each column its unit and source; found: one has a value. left
// are the names of those that are not read.
func (c *csvReader) columns(duration float64, say func(string, ...any)) (found bool, left []string) {
	taken := map[recording.Quantity]bool{}
	for i, f := range c.fields {
		if f.quantity == "" {
			if !f.time && !c.ours && strings.TrimSpace(c.names[i]) != "" {
				left = append(left, clip(c.names[i]))
			}
			continue
		}
		scale, guess := f.unit.scale(f.quantity, c.cells[i], duration)
		if guess != "" {
			say("%s: the header names no unit; taken as %s by its values", clip(c.names[i]), guess)
		}
		for k := range c.cells[i] {
			c.cells[i][k] *= scale
			found = found || !math.IsNaN(c.cells[i][k])
		}
		source := f.source
		if source == "" {
			source = "recorded"
		}
		if taken[f.quantity] && f.source == "" {
			source = clip(strings.TrimSpace(c.names[i]))
		}
		for n := 2; slices.ContainsFunc(c.table.columns, func(x *column) bool { return x.quantity == f.quantity && x.source == source }); n++ {
			source = fmt.Sprintf("%s %d", clip(c.names[i]), n)
		}
		taken[f.quantity] = true
		c.table.columns = append(c.table.columns, &column{quantity: f.quantity, source: source, values: c.cells[i]})
	}
	return found, left
}
