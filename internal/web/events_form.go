package web

import (
	"encoding/csv"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"

	"chainline/internal/form"
)

// What the page asks for in its own way: a start in two boxes, and categories
// pasted.
const (
	eventDay   = "start_day"
	eventClock = "start_clock"
	eventPaste = "categories_csv"
)

var eventKinds = []Option{
	{Value: "time-trial", Label: "Alone against the clock"},
	{Value: "mass", Label: "A race where all start at once"},
	{Value: "handicap", Label: "A race where slower riders start first"},
	{Value: "group", Label: "A ride together, no race"},
}

var eventPaths = []string{"name", "kind", "time_zone", "lead_in_m", "laps", "pen_s"}

var categoryKeys = []string{"name", "min_w_per_kg", "max_w_per_kg", "over_s"}

// rareCategoryKeys are kept where a file has them, with what they are called.
var (
	rareCategoryKeys   = []string{"power_floor_w", "min_age", "max_age", "women"}
	rareCategoryLabels = []string{"Or these watts", "From age", "Up to age", "For women, true or false"}
)

// eventZones are offered while one types; every name of the IANA time zone
// database is taken. One or two for each offset where people live.
var eventZones = []string{"Africa/Cairo", "Africa/Johannesburg", "Africa/Lagos", "Africa/Nairobi", "America/Anchorage", "America/Argentina/Buenos_Aires",
	"America/Bogota", "America/Chicago", "America/Denver", "America/Halifax", "America/Lima", "America/Los_Angeles", "America/Mexico_City", "America/New_York",
	"America/Phoenix", "America/Santiago", "America/Sao_Paulo", "America/St_Johns", "America/Toronto", "America/Vancouver", "Asia/Bangkok", "Asia/Dhaka",
	"Asia/Dubai", "Asia/Hong_Kong", "Asia/Jakarta", "Asia/Jerusalem", "Asia/Karachi", "Asia/Kathmandu", "Asia/Kolkata", "Asia/Manila", "Asia/Seoul",
	"Asia/Shanghai", "Asia/Singapore", "Asia/Taipei", "Asia/Tehran", "Asia/Tokyo", "Atlantic/Azores", "Atlantic/Reykjavik", "Australia/Adelaide",
	"Australia/Brisbane", "Australia/Darwin", "Australia/Perth", "Australia/Sydney", "Europe/Amsterdam", "Europe/Athens", "Europe/Berlin", "Europe/Brussels",
	"Europe/Bucharest", "Europe/Budapest", "Europe/Copenhagen", "Europe/Dublin", "Europe/Helsinki", "Europe/Istanbul", "Europe/Kyiv", "Europe/Lisbon",
	"Europe/London", "Europe/Madrid", "Europe/Moscow", "Europe/Oslo", "Europe/Paris", "Europe/Prague", "Europe/Rome", "Europe/Stockholm", "Europe/Vienna",
	"Europe/Warsaw", "Europe/Zurich", "Pacific/Auckland", "Pacific/Honolulu", "UTC"}

// NewEventPage is the form with what was typed and what is wrong with it, and
// blank rows behind the categories.
func NewEventPage(action string, values, errs map[string]string, blank int, u form.Units) *EventPage {
	f := NewForm(action, values, errs)
	p := &EventPage{Form: f, Zones: eventZones}
	p.Name = f.Field(Field{Name: "name", Label: "What it is called"})
	p.Day = f.Field(Field{Name: eventDay, Label: "Day", Kind: "date", Hint: "Leave it empty if it is not known yet."})
	p.Clock = f.Field(Field{Name: eventClock, Label: "Start", Kind: "time", Hint: "By the clocks there."})
	p.Zone = f.Field(Field{Name: "time_zone", Label: "Time zone of that clock", Hint: "A city is enough: Dublin, New York."})
	p.Kind = f.Field(Field{Name: "kind", Label: "How it is ridden", Kind: "radio", Options: eventKinds, Unknown: true})
	p.Way = []Field{
		keyField(f, form.Event, u, Field{Name: "lead_in_m", Label: "Lead-in", Hint: "Way from the start to the first lap."}),
		keyField(f, form.Event, u, Field{Name: "laps", Label: "Laps", Hint: "How often the course is ridden."}),
		f.Field(Field{Name: "pen_s", Label: "Waiting in the start pen", Hint: "Like 5 min or 4:30. A number alone is seconds."}),
	}
	number := 0
	ask := func(at string) {
		number++
		n := fmt.Sprint(number)
		nth := func(s string) string { return s + " " + n }
		p.Rows = append(p.Rows, EventCategoryRow{number, []Field{
			f.Field(Field{Name: at + ".name", Label: nth("Category")}),
			f.Field(Field{Name: at + ".min_w_per_kg", Label: nth("From") + ", W/kg", Numeric: true}),
			f.Field(Field{Name: at + ".max_w_per_kg", Label: nth("Up to") + ", W/kg", Numeric: true}),
			f.Field(Field{Name: at + ".over_s", Label: nth("Held for") + ", s or min"}),
		}})
		row := &p.Rows[len(p.Rows)-1]
		for i, k := range rareCategoryKeys { // asked for only where they are used
			if values[at+"."+k] != "" {
				row.Fields = append(row.Fields, f.Field(Field{Name: at + "." + k, Label: nth(rareCategoryLabels[i])}))
			}
		}
	}
	have := len(form.Entries(values, "categories"))
	for i := range have + blank {
		ask("categories." + strconv.Itoa(i))
	}
	p.Paste = f.Field(Field{Name: eventPaste, Label: "Or paste lines of a CSV", Kind: "area", Hint: "name, from W/kg, up to W/kg, held for. Leave empty what has no limit: B, 3.2, 4, 20 min"})
	p.MoreOpen = have > 0 || p.Paste.Value != "" || p.Paste.Error != ""
	return p
}

// shownEvent is an event's values as the page asks for them.
func shownEvent(values map[string]string) map[string]string {
	day, clock, _ := strings.Cut(values["start"], "T")
	if len(day) != len(time.DateOnly) {
		day, clock, _ = strings.Cut(values["start"], " ")
	}
	values[eventDay], values[eventClock] = day, clock
	delete(values, "start")
	return values
}

// typedEvent is what was typed, with the pasted categories as rows and
// without rows that are empty.
func typedEvent(typed map[string]string) (values, errs map[string]string) {
	values, errs = map[string]string{}, map[string]string{}
	for _, k := range append([]string{eventDay, eventClock}, eventPaths...) {
		values[k] = typed[k]
	}
	n := 0
	add := func(cells []string, rare func(key string) string) {
		if strings.Join(cells, "") == "" {
			return
		}
		for _, k := range rareCategoryKeys {
			if v := rare(k); v != "" {
				values[fmt.Sprintf("categories.%d.%s", n, k)] = v
			}
		}
		for i, k := range categoryKeys {
			values[fmt.Sprintf("categories.%d.%s", n, k)] = cells[i]
		}
		n++
	}
	for _, at := range form.Entries(typed, "categories") {
		cells := make([]string, len(categoryKeys))
		for i, k := range categoryKeys {
			cells[i] = typed[at+"."+k]
		}
		add(cells, func(k string) string { return typed[at+"."+k] })
	}
	rows, wrong := pastedCategories(typed[eventPaste])
	if wrong == "" && n+len(rows) > 50 {
		wrong = fmt.Sprintf("Together that is %d categories; expected at most 50.", n+len(rows))
	}
	if wrong != "" {
		values[eventPaste], errs[eventPaste] = typed[eventPaste], wrong
		return values, errs
	}
	for _, cells := range rows {
		add(cells, func(string) string { return "" })
	}
	return values, errs
}

// pastedCategories are the rows of CSV lines: commas, semicolons or tabs, with
// or without a header.
func pastedCategories(text string) (rows [][]string, wrong string) {
	if strings.TrimSpace(text) == "" {
		return nil, ""
	}
	r := csv.NewReader(strings.NewReader(text))
	r.FieldsPerRecord = -1
	for _, c := range ";\t" {
		if strings.ContainsRune(text, c) {
			r.Comma = c
			break
		}
	}
	r.TrimLeadingSpace = r.Comma != '\t' // which is a space too: empty cells would go with it
	lines, err := r.ReadAll()
	if err != nil {
		return nil, "These lines cannot be read: " + err.Error() + "; expected name, from, up to, held for."
	}
	for i, line := range lines {
		if i == 0 && slices.Contains([]string{"name", "category"}, strings.ToLower(strings.TrimSpace(line[0]))) {
			continue
		}
		if len(line) > len(categoryKeys) {
			return nil, fmt.Sprintf("Line %d has %d parts; expected at most 4: name, from, up to, held for.", i+1, len(line))
		}
		cells := make([]string, len(categoryKeys))
		for j, c := range line {
			if c = strings.TrimSpace(c); c != "-" && c != "–" {
				cells[j] = c
			}
		}
		rows = append(rows, cells)
	}
	return rows, ""
}

// eventText is the file of what was typed, or what is wrong with it.
func eventText(values, errs map[string]string, u form.Units) (string, map[string]string) {
	keys := map[string]string{}
	for k, v := range values {
		if v != "" && k != eventDay && k != eventClock && k != eventPaste {
			keys[k] = v
		}
	}
	if z := keys["time_zone"]; z != "" {
		keys["time_zone"] = zoneNamed(z)
	}
	day, clock := values[eventDay], values[eventClock]
	if day != "" {
		keys["start"] = strings.TrimSpace(day + " " + clock)
	} else if clock != "" {
		errs[eventDay] = "A start by the clock needs its day as well."
	}
	text, wrong := form.YAML(form.Event, keys, u)
	for path, e := range wrong {
		if path == "start" {
			path = eventDay
			if _, err := time.Parse(time.DateOnly, day); err == nil && clock != "" {
				if _, alone := form.YAML(form.Event, map[string]string{"start": day}, u); alone["start"] == "" {
					path = eventClock
				}
			}
		}
		errs[path] = e
	}
	if values["name"] == "" {
		errs["name"] = "A name is needed to find it again."
	}
	return text, errs
}

// zoneNamed is the zone of a city, or what was typed.
func zoneNamed(typed string) string {
	city := strings.ReplaceAll(strings.TrimSpace(typed), " ", "_")
	for _, z := range eventZones {
		if strings.EqualFold(z, city) || strings.EqualFold(z[strings.LastIndex(z, "/")+1:], city) {
			return z
		}
	}
	return typed
}
