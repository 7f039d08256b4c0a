package form

import (
	"fmt"
	"regexp"
	"strconv"
	"strings"
	"time"
)

var (
	isoDay     = regexp.MustCompile(`^(\d{4})-(\d{1,2})-(\d{1,2})$`)
	numericDay = regexp.MustCompile(`^(\d{1,2})(\.|/|-)\s?(\d{1,2})(?:\.|/|-)\s?(\d{2}|\d{4})$`)
	dayMonth   = regexp.MustCompile(`^(\d{1,2})(?:st|nd|rd|th|\.)? (?:of )?([a-z]{3,9})\.?,? ?(\d{4})?$`)
	monthDay   = regexp.MustCompile(`^([a-z]{3,9})\.? (\d{1,2})(?:st|nd|rd|th)?,? ?(\d{4})?$`)
	weekday    = regexp.MustCompile(`^(mon|tues?|wed(nes)?|thu(rs?)?|fri|sat(ur)?|sun)(day)?,? `)
	clockTime  = regexp.MustCompile(`^(.*?\d|.*?[a-z])(?:t|,? at |, ?| )(\d{1,2})(?:[:.h](\d{2}))?(?::(\d{2}))? ?(am|pm|a\.m\.|p\.m\.|h|o'clock)?$`)
)

const dateExpect = "write it like 2 December 2026 or 2026-12-02"

// day reads a date; iso is as files have it. note says how it was read where
// day and month could be the other way round.
func day(typed string) (iso, note, wrong string) {
	s := weekday.ReplaceAllString(tidy(typed), "")
	var year, month, date int
	switch {
	case isoDay.MatchString(s):
		m := isoDay.FindStringSubmatch(s)
		year, month, date = number(m[1]), number(m[2]), number(m[3])
	case numericDay.MatchString(s):
		m := numericDay.FindStringSubmatch(s)
		if len(m[4]) == 2 {
			return "", "", "Write the year with four digits, please."
		}
		date, month, year = number(m[1]), number(m[3]), number(m[4])
		switch {
		case m[2] != "." && date <= 12 && month <= 12 && date != month:
			return "", "", fmt.Sprintf("Is this %s or %s? Write the month as a word.", said(year, month, date), said(year, date, month))
		case m[2] != "." && month > 12 && date <= 12:
			date, month = month, date
		}
		note = "read as " + said(year, month, date)
	default:
		var ok bool
		if year, month, date, ok = spokenDay(s); !ok {
			return "", "", notA(typed, "date") + dateExpect + "."
		}
		if year == 0 {
			return "", "", "Of which year? " + strings.ToUpper(dateExpect[:1]) + dateExpect[1:] + "."
		}
	}
	t := time.Date(year, time.Month(month), date, 0, 0, 0, 0, time.UTC)
	if month < 1 || month > 12 || date < 1 || t.Day() != date {
		return "", "", quote(typed) + " is not in the calendar."
	}
	if year < 1990 || year > 2099 {
		return "", "", "Only dates from 1990 to 2099 are possible here."
	}
	return t.Format(time.DateOnly), note, ""
}

func spokenDay(s string) (year, month, date int, ok bool) {
	if m := dayMonth.FindStringSubmatch(s); m != nil {
		date, month, year = number(m[1]), monthNamed(m[2]), number(m[3])
	} else if m := monthDay.FindStringSubmatch(s); m != nil {
		month, date, year = monthNamed(m[1]), number(m[2]), number(m[3])
	}
	return year, month, date, month > 0
}

func monthNamed(s string) int {
	for m := time.January; m <= time.December; m++ {
		if strings.HasPrefix(strings.ToLower(m.String()), s) || s == "sept" && m == time.September {
			return int(m)
		}
	}
	return 0
}

// number is a whole number that a pattern has let through; 0 for none.
func number(digits string) int {
	n, _ := strconv.Atoi(digits)
	return n
}

func said(year, month, date int) string {
	return fmt.Sprintf("%d %s %d", date, time.Month(month), year)
}

// moment reads a date, or a date and a time of day.
func moment(typed string) (iso, note, wrong string) {
	if iso, note, wrong = day(typed); wrong == "" {
		return iso, note, ""
	}
	s := weekday.ReplaceAllString(tidy(typed), "")
	m := clockTime.FindStringSubmatch(s)
	if m == nil || m[3] == "" && m[5] == "" {
		return "", "", wrong
	}
	if iso, note, wrong = day(m[1]); wrong != "" {
		return "", "", wrong
	}
	hour, minute, second := number(m[2]), number(m[3]), number(m[4])
	half := strings.ReplaceAll(m[5], ".", "")
	if half == "am" || half == "pm" {
		if hour < 1 || hour > 12 {
			return "", "", quote(typed) + " has no such time of day."
		}
		hour %= 12
		if half == "pm" {
			hour += 12
		}
	}
	if hour > 23 || minute > 59 || second > 59 {
		return "", "", quote(typed) + " has no such time of day."
	}
	iso += fmt.Sprintf("T%02d:%02d", hour, minute)
	if m[4] != "" {
		iso += fmt.Sprintf(":%02d", second)
	}
	return iso, note, ""
}
