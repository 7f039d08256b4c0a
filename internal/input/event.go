package input

import (
	"fmt"
	"io"
	"time"
)

// EventFile is an event file in SI units.
type EventFile struct {
	Name       string
	Start      Optional[time.Time] // in the event's time zone, UTC if that is not known
	HasClock   bool                // Start has a time of day, not only a date
	TimeZone   string              // name of the zone
	Kind       string              // "time-trial", "mass", "handicap", "group"
	Pen        Optional[float64]   // s spent in the start pen
	LeadIn     Optional[float64]   // m before the first lap
	Laps       Optional[int]
	Categories []CategoryFile
}

// CategoryFile is an ability class of an event.
type CategoryFile struct {
	Name string
	Min  Optional[float64] // W/kg; unknown is no lower limit
	Max  Optional[float64] // W/kg; unknown is no upper limit
	Over Optional[float64] // s, the duration the W/kg are meant over

	Floor  Optional[float64] // W over the same time that suffice whatever the W/kg
	MinAge Optional[float64] // years
	MaxAge Optional[float64] // years
	Women  Optional[bool]    // a field for women
}

var eventFields = []field{
	{key: "name", form: text},
	{key: "start", form: moment},
	{key: "time_zone", form: zone},
	{key: "kind", form: word, words: []string{"time-trial", "mass", "handicap", "group"}},
	{key: "pen_s", unit: "s", low: 0, high: 7200, hint: "Is it in milliseconds? 300 s is five minutes."},
	{key: "lead_in_m", unit: "m", low: 0, high: 100000},
	{key: "laps", form: whole, low: 1, high: 500},
	{key: "categories", form: list, keys: categoryFields, most: maxCategories},
}

var categoryFields = []field{
	{key: "name", form: text, needed: true},
	{key: "min_w_per_kg", unit: "W/kg", low: 0, high: 20, hint: "Watts per kilogram, not watts."},
	{key: "max_w_per_kg", unit: "W/kg", low: 0.1, high: 20, hint: "Watts per kilogram, not watts."},
	{key: "over_s", unit: "s", low: 1, high: 36000},
	{key: "power_floor_w", unit: "W", low: 1, high: 2000},
	{key: "min_age", unit: "years", low: 5, high: 120},
	{key: "max_age", unit: "years", low: 5, high: 120},
	{key: "women", form: yesNo},
}

const maxCategories = 50

// ReadEvent reads an event file; name is what its errors call it.
func ReadEvent(name string, r io.Reader) (EventFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return EventFile{}, f.err
	}
	o := f.open(top, "", eventFields, "", nil)
	event := EventFile{
		Name:   o.text("name"),
		Kind:   o.word("kind"),
		Pen:    o.number("pen_s"),
		LeadIn: o.number("lead_in_m"),
		Laps:   o.whole("laps"),
	}
	zone, location := o.zone("time_zone")
	event.TimeZone = zone
	event.Start, event.HasClock = o.moment("start", location)
	for i, n := range o.items("categories", "categories", 0, maxCategories) {
		event.Categories = append(event.Categories, readCategory(f.open(n, o.entry("categories", i), categoryFields, "", nil)))
	}
	if f.err != nil {
		return EventFile{}, f.err
	}
	return event, nil
}

func readCategory(o object) CategoryFile {
	c := CategoryFile{Name: o.text("name"), Min: o.number("min_w_per_kg"), Max: o.number("max_w_per_kg"), Over: o.number("over_s"),
		Floor: o.number("power_floor_w"), MinAge: o.number("min_age"), MaxAge: o.number("max_age"), Women: o.yesNo("women")}
	if c.Min.Known && c.Max.Known && c.Min.Value >= c.Max.Value {
		o.refuse("max_w_per_kg", fmt.Sprintf("%g is not above min_w_per_kg, %g", c.Max.Value, c.Min.Value), "a maximum above the minimum", "")
	}
	return c
}

// zone is a time zone by its name; "" and UTC when not known.
func (o object) zone(key string) (string, *time.Location) {
	s, n, ok := o.scalar(key)
	if !ok {
		return "", time.UTC
	}
	location, err := time.LoadLocation(s)
	if err != nil || s == "" || s == "Local" || len(s) > 64 {
		o.f.fail(n, o.name(key), found(n)+", which is no time zone", o.fields[key].expected(), "Zones are written Region/City, as in the IANA time zone database.")
		return "", time.UTC
	}
	return s, location
}

// moment is a local time or a date in a zone.
func (o object) moment(key string, in *time.Location) (when Optional[time.Time], clock bool) {
	s, n, ok := o.scalar(key)
	if !ok {
		return when, false
	}
	clock = momentForm.MatchString(s)
	t, ok := o.day(n, key, s, clock || dateForm.MatchString(s))
	if !ok {
		return when, false
	}
	if !clock {
		return Some(time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, in)), false
	}
	layout := "2006-01-02T15:04:05"[:len(s)]
	wall, err := time.Parse(layout, s)
	if err != nil {
		o.f.fail(n, o.name(key), clip(s)+" is no time of day", o.fields[key].expected(), "")
		return when, false
	}
	local := time.Date(wall.Year(), wall.Month(), wall.Day(), wall.Hour(), wall.Minute(), wall.Second(), 0, in)
	if local.Format(layout) != s {
		o.f.fail(n, o.name(key), clip(s)+" does not exist in "+in.String()+", where the clocks go forward", "a time before or after the change", "")
		return when, false
	}
	return Some(local), true
}
