package service

import (
	"context"
	"fmt"
	"io"
	"math"
	"slices"
	"strings"
	"time"

	"chainline/estimate"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/race"
)

// ResultsRequest asks what a result list says. Files are paths; empty means
// not given.
type ResultsRequest struct {
	File     string // the list
	Event    string
	Me       string // name or start number
	Category string // only this one's; empty: that of Me, all without one
	Names    bool   // keep the names, watts and W/kg of others

	// Recording is my ride of the race, Course its course; with a rider and a
	// rig, the watts are set against what was possible.
	Recording, Course, Rider, Rig string

	Open func(name string) (io.ReadCloser, error)
	Now  time.Time
}

// ResultsSheet is a race after it was ridden.
type ResultsSheet struct {
	Schema   string          `json:"schema"`
	Event    string          `json:"event,omitempty"`
	Category string          `json:"category,omitempty"`
	CourseID string          `json:"course_id,omitempty"` // of one that the app keeps: fields are learnt only for the course of the race
	Field    FieldResult     `json:"field"`
	Me       *MyResult       `json:"me,omitempty"`
	Moments  []ResultMoment  `json:"moments,omitempty"`
	Demands  []CategoryAsked `json:"demands"` // by category
	Rows     []ResultRow     `json:"rows"`    // without names, watts and W/kg of others unless they were asked for
	Notes    []string        `json:"notes,omitempty"`
}

// FieldResult is the field, counted.
type FieldResult struct {
	Finishers    int     `json:"finishers"`
	Out          int     `json:"out"`
	Front        int     `json:"front_group"` // within five seconds of the fifth
	WinnerS      float64 `json:"winner_s,omitempty"`
	FifthS       float64 `json:"fifth_s,omitempty"`
	MedianS      float64 `json:"median_s,omitempty"`
	MedianWPerKg float64 `json:"median_w_per_kg,omitempty"`
}

// MyResult is one rider against the field.
type MyResult struct {
	ResultRow
	Of            int     `json:"of"`
	BehindWinnerS float64 `json:"behind_winner_s,omitempty"`
	BehindFrontS  float64 `json:"behind_front_s,omitempty"` // behind the fifth; 0 with the front group
	InFront       bool    `json:"in_front_group"`
	WPerKgAbove   float64 `json:"w_per_kg_above_median,omitempty"`
	Sentence      string  `json:"sentence"`
}

// CategoryAsked is what a category really asked for, learnt from results: it
// is what the next forecast draws its field from.
type CategoryAsked struct {
	Category string    `json:"category,omitempty"`
	Results  int       `json:"results"`
	FinishS  Quartered `json:"finish_s"`
	// WPerKg is the displayed W/kg of those who show any; Results is 0 if nobody
	// does.
	WPerKg Quartered `json:"w_per_kg"`
	Front  Quartered `json:"front_w_per_kg"` // of the front group alone
	Thin   bool      `json:"thin"`           // fewer than ten: it says little
	// Times are the finish times, s, without names: what the next forecast's
	// field is learnt from.
	Times []float64 `json:"times_s,omitempty"`
}

// Learnable are the lines that a forecast's fields are learnt from: times
// alone, since nobody's W/kg are kept unless that was asked for.
func (s ResultsSheet) Learnable() []ResultRow {
	var out []ResultRow
	for _, d := range s.Demands {
		for _, t := range d.Times {
			out = append(out, ResultRow{Category: d.Category, Seconds: t})
		}
	}
	if out == nil { // kept before times were
		for _, r := range s.Rows {
			if !r.Out && r.Seconds > 0 {
				out = append(out, ResultRow{Category: r.Category, Seconds: r.Seconds})
			}
		}
	}
	return out
}

// Quartered is a distribution by its parts. Low95 and High95 hold the median
// of the whole category, by the binomial distribution of ranks; 0 if there are
// fewer than six.
type Quartered struct {
	Results int     `json:"results"`
	P10     float64 `json:"p10,omitempty"`
	Median  float64 `json:"median,omitempty"`
	P90     float64 `json:"p90,omitempty"`
	Low95   float64 `json:"median_low95,omitempty"`
	High95  float64 `json:"median_high95,omitempty"`
}

// frontWithin is what still counts as the front group, s behind the fifth.
const frontWithin = 5.0

// Results reads a list and says what it means. Errors are *problem.Error or
// ctx's.
func Results(ctx context.Context, q ResultsRequest) (ResultsSheet, error) {
	b := BriefRequest{Open: q.Open, Today: q.Now}
	s := ResultsSheet{Schema: "chainline.results/1"}
	rows, err := read(b, q.File, ReadResults)
	if err != nil {
		return s, err
	}
	if q.Event != "" {
		event, err := read(b, q.Event, input.ReadEvent)
		if err != nil {
			return s, err
		}
		s.Event = event.Name
		s.Notes = append(s.Notes, unknownCategories(event, rows)...)
	}
	mine, err := findMe(rows, q)
	if err != nil {
		return s, err
	}
	if mine >= 0 && q.Rider != "" { // nobody under 18 is shown W/kg
		rider, err := read(b, q.Rider, input.ReadRider)
		if err != nil {
			return s, err
		}
		if underAge(rider, q.Now) {
			rows[mine].WPerKg = 0
		}
	}
	s.Category = q.Category
	if s.Category == "" && mine >= 0 {
		s.Category = rows[mine].Category
	}
	field := inCategory(rows, s.Category)
	if len(field) == 0 {
		return s, problem.Bad("--category: found %q; expected one of the list: %s", q.Category, strings.Join(categoriesOf(rows), ", "))
	}
	s.Field = fieldResult(field)
	if mine >= 0 {
		me := againstField(rows[mine], field, s.Field)
		s.Me = &me
	}
	s.Demands = asked(rows)
	s.Rows = slices.Clone(field)
	if !q.Names {
		for i := range s.Rows {
			if mine < 0 || s.Rows[i] != rows[mine] {
				s.Rows[i].Name, s.Rows[i].Number, s.Rows[i].Watts, s.Rows[i].WPerKg = "", "", 0, 0
			}
		}
	}
	if q.Recording != "" {
		s.Moments, err = q.moments(ctx, &s)
		return s, err
	}
	s.Notes = append(s.Notes, "What the decisive moments asked for in watts cannot be told from a list: it has one mean for the whole race and no place where anybody was dropped. Your own recording of the race tells it.")
	return s, nil
}

// Shown is a category of a result list as a forecast learns from it.
func Shown(rows []ResultRow, category string) []race.Shown {
	var out []race.Shown
	for _, r := range inCategory(rows, category) {
		if !r.Out && r.Seconds > 0 {
			out = append(out, race.Shown{Seconds: r.Seconds, WPerKg: r.WPerKg})
		}
	}
	return out
}

func categoriesOf(rows []ResultRow) []string {
	var all []string
	for _, r := range rows {
		if r.Category != "" && !slices.Contains(all, r.Category) {
			all = append(all, r.Category)
		}
	}
	slices.Sort(all)
	return all
}

func unknownCategories(event input.EventFile, rows []ResultRow) []string {
	if len(event.Categories) == 0 {
		return nil
	}
	var out []string
	for _, c := range categoriesOf(rows) {
		if !slices.ContainsFunc(event.Categories, func(x input.CategoryFile) bool { return strings.EqualFold(x.Name, c) }) {
			out = append(out, fmt.Sprintf("The list has a category %q that the event does not have.", c))
		}
	}
	return out
}

func inCategory(rows []ResultRow, category string) []ResultRow {
	if category == "" {
		return rows
	}
	var out []ResultRow
	for _, r := range rows {
		if strings.EqualFold(r.Category, category) {
			out = append(out, r)
		}
	}
	return out
}

// findMe is the row of a name or start number; −1 if nobody was asked for.
func findMe(rows []ResultRow, q ResultsRequest) (int, error) {
	if q.Me == "" {
		return -1, nil
	}
	var found []int
	for i, r := range rows {
		if strings.EqualFold(r.Name, strings.TrimSpace(q.Me)) || r.Number != "" && r.Number == strings.TrimSpace(q.Me) {
			found = append(found, i)
		}
	}
	switch len(found) {
	case 1:
		return found[0], nil
	case 0:
		return -1, problem.Bad("--me: nobody on the list is called or numbered %q; expected a name or start number as it stands there", q.Me)
	}
	return -1, problem.Bad("--me: %d on the list are %q; expected the start number", len(found), q.Me)
}

func fieldResult(field []ResultRow) FieldResult {
	var f FieldResult
	var times, wkg []float64
	for _, r := range field {
		if r.Out {
			f.Out++
			continue
		}
		f.Finishers++
		if r.Seconds > 0 {
			times = append(times, r.Seconds)
		}
		if r.WPerKg > 0 {
			wkg = append(wkg, r.WPerKg)
		}
	}
	slices.Sort(times)
	slices.Sort(wkg)
	if len(times) > 0 {
		f.WinnerS, f.FifthS = times[0], times[min(4, len(times)-1)]
		f.MedianS = estimate.Quantile(times, 0.5)
		for _, t := range times {
			if t <= f.FifthS+frontWithin {
				f.Front++
			}
		}
	}
	if len(wkg) >= leastShown {
		f.MedianWPerKg = estimate.Quantile(wkg, 0.5)
	}
	return f
}

func againstField(r ResultRow, field []ResultRow, f FieldResult) MyResult {
	me := MyResult{ResultRow: r, Of: f.Finishers}
	if r.Out {
		me.Sentence = "You did not finish."
		return me
	}
	me.Place = 1 + slices.Index(field, r)
	me.Sentence = fmt.Sprintf("You came %s of %d.", ordinal(me.Place), me.Of)
	if r.Seconds > 0 {
		me.BehindWinnerS = r.Seconds - f.WinnerS
		me.InFront = r.Seconds <= f.FifthS+frontWithin
		if me.InFront {
			me.Sentence += fmt.Sprintf(" You finished with the front group of %d, %.1f s behind the first.", f.Front, me.BehindWinnerS)
		} else {
			me.BehindFrontS = r.Seconds - f.FifthS
			me.Sentence += fmt.Sprintf(" You finished %s behind the front group of %d.", gapWords(me.BehindFrontS), f.Front)
		}
	}
	if r.WPerKg > 0 && f.MedianWPerKg > 0 {
		me.WPerKgAbove = math.Round(100*(r.WPerKg-f.MedianWPerKg)) / 100
		me.Sentence += fmt.Sprintf(" You showed %.2f W/kg, the median of those who show any is %.2f.", r.WPerKg, f.MedianWPerKg)
	}
	return me
}

func gapWords(s float64) string {
	if s < 60 {
		return fmt.Sprintf("%.1f s", s)
	}
	return fmt.Sprintf("%d:%02d", int(s+0.5)/60, int(s+0.5)%60)
}

// thinField is below how many results a category says little. Our judgement.
const thinField = 10

// asked is what each category asked for.
func asked(rows []ResultRow) []CategoryAsked {
	names := categoriesOf(rows)
	if len(names) == 0 {
		names = []string{""}
	}
	var out []CategoryAsked
	for _, name := range names {
		var times, wkg, front []float64
		field := inCategory(rows, name)
		fifth := fieldResult(field).FifthS
		for _, r := range field {
			if r.Out {
				continue
			}
			if r.Seconds > 0 {
				times = append(times, r.Seconds)
			}
			if r.WPerKg > 0 {
				wkg = append(wkg, r.WPerKg)
				if r.Seconds > 0 && r.Seconds <= fifth+frontWithin {
					front = append(front, r.WPerKg)
				}
			}
		}
		out = append(out, CategoryAsked{Category: name, Results: len(times), FinishS: quartered(times), WPerKg: shownParts(wkg), Front: shownParts(front), Thin: len(times) < thinField, Times: times})
	}
	return out
}

// leastShown is of how many riders W/kg are summed up at least: of fewer, they
// would be those of somebody.
const leastShown = 5

func shownParts(x []float64) Quartered {
	if len(x) < leastShown {
		return Quartered{}
	}
	return quartered(x)
}

func quartered(x []float64) Quartered {
	if len(x) == 0 {
		return Quartered{}
	}
	slices.Sort(x)
	q := Quartered{Results: len(x), P10: estimate.Quantile(x, 0.1), Median: estimate.Quantile(x, 0.5), P90: estimate.Quantile(x, 0.9)}
	if low, ok := medianRank(len(x)); ok {
		q.Low95, q.High95 = x[low], x[len(x)-1-low]
	}
	return q
}

// medianRank is the rank from which, counted from either end, an interval
// holds the median with at least 95 %: twice the chance that at most so many
// of n lie below it is no more than 5 %.
func medianRank(n int) (rank int, ok bool) {
	if n > 1000 { // the sum below would come to nothing
		return int(float64(n)/2-0.98*math.Sqrt(float64(n))) - 1, true
	}
	chance := math.Exp2(-float64(n))
	sum := chance
	for k := 0; k < n/2; k++ {
		if sum > 0.025 {
			return k - 1, k > 0
		}
		chance *= float64(n-k) / float64(k+1)
		sum += chance
	}
	return n/2 - 1, n >= 6
}

// ordinal is a place as it is said.
func ordinal(n int) string {
	ending := "th"
	if n%100 < 11 || n%100 > 13 {
		switch n % 10 {
		case 1:
			ending = "st"
		case 2:
			ending = "nd"
		case 3:
			ending = "rd"
		}
	}
	return fmt.Sprintf("%d%s", n, ending)
}
