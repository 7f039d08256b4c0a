package calendar

import (
	"bytes"
	"errors"
	"os"
	"strings"
	"testing"
	"time"

	other "github.com/emersion/go-ical"

	"chainline/internal/problem"
)

func in(t *testing.T, name string) *time.Location {
	t.Helper()
	loc, err := time.LoadLocation(name)
	if err != nil {
		t.Fatal(err)
	}
	return loc
}

// day is a date in UTC.
func day(y, m, d int) time.Time { return time.Date(y, time.Month(m), d, 0, 0, 0, 0, time.UTC) }

// vevents wraps lines into a calendar.
func vevents(lines ...string) string {
	return "BEGIN:VCALENDAR\r\nVERSION:2.0\r\n" + strings.Join(lines, "\r\n") + "\r\nEND:VCALENDAR\r\n"
}

func found(t *testing.T, text string, from, to time.Time, loc *time.Location) []Occurrence {
	t.Helper()
	f, err := Read("club.ics", strings.NewReader(text), loc)
	if err != nil {
		t.Fatal(err)
	}
	all, err := f.Between(from, to, loc)
	if err != nil {
		t.Fatal(err)
	}
	return all
}

func starts(all []Occurrence, layout string) string {
	var out []string
	for _, o := range all {
		out = append(out, o.Start.Format(layout))
	}
	return strings.Join(out, " ")
}

// A race in Dublin every Tuesday at 19:30 as riders in three places see it,
// through March and October 2026: Europe changes on 29 March and 25 October,
// New York on 8 March and 1 November, Kolkata never.
func TestDaylightSavingThroughTwoChanges(t *testing.T) {
	race := vevents("BEGIN:VEVENT", "UID:1", "SUMMARY:Hill race", "DTSTART;TZID=Europe/Dublin:20260224T193000", "DTEND;TZID=Europe/Dublin:20260224T204500", "RRULE:FREQ=WEEKLY;BYDAY=TU", "END:VEVENT")
	for _, x := range []struct{ zone, spring, autumn string }{
		{"Europe/Dublin", "03-03T19:30 03-10T19:30 03-17T19:30 03-24T19:30 03-31T19:30", "10-20T19:30 10-27T19:30 11-03T19:30"},
		{"America/New_York", "03-03T14:30 03-10T15:30 03-17T15:30 03-24T15:30 03-31T14:30", "10-20T14:30 10-27T15:30 11-03T14:30"},
		{"Asia/Kolkata", "03-04T01:00 03-11T01:00 03-18T01:00 03-25T01:00 04-01T00:00", "10-21T00:00 10-28T01:00 11-04T01:00"},
	} {
		loc := in(t, x.zone)
		if got := starts(found(t, race, day(2026, 3, 2), day(2026, 4, 1), loc), "01-02T15:04"); got != x.spring {
			t.Errorf("%s in spring:\ngot  %s\nwant %s", x.zone, got, x.spring)
		}
		if got := starts(found(t, race, day(2026, 10, 19), day(2026, 11, 5), loc), "01-02T15:04"); got != x.autumn {
			t.Errorf("%s in autumn:\ngot  %s\nwant %s", x.zone, got, x.autumn)
		}
	}
	for _, o := range found(t, race, day(2026, 3, 2), day(2026, 11, 5), in(t, "Asia/Kolkata")) {
		if o.Home.Format("Mon 15:04") != "Tue 19:30" || o.Zone != "Europe/Dublin" || o.End.Sub(o.Start) != 75*time.Minute || !o.Repeats {
			t.Fatalf("%+v", o)
		}
	}
}

// RFC 5545, 3.3.5, page 34 (read): a local time that happens twice means the
// first, one that is skipped is read by the offset before the gap; its two
// examples are those of New York in 2007. Page 35: a leap second is the second
// before.
func TestPublishedLocalTimesAtAChange(t *testing.T) {
	here := in(t, "America/New_York")
	for at, want := range map[string]string{"19970630T235960": "1997-06-30T23:59:59-04:00", "20071104T013000": "2007-11-04T01:30:00-04:00", "20070311T023000": "2007-03-11T03:30:00-04:00"} {
		all := found(t, vevents("BEGIN:VEVENT", "DTSTART;TZID=America/New_York:"+at, "END:VEVENT"), day(1997, 1, 1), day(2008, 1, 1), here)
		if got := all[0].Start.Format(time.RFC3339); got != want {
			t.Errorf("%s is %s, want %s", at, got, want)
		}
	}
}

// clubTime is a zone that only the file knows, with Central Europe's rules
// since 1996.
var clubTime = []string{"BEGIN:VTIMEZONE", "TZID:Club time",
	"BEGIN:DAYLIGHT", "DTSTART:19960331T020000", "TZOFFSETFROM:+0100", "TZOFFSETTO:+0200", "RRULE:FREQ=YEARLY;BYMONTH=3;BYDAY=-1SU", "END:DAYLIGHT",
	"BEGIN:STANDARD", "DTSTART:19961027T030000", "TZOFFSETFROM:+0200", "TZOFFSETTO:+0100", "RRULE:FREQ=YEARLY;BYMONTH=10;BYDAY=-1SU", "END:STANDARD", "END:VTIMEZONE"}

// A zone defined in the file gives, hour by hour through four changes, the
// instants of the IANA zone that follows the same rules.
func TestDefinedZoneIsTheIANAZone(t *testing.T) {
	lines := append(append([]string{}, clubTime...), "BEGIN:VEVENT", "UID:1", "DTSTART;TZID=Club time:20240301T003000", "DURATION:PT1H", "RRULE:FREQ=HOURLY;UNTIL=20271201T000000Z", "END:VEVENT")
	club := found(t, vevents(lines...), day(2024, 3, 5), day(2025, 11, 20), time.UTC)
	for i, l := range lines {
		lines[i] = strings.Replace(l, "TZID=Club time", "TZID=Europe/Zurich", 1)
	}
	iana := found(t, vevents(lines...), day(2024, 3, 5), day(2025, 11, 20), time.UTC)
	if len(club) != len(iana) || len(club) < 14000 {
		t.Fatalf("%d and %d", len(club), len(iana))
	}
	for i := range club {
		if !club[i].Start.Equal(iana[i].Start) {
			t.Fatalf("%s is %s, in the IANA zone %s", club[i].Home, club[i].Start, iana[i].Start)
		}
	}
}

func TestZonesByName(t *testing.T) {
	for id, ok := range map[string]bool{"Europe/Zurich": true, "/example.org/20260101/Europe/Zurich": true, "Local": false, "": false, "W. Somewhere Standard Time": false, "../../etc/passwd": false} {
		if z, got := named(id); got != ok {
			t.Errorf("%q: %v %v", id, got, z.name)
		}
	}
	_, err := Read("a.ics", strings.NewReader(vevents("BEGIN:VEVENT", "DTSTART;TZID=Nowhere:20261203T193000", "END:VEVENT")), time.UTC)
	if got := sentence(t, err); !strings.Contains(got, "a.ics:4: DTSTART TZID") || !strings.Contains(got, "Nowhere") {
		t.Error(got)
	}
}

func sentence(t *testing.T, err error) string {
	t.Helper()
	e, ok := errors.AsType[*problem.Error](err)
	if !ok {
		t.Fatalf("%v is no sentence for a person", err)
	}
	if strings.ContainsAny(e.Message, "\n\r") {
		t.Errorf("more than one line: %q", e.Message)
	}
	return e.Message
}

func TestChangedCancelledAndAddedOnes(t *testing.T) {
	text := vevents("BEGIN:VEVENT", "UID:1", "SUMMARY:Tuesday ride", "DTSTART;TZID=Europe/Zurich:20261201T190000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;COUNT=8",
		"EXDATE;TZID=Europe/Zurich:20261208T190000", "EXDATE;VALUE=DATE:20261215", "RDATE;VALUE=PERIOD:20261210T180000Z/PT2H,20261211T180000Z/20261211T183000Z", "END:VEVENT",
		"BEGIN:VEVENT", "UID:1", "RECURRENCE-ID;TZID=Europe/Zurich:20261222T190000", "SUMMARY:Ride before the feast", "DTSTART;TZID=Europe/Zurich:20261221T170000", "DURATION:PT90M", "END:VEVENT",
		"BEGIN:VEVENT", "UID:1", "RECURRENCE-ID:20261229T180000Z", "DTSTART:20261229T180000Z", "STATUS:CANCELLED", "END:VEVENT",
		"BEGIN:VEVENT", "UID:1", "RECURRENCE-ID;RANGE=THISANDFUTURE;TZID=Europe/Zurich:20270112T190000", "SUMMARY:Later ride", "DTSTART;TZID=Europe/Zurich:20270112T200000", "DURATION:PT1H", "END:VEVENT")
	var got []string
	for _, o := range found(t, text, day(2026, 1, 1), day(2028, 1, 1), in(t, "Europe/Zurich")) {
		got = append(got, o.Start.Format("2006-01-02T15:04")+"-"+o.End.Format("15:04")+" "+o.Name)
	}
	want := []string{"2026-12-01T19:00-20:00 Tuesday ride", "2026-12-10T19:00-21:00 Tuesday ride", "2026-12-11T19:00-19:30 Tuesday ride",
		"2026-12-21T17:00-18:30 Ride before the feast", "2027-01-05T19:00-20:00 Tuesday ride", "2027-01-12T20:00-21:00 Later ride", "2027-01-19T20:00-21:00 Later ride"}
	if strings.Join(got, "\n") != strings.Join(want, "\n") {
		t.Errorf("got\n%s\nwant\n%s", strings.Join(got, "\n"), strings.Join(want, "\n"))
	}
}

func TestDaysAndLengths(t *testing.T) {
	all := found(t, vevents("BEGIN:VEVENT", "UID:1", "SUMMARY:Camp", "DTSTART;VALUE=DATE:20261024", "DTEND;VALUE=DATE:20261026", "END:VEVENT",
		"BEGIN:VEVENT", "UID:2", "SUMMARY:A day by the calendar", "DTSTART;TZID=Europe/Zurich:20261024T120000", "DURATION:P1D", "END:VEVENT",
		"BEGIN:VEVENT", "UID:3", "SUMMARY:Long unknown", "DTSTART:20261024T130000", "END:VEVENT"), day(2026, 10, 1), day(2026, 11, 1), in(t, "Europe/Zurich"))
	if len(all) != 3 {
		t.Fatal(all)
	}
	if c := all[0]; !c.AllDay || c.End.Sub(c.Start) != 49*time.Hour || c.Start.Format("02 15:04") != "24 00:00" {
		t.Errorf("%+v", c) // the clocks go back on the 25th
	}
	if d := all[1]; d.End.Sub(d.Start) != 25*time.Hour {
		t.Errorf("%+v", d)
	}
	if u := all[2]; u.LengthKnown || u.Zone != "" || u.Start.Format(time.RFC3339) != "2026-10-24T13:00:00+02:00" {
		t.Errorf("%+v", u)
	}
}

func TestCSV(t *testing.T) {
	for _, text := range []string{
		"name,date,time,minutes,zone,repeats,until,where\nHill race,2026-10-20,19:30,75,Europe/Dublin,weekly,2026-11-03,Cellar\n",
		"\ufeffWhere;Event;Start time;End;When;Repeat;Time zone;until\r\n\"Cellar\";Hill race;7:30 pm;20:45;20.10.2026;FREQ=WEEKLY;Europe/Dublin;3 Nov 2026\r\n",
	} {
		all := found(t, text, day(2026, 1, 1), day(2027, 1, 1), in(t, "America/New_York"))
		if got := starts(all, "01-02T15:04"); got != "10-20T14:30 10-27T15:30 11-03T14:30" || all[0].End.Sub(all[0].Start) != 75*time.Minute || all[0].Where != "Cellar" {
			t.Errorf("%q: %s %+v", text, got, all)
		}
	}
	all := found(t, "title\ttime\tday\nCamp\t\t2026-10-24\n", day(2026, 1, 1), day(2027, 1, 1), time.UTC)
	if len(all) != 1 || !all[0].AllDay {
		t.Error(all)
	}
}

// What is wrong is said in one line: where, what, and what was expected.
func TestBadFilesSayWhere(t *testing.T) {
	event := func(lines ...string) string {
		return vevents(append(append([]string{"BEGIN:VEVENT"}, lines...), "END:VEVENT")...)
	}
	for name, x := range map[string]struct{ text, want string }{
		"empty":        {" \n", "bad: is empty"},
		"no calendar":  {"BEGIN:VCARD\nEND:VCARD\n", `bad:1: BEGIN: found "VCARD"; expected VCALENDAR`},
		"cut off":      {"BEGIN:VCALENDAR\nBEGIN:VEVENT\nDTSTART:20261203\n", "bad:2: BEGIN"},
		"wrong end":    {"BEGIN:VCALENDAR\nBEGIN:VEVENT\nEND:VCALENDAR\n", "bad:3: END"},
		"no start":     {event("SUMMARY:x"), "bad:3: VEVENT"},
		"no date":      {event("DTSTART:20261303"), `bad:4: DTSTART: found "20261303"`},
		"two starts":   {event("DTSTART:20261203", "DTSTART:20261204"), "bad:5: DTSTART"},
		"day and time": {event("DTSTART;VALUE=DATE:20261203", "DTEND:20261203T100000Z"), "bad:5: DTEND"},
		"before":       {event("DTSTART:20261203T100000Z", "DTEND:20261203T090000Z"), "bad:5: DTEND"},
		"length":       {event("DTSTART:20261203T100000Z", "DURATION:-PT1H"), "bad:5: DURATION"},
		"no line":      {event("DTSTART:20261203", "hello"), "bad:5: line"},
		"no rule":      {event("DTSTART:20261203", "RRULE:FREQ=OFTEN"), "bad:5: RRULE"},
		"count":        {event("DTSTART:20261203", "RRULE:FREQ=DAILY;COUNT=0"), "COUNT from 1"},
		"interval":     {event("DTSTART:20261203", "RRULE:FREQ=DAILY;INTERVAL=0"), "INTERVAL from 1"},
		"bounds":       {event("DTSTART:20261203", "RRULE:FREQ=DAILY;BYMONTH=13"), "bymonth must be between"},
		"days within":  {event("DTSTART:20261203", "RRULE:FREQ=HOURLY"), "whole days cannot"},
		"no utf-8":     {event("DTSTART:20261203", "SUMMARY:\xff"), "bad:5: SUMMARY"},
		"folded":       {"BEGIN:VCALENDAR\r\nX-A:1\r\n 2\r\n 3\r\nBEGIN:VEVENT\r\nDTSTART:2026\r\nEND:VEVENT\r\nEND:VCALENDAR", "bad:6: DTSTART"},
		"csv header":   {"a,b\n1,2\n", "bad:1: header"},
		"csv date":     {"name,date\nx,03/12/2026\n", "bad:2: date"},
		"csv time":     {"name,date,time\nx,2026-12-03,\ny,2026-12-03,25:00\n", "bad:3: time"},
		"csv zone":     {"name,date,zone\nx,2026-12-03,Home\n", "bad:2: zone"},
		"csv quotes":   {"name,date\n\"x,2026-12-03\n", "bad:2: line"},
		"csv repeats":  {"name,date,repeats\nx,2026-12-03,often\n", "bad:2: repeats"},
	} {
		_, err := Read("bad", strings.NewReader(x.text), time.UTC)
		if err == nil {
			t.Errorf("%s: nothing is wrong", name)
		} else if got := sentence(t, err); !strings.Contains(got, x.want) || !strings.Contains(got, "expected") {
			t.Errorf("%s: %s; want %s", name, got, x.want)
		}
	}
}

// Rules made to keep a reader busy for ever end at once, with a sentence or
// with nothing found.
func TestRulesWithoutEnd(t *testing.T) {
	for _, x := range []struct{ rule, want string }{
		{"FREQ=SECONDLY", "at most 200,000"},
		{"FREQ=HOURLY;INTERVAL=2;BYHOUR=1", ""},
		{"FREQ=MINUTELY;INTERVAL=60;BYMINUTE=1", ""},
		{"FREQ=SECONDLY;INTERVAL=60;BYSECOND=1", ""},
		{"FREQ=SECONDLY;BYMONTH=2;BYMONTHDAY=30", ""},
		{"FREQ=DAILY;BYMONTH=2;BYMONTHDAY=30", ""},
		{"FREQ=WEEKLY;INTERVAL=100000;BYDAY=MO;BYMONTH=2;BYMONTHDAY=31", ""},
	} {
		f, err := Read("a", strings.NewReader(vevents("BEGIN:VEVENT", "DTSTART:19700101T000000Z", "RRULE:"+x.rule, "END:VEVENT")), time.UTC)
		if err != nil {
			t.Fatal(err)
		}
		begun := time.Now()
		all, err := f.Between(day(2026, 1, 1), day(2027, 1, 1), time.UTC)
		if x.want == "" && (err != nil || len(all) != 0) || x.want != "" && (err == nil || !strings.Contains(sentence(t, err), x.want)) {
			t.Errorf("%s: %v, %d found", x.rule, err, len(all))
		}
		t.Logf("%s: %v", x.rule, time.Since(begun))
	}
	many := strings.Repeat("BEGIN:VEVENT\r\nDTSTART:19700101T000000Z\r\nRRULE:FREQ=YEARLY;BYMONTH=2;BYMONTHDAY=30\r\nEND:VEVENT\r\n", 21)
	f, err := Read("a", strings.NewReader(vevents(strings.TrimSpace(many))), time.UTC)
	if err != nil {
		t.Fatal(err)
	}
	if _, err = f.Between(day(2026, 1, 1), day(2027, 1, 1), time.UTC); err == nil || !strings.Contains(sentence(t, err), "20 that never do") {
		t.Error(err)
	}
	_, err = Read("a", strings.NewReader(vevents("BEGIN:VEVENT", "DTSTART:20260101T000000Z", "RRULE:FREQ=YEARLY;BYMONTHDAY=1,2,3;BYHOUR=0,1,2;BYMINUTE=0,1,2,3,4,5,6;BYSECOND=0,1,2,3,4", "END:VEVENT")), time.UTC)
	if err == nil || !strings.Contains(sentence(t, err), "at most 20000 starts") {
		t.Error(err)
	}
}

// What is written is read by a parser that is not the one that wrote it: the
// same starts, ends, days and texts.
func TestWrittenFilesPassAnotherParser(t *testing.T) {
	local := in(t, "Europe/Zurich")
	long := strings.Repeat("Zürich, Köln; \\ and more — ", 40) + "\nsecond line"
	all := []Occurrence{
		{UID: "1", Name: "Hill race; with, all \\ of it", About: long, Where: "Cellar, left", Link: "https://example.org/a?b=c,d;e", Kind: "mass", LengthKnown: true,
			Start: time.Date(2026, 10, 24, 23, 30, 0, 0, local), End: time.Date(2026, 10, 25, 4, 0, 0, 0, local)},
		{UID: "1", Name: "Hill race", Start: time.Date(2026, 10, 31, 19, 30, 0, 0, local)},
		{UID: "2", Name: "Camp", AllDay: true, LengthKnown: true, Start: time.Date(2026, 10, 24, 0, 0, 0, 0, local), End: time.Date(2026, 10, 26, 0, 0, 0, 0, local)},
	}
	var out bytes.Buffer
	if err := Write(&out, "What fits", all, day(2026, 10, 1)); err != nil {
		t.Fatal(err)
	}
	for line := range strings.SplitSeq(strings.TrimSuffix(out.String(), "\r\n"), "\r\n") {
		if len(line) > 75 || strings.ContainsAny(line, "\r\n") {
			t.Errorf("a line of %d octets: %q", len(line), line)
		}
	}
	cal, err := other.NewDecoder(bytes.NewReader(out.Bytes())).Decode()
	if err != nil {
		t.Fatal(err)
	}
	// That parser's writer checks the rules of RFC 5545 for what must be there once.
	if err := other.NewEncoder(&bytes.Buffer{}).Encode(cal); err != nil {
		t.Errorf("it finds fault: %v", err)
	}
	events := cal.Events()
	if len(events) != 3 {
		t.Fatalf("%d events", len(events))
	}
	for i, e := range events {
		start, err := e.DateTimeStart(local)
		end, err2 := e.DateTimeEnd(local)
		if err != nil || err2 != nil || !start.Equal(all[i].Start) || all[i].LengthKnown && !end.Equal(all[i].End) {
			t.Errorf("%v %v %v %v", start, end, err, err2)
		}
	}
	if s, _ := events[0].Props.Text("SUMMARY"); s != all[0].Name {
		t.Errorf("%q", s)
	}
	if s, _ := events[0].Props.Text("DESCRIPTION"); s != long {
		t.Errorf("%q", s)
	}
	again := found(t, out.String(), day(2026, 1, 1), day(2027, 1, 1), local) // and by ours
	if len(again) != 3 || again[1].Name != all[0].Name || again[1].About != long || again[1].Kind != "mass" || !again[0].AllDay {
		t.Errorf("%+v", again)
	}
}

func TestClashes(t *testing.T) {
	at := func(h, m, minutes int) Occurrence {
		s := time.Date(2026, 12, 1, h, m, 0, 0, time.UTC)
		return Occurrence{Start: s, End: s.Add(time.Duration(minutes) * time.Minute), LengthKnown: minutes > 0}
	}
	all := []Occurrence{{AllDay: true, Start: day(2026, 12, 1), End: day(2026, 12, 2), LengthKnown: true}, at(18, 0, 60), at(18, 30, 90), at(19, 0, 30), at(20, 0, 0), at(20, 59, 10), at(22, 0, 10)}
	if got := Clashes(all, 0); len(got) != 3 || got[0] != (Clash{1, 2}) || got[1] != (Clash{2, 3}) || got[2] != (Clash{4, 5}) {
		t.Errorf("%v", got)
	}
	if got := Clashes(all, 15*time.Minute); len(got) != 5 {
		t.Errorf("%v", got)
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(vevents(append(append([]string{}, clubTime...), "BEGIN:VEVENT", "UID:1", "DTSTART;TZID=Club time:20261203T193000", "DURATION:PT1H", "RRULE:FREQ=WEEKLY;BYDAY=TH;COUNT=10", "EXDATE;TZID=Club time:20261210T193000", "END:VEVENT")...)))
	f.Add([]byte(vevents("BEGIN:VEVENT", "DTSTART;VALUE=DATE:20261024", "RRULE:FREQ=YEARLY;BYWEEKNO=-53;BYDAY=-53MO;BYSETPOS=-366", "RDATE;VALUE=DATE:20261025", "END:VEVENT")))
	f.Add([]byte(vevents("BEGIN:VEVENT", "DTSTART:20261203T193060Z", "RRULE:FREQ=MINUTELY;INTERVAL=7;BYHOUR=3;BYMINUTE=1", "DURATION:P1DT1H1M1S", "END:VEVENT")))
	f.Add([]byte("name;date;time;minutes;repeats;until\nx;2026-12-03;19:30;1:15;weekly;2026-12-30\n"))
	f.Add([]byte("BEGIN:VCALENDAR\nBEGIN:VEVENT\nDTSTART;X=\"a:b\";Y=\\:20261203\n FOLD\nEND:VEVENT\nEND:VCALENDAR"))
	f.Add([]byte("BEGIN:VCALENDAR\nX-WR-CALNAME;=:\nSUMMARY;A=\\"))
	f.Fuzz(func(t *testing.T, data []byte) {
		if len(data) > 4000 {
			return
		}
		file, err := Read("fuzz", bytes.NewReader(data), time.UTC)
		if err != nil {
			sentence(t, err)
			return
		}
		all, err := file.Between(day(2026, 11, 1), day(2027, 2, 1), time.UTC)
		if err != nil {
			sentence(t, err)
			return
		}
		for i, o := range all {
			if o.Start.Before(o.End) != (o.End.Sub(o.Start) > 0) || o.End.Before(o.Start) || i > 0 && o.Start.Before(all[i-1].Start) {
				t.Fatalf("%+v", o)
			}
		}
		Clashes(all, 0)
		var out bytes.Buffer
		if err := Write(&out, file.Title, all, day(2026, 1, 1)); err != nil {
			t.Fatal(err)
		}
		again, err := Read("again", &out, time.UTC)
		if err != nil || again.Len() != len(all) && again.Len()+len(again.Notes) < len(all) {
			t.Fatalf("%v: %d of %d", err, again.Len(), len(all))
		}
	})
}

// The folder testdata has a calendar of a club in use, made up, with what
// programs put into such files.
func TestAClubsCalendar(t *testing.T) {
	data, err := os.ReadFile("testdata/club.ics")
	if err != nil {
		t.Fatal(err)
	}
	all := found(t, string(data), day(2026, 10, 19), day(2026, 11, 2), in(t, "Europe/Dublin"))
	want := "Tue 20 18:15 Wed 21 19:30 Sat 24 09:00 Tue 27 18:15 Wed 28 19:30 Sat 31 09:00 Sun 01 00:00"
	if got := starts(all, "Mon 02 15:04"); got != want {
		t.Errorf("got  %s\nwant %s", got, want)
	}
}
