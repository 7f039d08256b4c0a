package recording

import (
	"encoding/csv"
	"fmt"
	"io"
	"math"
	"strconv"
	"strings"
)

// printed is how a quantity stands in a CSV file: its column's name, which
// ends in the unit, and the digits after the point.
var printed = map[Quantity]struct {
	name   string
	digits int
}{
	Power: {"power_w", 1}, Cadence: {"cadence_rpm", 1}, WheelSpeed: {"wheel_speed_m_s", 3},
	MachineSpeed: {"machine_speed_m_s", 3}, HeartRate: {"heart_rate_bpm", 1}, LeftShare: {"left_share", 3},
	Resistance: {"resistance", 2}, Battery: {"battery", 2}, Position: {"position_m", 2}, Speed: {"speed_m_s", 3},
	Gradient: {"gradient", 5}, Altitude: {"altitude_m", 2}, Latitude: {"latitude_deg", 7}, Longitude: {"longitude_deg", 7},
	Target: {"target_w", 1}, Commanded: {"commanded", 4}, Left: {"w_balance_j", 0},
	Shelter: {"shelter", 3}, Help: {"help", 3}, Brought: {"brought_up_m", 2},
}

// WriteCSV writes Rows as a table: seconds, paused, one column for each
// column of Rows (a further source's name stands behind a colon), and what
// was marked in the row. A gap is an empty cell. The format is docs/formats.md.
func (r *Recording) WriteCSV(w io.Writer, every float64) error {
	t, err := r.Rows(every)
	if err != nil {
		return err
	}
	out := csv.NewWriter(w)
	head := []string{"seconds", "paused"}
	digits := make([]int, len(t.Columns))
	for i, c := range t.Columns {
		p, known := printed[c.Quantity]
		if !known {
			p.name, p.digits = string(c.Quantity), -1
		}
		if !c.Used {
			p.name += ":" + c.Source
		}
		head, digits[i] = append(head, p.name), p.digits
	}
	if err := out.Write(append(head, "marks")); err != nil {
		return err
	}
	marks := r.Marks
	for k, s := range t.Seconds {
		row := []string{strconv.FormatFloat(s, 'f', -1, 64), "0"}
		if t.Paused[k] {
			row[1] = "1"
		}
		for i, c := range t.Columns {
			row = append(row, cell(c.Values[k], digits[i]))
		}
		n := 0
		for n < len(marks) && (marks[n].Seconds <= s || k == len(t.Seconds)-1) {
			n++
		}
		if err := out.Write(append(row, said(marks[:n]))); err != nil {
			return err
		}
		marks = marks[n:]
	}
	out.Flush()
	return out.Error()
}

func cell(v float64, digits int) string {
	if math.IsNaN(v) {
		return ""
	}
	text := strconv.FormatFloat(v, 'f', digits, 64)
	if strings.Trim(text, "-0.") == "" {
		return strings.TrimPrefix(text, "-") // no -0.0
	}
	return text
}

// said begins with a mark's kind, so that no spreadsheet takes it for a formula.
func said(marks []Mark) string {
	var parts []string
	for _, m := range marks {
		text := string(m.Kind)
		if m.Source != "" {
			text += fmt.Sprintf(" %s", m.Source)
		}
		if m.Words != "" {
			text += ": " + m.Words
		}
		parts = append(parts, text)
	}
	return strings.Join(parts, "; ")
}
