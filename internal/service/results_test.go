package service

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"
	"time"

	"chainline/internal/problem"
	"chainline/recording"
)

func listed(t *testing.T, text string) []ResultRow {
	t.Helper()
	rows, err := ReadResults("list.csv", strings.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	return rows
}

// One race written as four programs might: the same rows come out.
func TestResultListsOfAnyShape(t *testing.T) {
	want := fmt.Sprint([]ResultRow{{Place: 1, Name: "Ada Moss", Number: "7", Category: "brisk", Seconds: 3600, Watts: 250, WPerKg: 3.6},
		{Place: 2, Name: "Bo Reed", Number: "9", Category: "brisk", Seconds: 3612.5, Watts: 240, WPerKg: 3.4}, {Name: "Cy Fen", Number: "3", Category: "brisk", Out: true}})
	for _, text := range []string{
		"place,name,number,category,time,watts,w/kg\n1,Ada Moss,7,brisk,1:00:00,250,3.6\n2,Bo Reed,9,brisk,1:00:12.5,240,3.4\nDNF,Cy Fen,3,brisk,,,\n",
		"\ufeffCategory;Bib;Rider;Finish time;Pos;W/kg;Avg power\r\nbrisk;3;Cy Fen;DNF;;;\r\nbrisk;9;Bo Reed;1:00:12,5;2;3,4;240\r\nbrisk;7;Ada Moss;1:00:00;1;3,6;250\r\n",
		"rank\trider\tno\tclass\ttime s\tgap\tpower\twkg\n1.\tAda Moss\t7\tbrisk\t3600\t\t250w\t3.6w/kg\n2.\tBo Reed\t9\tbrisk\t\t+12.5s\t240w\t3.4\n\tCy Fen\t3\tbrisk\tdns\t\t-\t-\n",
		"name|bib|cat|result|status|watts|w/kg|place\nBo Reed|9|brisk|+0:12.5||240|3.4|2\nAda Moss|7|brisk|1:00:00||250|3.6|1\nCy Fen|3|brisk|||0|0|\n",
	} {
		if strings.Contains(text, "|Cy Fen") || strings.Contains(text, "Cy Fen|") {
			text = strings.Replace(text, "Cy Fen|3|brisk||", "Cy Fen|3|brisk||DSQ", 1)
		}
		if got := fmt.Sprint(listed(t, text)); got != want {
			t.Errorf("%q:\ngot  %s\nwant %s", text, got, want)
		}
	}
}

func TestBadResultListsSayWhere(t *testing.T) {
	for text, want := range map[string]string{
		"":                                 "list.csv: is empty",
		"a,b\n1,2\n":                       "list.csv:1: header",
		"place,name\n":                     "no result",
		"time\n1:70:00\n":                  "list.csv:2: time",
		"time\n25:00\n0\n":                 "list.csv:3: time",
		"place\n1\n\nx\n":                  "list.csv:4: place",
		"gap\nfar\n":                       "list.csv:2: gap",
		"time,watts\n25:00,9000\n":         "list.csv:2: watts",
		"time,w/kg\n25:00,250\n":           "list.csv:2: wkg",
		"time,name\n25:00,\"x\n":           "list.csv:",
		"time\n\xff\n":                     "UTF-8",
		"time\n" + "9999999999999999999\n": "list.csv:2: time",
	} {
		_, err := ReadResults("list.csv", strings.NewReader(text))
		e, ok := errors.AsType[*problem.Error](err)
		if !ok || !strings.Contains(e.Message, want) || !strings.Contains(e.Message, "expected") || strings.Contains(e.Message, "\n") {
			t.Errorf("%q: %v; want %s", text, err, want)
		}
	}
}

// bunch is a list of n riders a second apart, 40 in the front group.
func bunch(n int) string {
	var b strings.Builder
	b.WriteString("place,name,number,category,time,w/kg\n")
	for i := range n {
		fmt.Fprintf(&b, "%d,Rider %d,%d,%s,%d,%.3f\n", i+1, i, 100+i, []string{"steady", "brisk"}[i%2], 1800+i, 3.5-0.01*float64(i))
	}
	return b.String()
}

func TestMyRaceAgainstTheField(t *testing.T) {
	q := ResultsRequest{File: "list.csv", Me: "120", Open: Texts(map[string]string{"list.csv": bunch(60)})}
	s, err := Results(context.Background(), q)
	if err != nil {
		t.Fatal(err)
	}
	// Number 120 is the 21st, "steady", the 11th of 30 there: times 1800, 1802 ...; the fifth 1808, so the front is up to 1813.
	if s.Category != "steady" || s.Field.Finishers != 30 || s.Field.Front != 7 || s.Field.FifthS != 1808 || s.Me.Place != 11 || s.Me.BehindFrontS != 12 || s.Me.InFront {
		t.Errorf("%+v %+v", s.Field, s.Me)
	}
	for _, r := range s.Rows {
		if (r.Name != "" || r.Number != "" || r.WPerKg != 0) != (r.Seconds == 1820) {
			t.Errorf("a name of another is kept: %+v", r)
		}
	}
	if len(s.Demands) != 2 || s.Demands[1].Category != "steady" || s.Demands[1].Results != 30 || s.Demands[1].Thin || math.Abs(s.Demands[1].WPerKg.Median-3.21) > 0.011 {
		t.Errorf("%+v", s.Demands)
	}
	if d := s.Demands[1].WPerKg; !(d.Low95 < d.Median && d.Median < d.High95) || d.Results != 30 {
		t.Errorf("%+v", d)
	}
	q.Names, q.Me = true, "rider 3"
	if s, err = Results(context.Background(), q); err != nil || s.Rows[0].Name == "" || !s.Me.InFront {
		t.Errorf("%v %+v", err, s.Me)
	}
	for _, me := range []string{"nobody", ""} {
		q.Me, q.Category = me, "none such"
		if _, err = Results(context.Background(), q); err == nil {
			t.Error("taken")
		}
	}
	if shown := Shown(listed(t, bunch(60)), "Brisk"); len(shown) != 30 || shown[0].Seconds != 1801 {
		t.Errorf("%v", shown[:2])
	}
}

// The ranks that hold the median with 95 %, against sums of the binomial
// coefficients made here once more.
func TestMedianRanks(t *testing.T) {
	for n, want := range map[int]int{6: 1, 10: 2, 20: 6, 50: 18} {
		got, ok := medianRank(n)
		if !ok || got+1 != want {
			t.Errorf("%d: %d %v, want %d", n, got+1, ok, want)
		}
		below := func(k int) float64 {
			sum, c := 0.0, math.Exp2(-float64(n))
			for i := 0; i <= k; i++ {
				sum += c
				c *= float64(n-i) / float64(i+1)
			}
			return sum
		}
		if below(got) > 0.025 || below(got+1) <= 0.025 {
			t.Errorf("%d: %g below", n, below(got))
		}
	}
	if _, ok := medianRank(5); ok {
		t.Error("five cannot")
	}
	a, _ := medianRank(1000)
	b, _ := medianRank(1001)
	if b-a < -1 || b-a > 2 {
		t.Errorf("%d, then %d", a, b)
	}
}

// A ride of known watts along a level kilometre, a climb of two and a level
// one again gives back its watts where they were ridden.
func TestMomentsOfTheCourse(t *testing.T) {
	profile := "distance_m,elevation_m\n0,0\n2000,0\n4000,160\n8000,160\n"
	var r recording.Recording
	r.StartUnix = 1796000000
	p, w := recording.Channel{Quantity: recording.Position, Source: "ride"}, recording.Channel{Quantity: recording.Power, Source: "pedals"}
	at := 0.0
	for i := 0; at < 8000; i++ {
		speed, watts := 10.0, 200.0
		if at >= 2000 && at < 4000 {
			speed, watts = 5, 300
		} else if at >= 7000 {
			watts = 260
		}
		w.Seconds, w.Values = append(w.Seconds, float64(i)+0.5), append(w.Values, watts)
		p.Seconds, p.Values = append(p.Seconds, float64(i)+0.5), append(p.Values, at)
		at += speed
	}
	r.Channels, r.Whole = []recording.Channel{p, w}, true
	var b bytes.Buffer
	if err := recording.Write(&b, &r); err != nil {
		t.Fatal(err)
	}
	s, err := Results(context.Background(), ResultsRequest{File: "list.csv", Recording: "race.recording", Course: "hill.csv", Now: time.Unix(1796100000, 0),
		Open: Texts(map[string]string{"list.csv": bunch(10), "race.recording": b.String(), "hill.csv": profile})})
	if err != nil {
		t.Fatal(err)
	}
	if len(s.Moments) != 3 {
		t.Fatalf("%+v", s.Moments)
	}
	climb, last := s.Moments[1], s.Moments[2]
	if climb.What != "climb 1" || math.Abs(climb.Watts-300) > 1 || math.Abs(climb.Seconds-400) > 8 || math.Abs(climb.Gradient-0.08) > 0.005 || !climb.Hardest {
		t.Errorf("%+v", climb)
	}
	if math.Abs(last.Watts-260) > 1 || math.Abs(last.Seconds-100) > 2 {
		t.Errorf("%+v", last)
	}
}

func FuzzReadResults(f *testing.F) {
	f.Add("place,name,number,category,time,watts,w/kg\n1,Ada Moss,7,brisk,1:00:00,250,3.6\nDNF,Cy,3,brisk,,,\n")
	f.Add("pos;gap;status\n1;;\n2;+0:12,5;\n3;;dnf\n")
	f.Add("time\n+1\nNaN\n1e300\n")
	f.Fuzz(func(t *testing.T, text string) {
		if len(text) > 5000 {
			return
		}
		rows, err := ReadResults("x", strings.NewReader(text))
		if err != nil {
			if _, ok := errors.AsType[*problem.Error](err); !ok {
				t.Fatal(err)
			}
			return
		}
		s, err := Results(context.Background(), ResultsRequest{File: "x", Open: Texts(map[string]string{"x": text})})
		if err != nil || len(s.Rows) != len(rows) {
			t.Fatal(err)
		}
		for _, r := range s.Rows {
			if math.IsNaN(r.Seconds+r.Watts+r.WPerKg) || r.Name != "" || r.Seconds < 0 {
				t.Fatalf("%+v", r)
			}
		}
	})
}

// The next forecast draws its field from what earlier results show: a list of
// stronger riders lowers the chance to hang on, and the sheet says what it
// learnt from.
func TestResultsTeachTheNextForecast(t *testing.T) {
	var strong strings.Builder
	strong.WriteString("name,category,time,w/kg\n")
	for i := range 40 {
		fmt.Fprintf(&strong, "Rider %d,brisk,%d,%.3f\n", i, 600+i, 4.8-0.01*float64(i))
	}
	files := map[string]string{"strong.csv": strong.String(), "few.csv": "time,category\n600,brisk\n", "race.yaml": "kind: mass\ncategories:\n  - {name: brisk, min_w_per_kg: 2.5, max_w_per_kg: 3.9, over_s: 1200}\n",
		"rider.yaml": "name: Ada\nmass_kg: 60\nlevel: club\nscreened: 2026-01-01\nevidence:\n  - {kind: test, watts: 300, duration_s: 180, date: 2026-11-20}\n  - {kind: test, watts: 228, duration_s: 1200, date: 2026-11-22}\n",
		"rig.yaml":   "trainer: {kind: controllable}\n", "way.csv": "distance_m,elevation_m\n0,0\n3000,0\n4000,50\n6000,0\n"}
	asked := func(results string) RaceSheet {
		s, err := Race(context.Background(), RaceRequest{Races: 8, Starters: 20, Results: results, Brief: BriefRequest{Rider: "rider.yaml", Rig: "rig.yaml", Event: "race.yaml", Course: "way.csv",
			Open: Texts(files), Today: time.Date(2026, 11, 26, 0, 0, 0, 0, time.UTC), Seed: 1, Draws: 50, Workers: 2}})
		if err != nil {
			t.Fatal(err)
		}
		return s
	}
	before, after, few := asked(""), asked("strong.csv"), asked("few.csv")
	if b, a := before.Categories[0].Chance, after.Categories[0].Chance; !(a < b-0.1) {
		t.Errorf("the chance is %.2f before and %.2f after", b, a)
	}
	if !strings.Contains(after.Unproved, "learnt from 40 results") || strings.Contains(before.Unproved, "learnt") || few.Categories[0].Chance != before.Categories[0].Chance {
		t.Errorf("%q %q", before.Unproved, after.Unproved)
	}
}
