package web

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"strings"
	"sync"
	"time"

	"chainline/brief"
	"chainline/internal/form"
	"chainline/internal/input"
	"chainline/internal/render"
	"chainline/internal/store"
)

// briefChanges are what a brief can be changed by, and where that stands.
var briefChanges = []struct {
	name  string
	kind  store.Kind
	path  string
	field Field
}{
	{"temperature", store.Rig, "room.temperature_c", Field{Label: "Temperature of the room"}},
	{"fans", store.Rig, "room.fans.0", Field{Label: "Fans", Hint: "In a sentence: one pedestal fan, a metre away, high. Or: no fan."}},
	{"airflow", store.Rig, "room.airflow_m_s", Field{Label: "Air at your chest, if measured", Hint: "It counts instead of the fans."}},
	{"mass", store.Rider, "mass_kg", Field{Label: "What you weigh"}},
}

// changeOf is the name of the change that a path belongs to; empty if none.
func changeOf(kind store.Kind, path string) string {
	for _, c := range briefChanges {
		if c.kind == kind && (path == c.path || c.name == "fans" && strings.HasPrefix(path, "room.fans")) {
			return c.name
		}
	}
	return ""
}

// briefStyles are the styles, by how often one may run empty.
var briefStyles = []Option{
	{Value: "careful", Label: "Careful", Hint: "runs empty before the line in at most 5 of 100 such rides"},
	{Value: "normal", Label: "Normal", Hint: "in at most 15 of 100"},
	{Value: "bold", Label: "Bold", Hint: "in at most 35 of 100"},
}

// now are the values that can be changed, as they are in the texts.
func (p briefParts) now(units form.Units) (map[string]string, error) {
	values := map[string]string{"style": p.ask.Style}
	if values["style"] == "" {
		values["style"] = "normal"
	}
	for _, kind := range []store.Kind{store.Rider, store.Rig} {
		all, err := form.ValuesIn(string(kind), p.files[p.names[kind]], units)
		if err != nil {
			return nil, err
		}
		for _, c := range briefChanges {
			if c.kind == kind && c.name != "fans" {
				values[c.name] = all[c.path]
			}
		}
	}
	rig, err := input.ReadRig("rig", strings.NewReader(p.files[p.names[store.Rig]]))
	if err != nil {
		return nil, err
	}
	switch fans := rig.Room.Fans; {
	case fans == nil:
	case len(fans) == 0:
		values["fans"] = "no fan"
	default:
		var said []string
		for _, f := range fans {
			said = append(said, f.String())
		}
		values["fans"] = strings.Join(said, ", and ")
	}
	return values, nil
}

// changed are the parts with what was typed in place of what is now, and
// whether that is anything else. The request of the changed parts says it in
// metric units, so that it can be kept.
func (p briefParts) changed(typed, now map[string]string, units form.Units) (out briefParts, any bool, errs map[string]string) {
	out = p
	out.files = map[string]string{}
	for name, text := range p.files {
		out.files[name] = text
	}
	moved := map[string]string{}
	for _, c := range briefChanges {
		if v, ok := typed[c.name]; ok && v != now[c.name] {
			moved[c.name] = v
		}
	}
	errs = out.change(moved, units)
	switch style := typed["style"]; style {
	case "", now["style"]:
	case "careful", "normal", "bold":
		out.ask.Style, any = style, true
	default:
		errs["style"] = "Choose one of these."
	}
	if len(errs) > 0 || len(moved) == 0 {
		return out, any, errs
	}
	out.ask.Change = map[string]string{}
	for name, v := range p.ask.Change {
		out.ask.Change[name] = v
	}
	metric, err := out.now(asFiled)
	if err != nil {
		errs[""] = oneLine(err)
	}
	for name := range moved {
		out.ask.Change[name] = metric[name]
	}
	if _, fans := moved["fans"]; fans {
		delete(out.ask.Change, "airflow")
		if v, ok := moved["airflow"]; ok && v != "" {
			out.ask.Change["airflow"] = metric["airflow"]
		}
	}
	return out, true, errs
}

// BriefMoved is one line of what a change moves.
type BriefMoved struct{ What, Before, After, By string }

// briefMoved are the lines of what is not the same any more.
func briefMoved(a, b brief.Brief, u form.Units) []BriefMoved {
	var all []BriefMoved
	add := func(what, before, after, by string) {
		if before != after {
			all = append(all, BriefMoved{what, before, after, by})
		}
	}
	lowA, midA, highA := render.ForecastClock(a.Forecast.Low80, a.Forecast.Median, a.Forecast.High80)
	lowB, midB, highB := render.ForecastClock(b.Forecast.Low80, b.Forecast.Median, b.Forecast.High80)
	if by := sooner(a.Forecast.Median, b.Forecast.Median); by != "" {
		all = append(all, BriefMoved{"Finish, most likely", midA, midB, by})
	}
	add("Four times out of five", lowA+" to "+highA, lowB+" to "+highB, "")
	add("Running empty before the line", inHundred(a.Forecast.ChanceEmpty), inHundred(b.Forecast.ChanceEmpty), "")
	add("Power on average", fmt.Sprintf("%.0f W", a.Plan.MeanWatts), fmt.Sprintf("%.0f W", b.Plan.MeanWatts), "")
	if a.Room.Known && b.Room.Known {
		add("The room at the end", u.Temperature(a.Room.EndTemperature.Mean), u.Temperature(b.Room.EndTemperature.Mean), "")
		add("Sweat in an hour", fmt.Sprintf("%.1f l", a.Room.SweatLPerH.Mean), fmt.Sprintf("%.1f l", b.Room.SweatLPerH.Mean), "")
		add("Steady in this heat", steady(a.Room.HeatSteadyS), steady(b.Room.HeatSteadyS), "")
	}
	return all
}

func clock(seconds float64) string { return form.Duration(math.Round(seconds)) }

// sooner is what a change saves or costs, empty for less than a second.
func sooner(before, after float64) string {
	switch by := math.Round(before - after); {
	case by > 0:
		return clock(by) + " sooner"
	case by < 0:
		return clock(-by) + " later"
	}
	return ""
}

func inHundred(chance float64) string {
	if n := math.Round(100 * chance); n >= 1 {
		return fmt.Sprintf("%.0f in 100", n)
	}
	return "less than 1 in 100"
}

func steady(seconds float64) string {
	if seconds <= 0 {
		return "to the end"
	}
	return fmt.Sprintf("for about %.0f min", math.Max(1, seconds/60))
}

// briefBase remembers briefs as they were before a change: a person who turns
// one knob after another compares with the same one each time. The zero value
// is empty.
type briefBase struct {
	mu  sync.Mutex
	all map[string]brief.Brief
}

const mostBases = 16

// before is the brief that a change is compared with, reckoned with as many
// draws as the changed one: the same luck in both, so that what differs is the
// change's doing.
func (s *Server) before(ctx context.Context, p briefParts, progress func(string)) (brief.Brief, error) {
	key := p.key(s.now().Format(time.DateOnly))
	c := &s.briefBase
	c.mu.Lock()
	b, ok := c.all[key]
	c.mu.Unlock()
	if ok {
		return b, nil
	}
	b, err := s.reckonBrief(ctx, p, changeDraws, progress)
	if err != nil {
		return b, err
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.all == nil || len(c.all) >= mostBases {
		c.all = map[string]brief.Brief{}
	}
	c.all[key] = b
	return b, nil
}

// prepare reckons in the background what a change will be compared with, so
// that the first knob turned answers as fast as the next. One at a time, and
// whoever closes the page costs no more than that one.
func (s *Server) prepare(ctx context.Context, p briefParts) {
	if !s.preparing.CompareAndSwap(false, true) {
		return
	}
	go func() {
		defer s.preparing.Store(false)
		defer func() { // nobody else would catch it here, and the program would end
			if v := recover(); v != nil {
				s.log.Error("a brief could not be prepared", "panic", v)
			}
		}()
		ctx, stop := context.WithTimeout(context.WithoutCancel(ctx), prepareLongest)
		defer stop()
		if _, err := s.before(ctx, p, nil); err != nil {
			s.log.Debug("a brief was not prepared", "error", err)
		}
	}()
}

const prepareLongest = 10 * time.Second

// both are the briefs before and after a change, reckoned side by side.
func (s *Server) both(ctx context.Context, base, next briefParts, progress func(string)) (before, after brief.Brief, err error) {
	type answer struct {
		b   brief.Brief
		err error
	}
	first := make(chan answer, 1)
	go func() {
		defer func() { // nobody else would catch it here, and the program would end
			if v := recover(); v != nil {
				first <- answer{err: fmt.Errorf("panic: %v", v)}
			}
		}()
		b, err := s.before(ctx, base, nil)
		first <- answer{b, err}
	}()
	defer func() { // as above
		if v := recover(); v != nil {
			err = fmt.Errorf("panic: %v", v)
		}
	}()
	after, err = s.before(ctx, next, progress)
	a := <-first
	if err == nil {
		err = a.err
	}
	return a.b, after, err
}

// briefKept is what other pages read in a kept brief's result.
type briefKept struct {
	Title string `json:"title"`
	Rider struct {
		Capacity struct {
			CriticalPower struct {
				Mean float64 `json:"mean"`
			} `json:"critical_power_w"`
			Threshold struct {
				Mean float64 `json:"mean"`
				SD   float64 `json:"sd"`
			} `json:"threshold_w"`
		} `json:"capacity"`
	} `json:"rider"`
	Rig struct {
		Speaks string `json:"speaks"`
	} `json:"rig"`
	Course struct {
		Name    string `json:"name"`
		Profile struct {
			Distance  []float64 `json:"distance_m"`
			Elevation []float64 `json:"elevation_m"`
		} `json:"profile"`
		Climbs []struct {
			Start    float64 `json:"start_m"`
			Length   float64 `json:"length_m"`
			Ascent   float64 `json:"ascent_m"`
			Mean     float64 `json:"mean_gradient"`
			Steepest float64 `json:"steepest_gradient"`
		} `json:"climbs"`
	} `json:"course"`
	Plan struct {
		Time  float64    `json:"time_s"`
		ForCP float64    `json:"for_critical_power_w"`
		Cues  []cardCue  `json:"cues"`
		Rules []cardRule `json:"rules"`
	} `json:"plan"`
	Forecast struct {
		Draws  int     `json:"draws"`
		Median float64 `json:"median_s"`
		Low80  float64 `json:"low80_s"`
		High80 float64 `json:"high80_s"`
		Chance float64 `json:"chance_empty"`
	} `json:"forecast"`
	Worth []struct {
		What    string  `json:"what"`
		Seconds float64 `json:"seconds"`
		From    float64 `json:"narrows_from_s"`
		To      float64 `json:"narrows_to_s"`
		Why     string  `json:"why"`
		Done    bool    `json:"already_done"`
	} `json:"worth"`
	NextTest struct {
		Sentence    string `json:"sentence"`
		Maximal     bool   `json:"maximal"`
		Recommended bool   `json:"recommended"`
	} `json:"next_test"`
}

func readKept(result []byte) (briefKept, error) {
	var k briefKept
	if err := json.Unmarshal(result, &k); err != nil {
		return k, fmt.Errorf("the result of a kept brief: %w", err)
	}
	return k, nil
}
