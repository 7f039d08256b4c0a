package api

import (
	"math"
	"strings"
	"testing"
)

const raceText = "name: Short race\nstart: 2026-12-01T19:30\ntime_zone: Europe/Dublin\nkind: mass\ncategories:\n  - {name: brook, max_w_per_kg: 2.6, over_s: 1200}\n  - {name: falls, min_w_per_kg: 2.6, over_s: 1200}\n"

// walkRaces forecasts a race with and without results, sends a group off and
// home together, and keeps a calendar.
func (c *client) walkRaces(ids map[string]string) {
	c.t.Helper()
	event := c.make("events", "Short race", raceText)
	ask := map[string]any{"rider": ids["riders"], "rig": ids["rigs"], "event": event, "course": ids["courses"], "races": 4, "starters": 8}
	first := c.do("POST", "/races/forecast", ask, 200).json()
	if first["schema"] != "chainline/race/1" || first["enter"] == "" || first["reason"] == "" || len(first["categories"].([]any)) != 2 || first["unproved"] != "Never checked against a real race." {
		c.t.Errorf("%.900v", first)
	}
	c.walkResults(event, ids["courses"])
	learnt := 0.0
	for _, x := range c.do("POST", "/races/forecast", ask, 200).json()["categories"].([]any) {
		n, _ := x.(map[string]any)["learnt_from_results"].(float64)
		learnt += n
	}
	if learnt != 0 { // they were deleted again
		c.t.Errorf("%g results are learnt from", learnt)
	}
	other := c.make("riders", "Ben", demo(c.t, "newcomer.yaml"))
	group := map[string]any{"riders": []string{ids["riders"], other}, "course": ids["courses"], "races": 20}
	list := c.do("POST", "/races/handicap", group, 200).json()
	if n := len(list["bunches"].([]any)); n != 2 {
		c.t.Errorf("%d bunches", n)
	}
	group["arrived"] = []map[string]any{{"rider": ids["riders"], "seconds": 400}, {"rider": other, "seconds": 4000}}
	again := c.do("POST", "/races/handicap", group, 200).json()
	if taught := again["taught"].([]any); len(taught) != 2 || math.Abs(taught[0].(float64)-0.02) > 1e-9 || len(again["changes"].([]any)) != 2 {
		c.t.Errorf("%v", again)
	}
	group["before"] = []map[string]any{{"rider": "nobody", "share": 0.01}}
	c.do("POST", "/races/handicap", group, 422)
	together := c.do("POST", "/races/together", map[string]any{"riders": []string{ids["riders"], other}, "courses": []string{ids["courses"]}, "hours": 1}, 200).json()
	if len(together["courses"].([]any)[0].(map[string]any)["riders"].([]any)) != 2 {
		c.t.Errorf("%v", together)
	}
	c.do("POST", "/races/together", map[string]any{"riders": []string{"nobody"}, "courses": []string{ids["courses"]}}, 422)
	c.do("POST", "/races/forecast", map[string]any{"rider": "nobody", "rig": ids["rigs"], "event": event, "course": ids["courses"]}, 422)
	c.walkCalendar(ids)
	c.do("DELETE", "/riders/"+other, nil, 204)
	c.do("DELETE", "/events/"+event, nil, 204)
}

func (c *client) walkResults(event, course string) {
	c.t.Helper()
	var list strings.Builder
	list.WriteString("place,name,category,time,w/kg\n")
	for i, name := range []string{"Ann", "Secret Sam", "Cy", "Di", "Ed", "Flo"} {
		list.WriteString(strings.Join([]string{string(rune('1' + i)), name, "falls", "8:1" + string(rune('0'+i)), "3.1"}, ",") + "\n")
	}
	at := "/events/" + event + "/results"
	made := c.do("POST", at+"?filename=race.csv&me=Ann&course="+course, list.String(), 201)
	if strings.Contains(made.Body.String(), "Secret Sam") || !strings.Contains(made.Body.String(), "You came 1st of 6") {
		c.t.Errorf("%.600s", made.Body)
	}
	if n := len(c.do("GET", at, nil, 200).json()["items"].([]any)); n != 1 {
		c.t.Errorf("%d lists", n)
	}
	rider := c.make("riders", "Quick", demo(c.t, "regular.yaml"))
	rig := c.make("rigs", "Rig", demo(c.t, "regular-rig.yaml"))
	sheet := c.do("POST", "/races/forecast", map[string]any{"rider": rider, "rig": rig, "event": event, "course": course, "category": "falls", "races": 4, "starters": 8}, 200).json()
	if n := sheet["categories"].([]any)[0].(map[string]any)["learnt_from_results"]; n != 6.0 || !strings.Contains(sheet["unproved"].(string), "learnt from 6 results") {
		c.t.Errorf("learnt from %v results: %v", n, sheet["unproved"])
	}
	c.do("POST", at+"?filename=race.csv&course=nowhere", list.String(), 422)
	c.do("POST", at+"?filename=race.csv", "name\nAnn\n", 422)
	c.do("DELETE", at+"/"+made.id(), nil, 204)
	c.do("DELETE", at+"/"+made.id(), nil, 404)
	c.do("DELETE", "/riders/"+rider, nil, 204)
	c.do("DELETE", "/rigs/"+rig, nil, 204)
}

func (c *client) walkCalendar(ids map[string]string) {
	c.t.Helper()
	club := "name,date,time,minutes,zone,repeats,kind\nLong race,2026-12-02,20:00,90,Europe/Dublin,weekly,mass\n"
	made := c.do("POST", "/calendars?filename=club.csv", club, 201)
	if made.json()["events"] != 1.0 || made.json()["name"] != "club.csv" {
		c.t.Errorf("%v", made.json())
	}
	c.do("POST", "/calendars?filename=club.ics", "BEGIN:VCALENDAR\n", 422)
	if n := len(c.do("GET", "/calendars", nil, 200).json()["items"].([]any)); n != 1 {
		c.t.Errorf("%d calendars", n)
	}
	const asked = "?from=2026-12-01&zone=Europe/Zurich&minutes=75"
	sheet := c.do("GET", "/calendar"+asked+"&rider="+ids["riders"]+"&rig="+ids["rigs"], nil, 200).json()
	if n := len(sheet["events"].([]any)); n != 5 || sheet["events"].([]any)[1].(map[string]any)["fits"] != "no" { // one of them is the race
		c.t.Errorf("%d events: %v", n, sheet)
	}
	if file := c.do("GET", "/calendar.ics?from=2026-12-01", nil, 200); !strings.HasPrefix(file.Body.String(), "BEGIN:VCALENDAR") || !strings.Contains(file.Body.String(), "Long race") {
		c.t.Errorf("%.300s", file.Body)
	}
	c.do("GET", "/calendar?zone=Home", nil, 422)
	c.do("GET", "/calendar?rider=nobody", nil, 422)
	c.do("DELETE", "/calendars/"+made.id(), nil, 204)
	c.do("DELETE", "/calendars/"+made.id(), nil, 404)
}

// Nobody under 18 is given W/kg by the API.
func TestRaceOfAMinorHasNoWattsPerKilogram(t *testing.T) {
	c := newClient(t)
	rider := c.make("riders", "Young", "name: Young\nmass_kg: 55\nbirth_year: 2011\nsex: female\nlevel: club\nevidence:\n  - {kind: test, duration_s: 1200, watts: 150, date: 2026-11-01}\n")
	ask := map[string]any{"rider": rider, "rig": c.make("rigs", "Rig", demo(t, "regular-rig.yaml")), "event": c.make("events", "Race", raceText), "course": c.make("courses", "Loop", sketchText), "races": 2, "starters": 6}
	if body := c.do("POST", "/races/forecast", ask, 200).Body.String(); strings.Contains(body, "W/kg") || strings.Contains(body, "w_per_kg") {
		t.Errorf("%.900s", body)
	}
}

func TestResultsOfAMinorHaveNoWattsPerKilogram(t *testing.T) {
	c := newClient(t)
	c.make("riders", "Young", "name: Young\nmass_kg: 55\nbirth_year: 2011\n")
	at := "/events/" + c.make("events", "Race", raceText) + "/results?filename=race.csv&me=young"
	body := c.do("POST", at, "name,time,w/kg\nYoung,5:30,3.11\nA,5:31,3.22\nB,5:33,3.33\nC,5:35,3.44\nD,5:40,3.55\nE,5:52,3.66\n", 201).Body.String()
	if !strings.Contains(body, "You came 1st of 6") || strings.Contains(body, "3.11") || strings.Contains(body, "W/kg") {
		t.Errorf("%.900s", body)
	}
}
