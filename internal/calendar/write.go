package calendar

import (
	"crypto/sha256"
	"encoding/hex"
	"io"
	"time"

	ics "github.com/arran4/golang-ical"
)

// Write writes occurrences as iCalendar, each as an event of its own. Times
// are in UTC, so that whoever reads them needs no zone of ours; days without a
// clock stay days. made is when this was written.
func Write(w io.Writer, title string, all []Occurrence, made time.Time) error {
	cal := ics.NewCalendar()
	cal.SetVersion("2.0")
	cal.SetProductId("-//Chainline//Calendar 1//EN")
	cal.SetCalscale("GREGORIAN")
	cal.SetMethod(ics.MethodPublish)
	if title = clean(title); title != "" {
		cal.SetXWRCalName(title)
	}
	for _, o := range all {
		e := cal.AddEvent(uid(o))
		e.SetDtStampTime(made)
		e.SetSummary(clean(o.Name))
		if o.AllDay {
			e.SetAllDayStartAt(o.Start)
			e.SetAllDayEndAt(o.End)
		} else {
			e.SetStartAt(o.Start)
			if o.LengthKnown && o.End.After(o.Start) {
				e.SetEndAt(o.End)
			}
		}
		if o.Where != "" {
			e.SetLocation(clean(o.Where))
		}
		if about := cleanLines(o.About); about != "" {
			e.SetDescription(about)
		}
		if o.Link != "" {
			e.SetURL(o.Link)
		}
		if o.Kind != "" {
			e.AddCategory(o.Kind)
		}
	}
	return cal.SerializeTo(w, ics.WithNewLineWindows)
}

// uid names one occurrence the same way every time it is written.
func uid(o Occurrence) string {
	sum := sha256.Sum256([]byte(o.UID + "\x00" + o.Name + "\x00" + o.Start.UTC().Format(time.RFC3339)))
	return hex.EncodeToString(sum[:16]) + "@chainline.invalid"
}
