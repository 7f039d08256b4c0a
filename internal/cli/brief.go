package cli

import (
	"bytes"
	"fmt"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chainline/brief"
	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/service"
)

const briefExample = `  # a surveyed or recorded course
  chainline brief --rider me.yaml --rig rig.yaml --course ridge.gpx

  # only what a route list shows
  chainline brief --rider me.yaml --rig rig.yaml --distance 21.4km --ascent 310m --main-climb 3.2km@5.5%

  # a sheet for the wall, and a card for the handlebar or the phone
  chainline brief --rider me.yaml --rig rig.yaml --course ridge.gpx --event race.yaml --out brief.html
  chainline brief --rider me.yaml --rig rig.yaml --course ridge.gpx --event race.yaml --format card --out card.html`

func briefCommand(s Streams) *cobra.Command {
	q := service.BriefRequest{Seed: 1, Draws: 1000}
	var format, out string
	var asJSON, quiet bool
	c := &cobra.Command{
		Use:     "brief --rider FILE --rig FILE (--course FILE | --distance LENGTH --ascent LENGTH)",
		Short:   "Make the sheet to take to the start: effort, time, and how sure it is",
		Example: briefExample,
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			face, err := chooseFormat(format, asJSON, out)
			if err != nil {
				return err
			}
			to, err := aim(out, s)
			if err != nil {
				return err
			}
			q.Today, q.Workers = s.Now(), s.Workers
			p := &progress{to: s.Err}
			if s.ErrTerminal && !quiet {
				q.Progress = p.say
			}
			b, err := service.Brief(c.Context(), q)
			p.clear()
			if err != nil {
				return err
			}
			return deliver(b, face, to, s.Colour && out == "")
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.Rider, "rider", "", "the rider, a YAML `file`")
	f.StringVar(&q.Rig, "rig", "", "trainer, sensors and room, a YAML `file`")
	f.StringVar(&q.Road, "road", "", "what the course is ridden on, a YAML `file` (default: an open road)")
	f.StringVar(&q.Event, "event", "", "the event, a YAML `file`")
	f.StringVar(&q.Course, "course", "", "the course, a GPX or CSV `file`")
	f.BoolVar(&q.Reverse, "reverse", false, "ride the course file the other way")
	sketchFlags(c, &q.Sketch)
	f.Var(value[int]{&q.Laps, strconv.Atoi, "a whole number"}, "laps", "how often a course file is ridden, or laps of a sketch (default: as the event says)")
	f.StringVar(&q.Date, "date", "", "the `day` of the ride, like 2026-12-03 (default: the event's, else today)")
	f.StringVar(&q.Style, "style", "normal", "risk of running empty: careful (5 in 100), normal (15) or bold (35)")
	f.Var(number{&q.Reserve}, "reserve", "`joules` of W′ to keep back (default: a tenth)")
	f.Var(value[float64]{&q.Cues, parseFloat, "a number"}, "cues", "cues `per hour`, at most 30 (default: 12, or one for each longer stretch of road)")
	f.BoolVar(&q.Rules, "rules", false, "also give effort by gradient: three to five rules to remember")
	f.StringVar(&q.Recovery, "recovery", "differential", "how W′ comes back: differential, integral or elite")
	f.StringVar(&q.Plan, "plan", "", "judge this plan instead of making one, a CSV `file` (from_m,to_m,watts)")
	f.Var(number{&q.CriticalPower}, "critical-power", "stated critical power in `watts`: for checks, with --w-prime")
	f.Var(number{&q.WPrime}, "w-prime", "stated W′ in `joules`: for checks, with --critical-power")
	f.Var(number{&q.PowerLimit}, "power-limit", "highest power in `watts` with a stated capacity (default 1000)")
	f.Var(value[uint64]{&q.Seed, parseSeed, "a whole number from 0 on"}, "seed", "`seed` of the forecast's draws")
	f.Var(value[int]{&q.Draws, strconv.Atoi, "a whole number"}, "draws", "`number` of draws")
	f.StringVar(&format, "format", "", "text, json, html, or card: the bar card as a page, as text with --out NAME.txt (default: by the ending of --out, else text)")
	f.BoolVar(&asJSON, "json", false, "the same as --format json")
	f.StringVar(&out, "out", "", "write to this `file` instead of the terminal")
	f.BoolVar(&quiet, "quiet", false, "do not show progress")
	return c
}

func sketchFlags(c *cobra.Command, s *service.SketchRequest) {
	f := c.Flags()
	f.Var(length{set: func(m float64) { s.Distance = &m }}, "distance", "sketch: `length` of the whole course, like 21.4km")
	f.Var(length{set: func(m float64) { s.Ascent = &m }}, "ascent", "sketch: ascent of the whole course, a `length` like 310m")
	f.Var(climb{s}, "main-climb", "sketch: its main climb, `length@gradient` like 5.2km@6.1%, or 5.2km/310m, or '5.2km@6.1% from 12km'")
	f.Var(length{set: func(m float64) { s.LapLength = m }}, "lap-length", "sketch: `length` of a lap")
	f.Var(length{set: func(m float64) { s.LapAscent = m }}, "lap-ascent", "sketch: ascent of a lap, a `length`")
	f.Var(length{set: func(m float64) { s.LeadIn = m }}, "lead-in", "level `length` before the first lap")
	f.BoolVar(&s.SummitFinish, "summit-finish", false, "sketch: the course ends at the top of its last climb")
}

// chooseFormat settles text, json, html or card.
func chooseFormat(format string, asJSON bool, out string) (string, error) {
	if asJSON {
		if format != "" && format != "json" {
			return "", problem.Bad("--json: found beside --format %s; expected one of them", format)
		}
		return "json", nil
	}
	ending := strings.ToLower(filepath.Ext(out))
	switch format {
	case "text", "json", "html":
		return format, nil
	case "card":
		if ending == ".txt" {
			return "card as text", nil
		}
		return "card", nil
	case "":
		switch ending {
		case ".html", ".htm":
			return "html", nil
		case ".json":
			return "json", nil
		}
		return "text", nil
	}
	return "", problem.Bad("--format: found %q; expected text, json, html or card", format)
}

// deliver renders to memory first, so that nothing half-made is ever seen.
func deliver(b brief.Brief, face string, to target, colour bool) error {
	var buf bytes.Buffer
	var err error
	switch face {
	case "html":
		err = render.HTML(&buf, b)
	case "card":
		err = render.Card(&buf, b)
	case "card as text":
		err = render.CardText(&buf, b)
	case "json":
		err = render.JSON(&buf, b)
	default:
		err = render.Text(&buf, b, render.TextOptions{Colour: colour})
	}
	if err != nil {
		return fmt.Errorf("rendering: %w", err)
	}
	return to.write(buf.Bytes())
}

// value is a flag whose complaint is ours: what was found and what was
// expected, not what a parser of the standard library says.
type value[T any] struct {
	to       *T
	parse    func(string) (T, error)
	expected string
}

func (v value[T]) String() string { return fmt.Sprint(*v.to) }
func (v value[T]) Type() string   { return "number" }
func (v value[T]) Set(s string) error {
	x, err := v.parse(s)
	if err != nil {
		return fmt.Errorf("found %q; expected %s", s, v.expected)
	}
	*v.to = x
	return nil
}

func parseFloat(s string) (float64, error) { return strconv.ParseFloat(s, 64) }
func parseSeed(s string) (uint64, error)   { return strconv.ParseUint(s, 10, 64) }

// number is a flag that may be left out.
type number struct{ to **float64 }

func (n number) String() string { return "" }
func (n number) Type() string   { return "number" }
func (n number) Set(s string) error {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || x != x {
		return fmt.Errorf("found %q; expected a number", s)
	}
	*n.to = &x
	return nil
}

// length is a flag like 21.4km or 310m.
type length struct{ set func(metres float64) }

func (l length) String() string { return "" }
func (l length) Type() string   { return "length" }
func (l length) Set(s string) error {
	m, err := input.ParseLength(s)
	if err != nil {
		return asText(err)
	}
	l.set(m)
	return nil
}

type climb struct{ s *service.SketchRequest }

func (c climb) String() string { return "" }
func (c climb) Type() string   { return "climb" }
func (c climb) Set(s string) error {
	k, err := input.ParseSketchClimb(s)
	if err != nil {
		return asText(err)
	}
	c.s.MainClimb = &k
	return nil
}

// asText is what a person is told, for cobra to put the flag's name before.
func asText(err error) error {
	msg, _ := problem.ForPerson(err)
	return fmt.Errorf("%s", msg)
}
