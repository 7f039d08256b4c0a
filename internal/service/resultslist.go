package service

import (
	"bytes"
	"encoding/csv"
	"errors"
	"io"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"chainline/internal/calendar"
	"chainline/internal/problem"
)

// ResultRow is one line of a result list. What is not known is 0 or empty.
type ResultRow struct {
	Place    int     `json:"place,omitempty"`
	Name     string  `json:"name,omitempty"` // only of whom it was asked for
	Number   string  `json:"number,omitempty"`
	Category string  `json:"category,omitempty"`
	Seconds  float64 `json:"seconds,omitempty"` // from the gun
	Watts    float64 `json:"watts,omitempty"`   // displayed, mean over the race
	WPerKg   float64 `json:"w_per_kg,omitempty"`
	Out      bool    `json:"out,omitempty"` // did not start, did not finish, or was taken out
}

// Limits of a result list. Our judgement.
const (
	mostResultBytes = 4 << 20
	mostResults     = 20000
	longestRace     = 48 * 3600.0 // s
)

// resultColumns are the names by which a list may call what it has.
var resultColumns = map[string][]string{
	"place":    {"place", "pos", "position", "rank", "#", "overall"},
	"name":     {"name", "rider", "athlete", "participant", "full name"},
	"number":   {"number", "no", "no.", "bib", "start number", "nr"},
	"category": {"category", "cat", "class", "pen", "field"},
	"time":     {"time", "finish time", "finish", "total time", "result", "elapsed", "seconds", "time s"},
	"gap":      {"gap", "behind", "diff", "difference", "time gap", "gap s"},
	"watts":    {"watts", "power", "avg power", "average power", "mean power", "w", "avg watts", "watts avg"},
	"wkg":      {"w/kg", "wkg", "w per kg", "watts per kg", "watts per kilogram", "avg wkg", "w kg"},
	"status":   {"status", "state"},
}

// outWords say that a rider has no result.
var outWords = []string{"dnf", "dns", "dsq", "dq", "out", "withdrawn", "did not finish", "did not start", "disqualified"}

// ReadResults reads a result list from CSV, whatever parts its cells and
// whatever order its columns have. A gap counts from the first finisher.
func ReadResults(name string, r io.Reader) ([]ResultRow, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostResultBytes+1))
	data = bytes.TrimPrefix(data, []byte("\xef\xbb\xbf"))
	switch {
	case err != nil:
		return nil, &problem.Error{Kind: problem.Failed, Message: name + ": cannot be read; expected a result list", Err: err}
	case len(data) > mostResultBytes:
		return nil, problem.Bad("%s: is larger than %d MB; expected a result list", name, mostResultBytes>>20)
	case !utf8.Valid(data):
		return nil, problem.Bad("%s: is no text in UTF-8; expected a result list as CSV", name)
	case len(bytes.TrimSpace(data)) == 0:
		return nil, problem.Bad("%s: is empty; expected a result list as CSV", name)
	}
	c := csv.NewReader(bytes.NewReader(data))
	c.FieldsPerRecord, c.Comma = -1, calendar.Delimiter(data)
	c.TrimLeadingSpace = c.Comma != '\t' // which is a space too
	head, err := c.Read()
	if err != nil {
		return nil, resultError(name, err)
	}
	at := resultHeader(head)
	_, timed := at["time"]
	_, gaps := at["gap"]
	if _, placed := at["place"]; !timed && !gaps && !placed {
		return nil, problem.Bad("%s:1: header: found %q; expected a column time, gap or place, and name or number, category, watts, w/kg as you like", name, clipped(strings.Join(head, string(c.Comma))))
	}
	l := &resultList{file: name, at: at}
	for {
		row, err := c.Read()
		if errors.Is(err, io.EOF) {
			return l.done()
		}
		if err != nil {
			return nil, resultError(name, err)
		}
		line, _ := c.FieldPos(0)
		if strings.TrimSpace(strings.Join(row, "")) == "" {
			continue
		}
		if len(l.rows) >= mostResults {
			return nil, problem.Bad("%s:%d: line: found one more; expected at most %d results", name, line, mostResults)
		}
		if err := l.add(row, line); err != nil {
			return nil, err
		}
	}
}

func resultHeader(head []string) map[string]int {
	at := map[string]int{}
	for i, cell := range head {
		plain := strings.Join(strings.Fields(strings.NewReplacer("_", " ", "(", " ", ")", " ").Replace(strings.ToLower(cell))), " ")
		for key, names := range resultColumns {
			if _, taken := at[key]; !taken && slices.Contains(names, plain) {
				at[key] = i
			}
		}
	}
	return at
}

func resultError(name string, err error) error {
	if e, ok := errors.AsType[*csv.ParseError](err); ok {
		return problem.Bad("%s:%d: line: found %s; expected cells in order, with quotes that close", name, e.Line, e.Err)
	}
	return problem.Bad("%s: cannot be read; expected a result list as CSV", name)
}

func clipped(s string) string {
	if len(s) > 80 {
		return strings.ToValidUTF8(s[:77], "") + "..."
	}
	return s
}

// resultList is a list while it is read.
type resultList struct {
	file string
	at   map[string]int
	rows []ResultRow
	gaps []float64 // s behind the first; NaN unless the row has only that
}

func (l *resultList) add(row []string, line int) error {
	cell := func(key string) string {
		if i, ok := l.at[key]; ok && i < len(row) {
			return strings.TrimSpace(row[i])
		}
		return ""
	}
	refuse := func(field, expected string) error {
		return problem.Bad("%s:%d: %s: found %q; expected %s", l.file, line, field, clipped(cell(field)), expected)
	}
	r := ResultRow{Name: clipped(cell("name")), Number: clipped(cell("number")), Category: clipped(cell("category"))}
	gap := math.NaN()
	for _, word := range []string{cell("status"), cell("place"), cell("time"), cell("gap")} {
		r.Out = r.Out || slices.Contains(outWords, strings.ToLower(word))
	}
	if s := strings.TrimRight(cell("place"), "."); s != "" && !r.Out {
		n, err := strconv.Atoi(s)
		if err != nil || n < 1 || n > mostResults {
			return refuse("place", "a place from 1 on, or DNF")
		}
		r.Place = n
	}
	if s := cell("time"); s != "" && s != "-" && !r.Out {
		if strings.HasPrefix(s, "+") { // some lists give the first a time and the others a gap
			seconds, ok := raceTime(s[1:])
			if !ok {
				return refuse("time", "a gap like +0:12")
			}
			gap = seconds
		} else if seconds, ok := raceTime(s); !ok || seconds <= 0 {
			return refuse("time", "a time like 1:02:33.4, or seconds")
		} else {
			r.Seconds = seconds
		}
	}
	if s := cell("gap"); s != "" && s != "-" && !r.Out && r.Seconds == 0 {
		seconds, ok := raceTime(strings.TrimPrefix(s, "+"))
		if !ok {
			return refuse("gap", "a gap like +0:12, or seconds")
		}
		gap = seconds
	}
	var ok bool
	if r.Watts, ok = resultNumber(cell("watts"), "w", 3000); !ok {
		return refuse("watts", "watts from 1 to 3000")
	}
	if r.WPerKg, ok = resultNumber(cell("wkg"), "w/kg", 20); !ok {
		return refuse("wkg", "watts per kilogram up to 20")
	}
	l.rows, l.gaps = append(l.rows, r), append(l.gaps, gap)
	return nil
}

// resultNumber is 0 for an empty cell.
func resultNumber(s, unit string, most float64) (float64, bool) {
	s = strings.TrimSpace(strings.TrimSuffix(strings.ToLower(s), unit))
	if s == "" || s == "-" || s == "0" {
		return 0, true
	}
	v, err := strconv.ParseFloat(strings.Replace(s, ",", ".", 1), 64)
	return v, err == nil && v > 0 && v <= most
}

// raceTime reads 1:02:33.4, 2:33 or seconds.
func raceTime(s string) (float64, bool) {
	s = strings.TrimSuffix(strings.TrimSpace(strings.ToLower(s)), "s")
	parts := strings.Split(strings.Replace(s, ",", ".", 1), ":")
	if len(parts) > 3 {
		return 0, false
	}
	total := 0.0
	for i, p := range parts {
		v, err := strconv.ParseFloat(strings.TrimSpace(p), 64)
		if err != nil || !(v >= 0) || i > 0 && v >= 60 || i < len(parts)-1 && v != math.Floor(v) {
			return 0, false
		}
		total = 60*total + v
	}
	return total, total <= longestRace
}

// done turns gaps into times where the first one's is known, and puts the
// finishers in order.
func (l *resultList) done() ([]ResultRow, error) {
	first := math.Inf(1)
	for _, r := range l.rows {
		if r.Seconds > 0 {
			first = math.Min(first, r.Seconds)
		}
	}
	for i := range l.rows {
		if !math.IsNaN(l.gaps[i]) && !math.IsInf(first, 1) {
			l.rows[i].Seconds = first + l.gaps[i]
		}
	}
	if len(l.rows) == 0 {
		return nil, problem.Bad("%s: has a header and no result; expected one line for each rider", l.file)
	}
	order := make([]int, len(l.rows))
	for i := range order {
		order[i] = i
	}
	key := func(i int) (float64, float64) {
		r := l.rows[i]
		switch {
		case r.Out:
			return 3, float64(i)
		case r.Seconds > 0:
			return 0, r.Seconds
		case !math.IsNaN(l.gaps[i]):
			return 0, l.gaps[i]
		case r.Place > 0:
			return 1, float64(r.Place)
		}
		return 2, float64(i)
	}
	slices.SortStableFunc(order, func(a, b int) int {
		ka, va := key(a)
		kb, vb := key(b)
		switch {
		case ka != kb:
			return int(ka - kb)
		case va < vb:
			return -1
		case va > vb:
			return 1
		}
		return 0
	})
	out := make([]ResultRow, len(order))
	for i, k := range order {
		out[i] = l.rows[k]
	}
	return out, nil
}
