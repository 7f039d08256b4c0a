package cli

import (
	"encoding/json"
	"fmt"
	"strconv"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/problem"
	"chainline/internal/service"
)

const raceExample = `  # which category, and will I hang on
  chainline race --rider me.yaml --rig rig.yaml --course ridge.gpx --event race.yaml

  # one category, more closely
  chainline race --rider me.yaml --rig rig.yaml --course ridge.gpx --event race.yaml --category tide --races 400`

func raceCommand(s Streams) *cobra.Command {
	q := service.RaceRequest{Brief: service.BriefRequest{Seed: 1, Draws: 1000}, Races: 60, Starters: 40}
	var asJSON, quiet bool
	c := &cobra.Command{
		Use:   "race --rider FILE --rig FILE --event FILE (--course FILE | --distance LENGTH --ascent LENGTH)",
		Short: "Say which category to enter, and what will happen in it",
		Long: "Race rides each category of the event many times, with invented fields and with low,\n" +
			"middling and high shelter, and says how likely it is to finish with the front group, where\n" +
			"that is decided, and what the first minutes ask. The front group ends five seconds behind\n" +
			"the fifth. For a time trial it points at the plan.",
		Example: raceExample,
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			q.Brief.Today, q.Brief.Workers = s.Now(), s.Workers
			p := &progress{to: s.Err}
			if s.ErrTerminal && !quiet {
				q.Brief.Progress = p.say
			}
			sheet, err := service.Race(c.Context(), q)
			p.clear()
			if err != nil {
				return err
			}
			return tell(s, asJSON, sheet, raceText(sheet))
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.Brief.Rider, "rider", "", "the rider, a YAML `file`")
	f.StringVar(&q.Brief.Rig, "rig", "", "trainer, sensors and room, a YAML `file`: the watts it shows count")
	f.StringVar(&q.Brief.Event, "event", "", "the event and its categories, a YAML `file`")
	f.StringVar(&q.Brief.Road, "road", "", "what the course is ridden on, a YAML `file` (default: an open road)")
	f.StringVar(&q.Brief.Course, "course", "", "the course, a GPX or CSV `file`")
	sketchFlags(c, &q.Brief.Sketch)
	f.Var(value[int]{&q.Brief.Laps, strconv.Atoi, "a whole number"}, "laps", "how often a course file is ridden (default: as the event says)")
	f.StringVar(&q.Brief.Date, "date", "", "the `day` of the race, like 2026-12-03 (default: the event's, else today)")
	f.StringVar(&q.Category, "category", "", "only the category of this `name`")
	f.StringVar(&q.Results, "results", "", "a result list of a race on this course, a CSV `file`: the fields are learnt from it")
	f.Var(value[int]{&q.Races, strconv.Atoi, "a whole number"}, "races", "`number` of races for each of three shelters")
	f.Var(value[int]{&q.Starters, strconv.Atoi, "a whole number"}, "starters", "`number` of others in each race")
	f.Var(value[uint64]{&q.Brief.Seed, parseSeed, "a whole number from 0 on"}, "seed", "`seed` of everything that is drawn")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	f.BoolVar(&quiet, "quiet", false, "do not show progress")
	return c
}

// groupFlags are what a handicap and a ride together share.
func groupFlags(c *cobra.Command, q *service.GroupRequest) {
	f := c.Flags()
	f.SortFlags = false
	f.StringArrayVar(&q.Riders, "rider", nil, "a rider, a YAML `file`; once for each")
	f.StringArrayVar(&q.Courses, "course", nil, "the course, a GPX or CSV `file`")
	f.StringVar(&q.Road, "road", "", "what the course is ridden on, a YAML `file`; its drag area is that of 75 kg (default: an open road)")
	f.StringVar(&q.Event, "event", "", "the event, a YAML `file`, for laps and lead-in")
	f.Var(value[int]{&q.Laps, strconv.Atoi, "a whole number"}, "laps", "how often the course is ridden (default: as the event says)")
	f.Var(percent{&q.Accuracy}, "accuracy", "how well each one's watts are known, in `percent` (default 2)")
	f.Var(value[uint64]{&q.Seed, parseSeed, "a whole number from 0 on"}, "seed", "`seed` of everything that is drawn")
}

// percent is a flag in percent of a fraction.
type percent struct{ to *float64 }

func (p percent) String() string { return "" }
func (p percent) Type() string   { return "number" }
func (p percent) Set(s string) error {
	x, err := strconv.ParseFloat(s, 64)
	if err != nil || !(x > 0 && x <= 30) {
		return fmt.Errorf("found %q; expected above 0 to 30", s)
	}
	*p.to = x / 100
	return nil
}

func handicapCommand(s Streams) *cobra.Command {
	q := service.GroupRequest{Seed: 1, Races: 400}
	var asJSON, quiet bool
	c := &cobra.Command{
		Use:   "handicap --rider FILE --rider FILE ... --course FILE",
		Short: "Send a mixed group off so that everybody may be first home",
		Long: "Handicap puts riders into few start bunches and finds the start gaps, rounded to five\n" +
			"seconds, with which the chances of finishing first are as equal as bunches allow; shelter,\n" +
			"doubt about everybody and their day are in it. With --arrivals it learns from a ride by its\n" +
			"start list: no result changes anybody by more than two percent.",
		Example: "  chainline handicap --rider ana.yaml --rider ben.yaml --rider cas.yaml --course loop.csv\n" +
			"  chainline handicap --rider ana.yaml --rider ben.yaml --rider cas.yaml --course loop.csv --arrivals tuesday.csv",
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			q.Today, q.Workers = s.Now(), s.Workers
			p := &progress{to: s.Err}
			if s.ErrTerminal && !quiet {
				q.Progress = p.say
			}
			sheet, err := service.Handicap(c.Context(), q)
			p.clear()
			if err != nil {
				return err
			}
			return tell(s, asJSON, sheet, handicapText(sheet))
		},
	}
	groupFlags(c, &q)
	f := c.Flags()
	f.Var(value[int]{&q.Bunches, strconv.Atoi, "a whole number"}, "bunches", "at most so many start bunches (default 5)")
	f.Var(value[int]{&q.Races, strconv.Atoi, "a whole number"}, "races", "`number` of races the chances are told from")
	f.StringVar(&q.Arrivals, "arrivals", "", "who came when, a CSV `file`: name,time after the first start; the list for next time is made")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	f.BoolVar(&quiet, "quiet", false, "do not show progress")
	return c
}

func togetherCommand(s Streams) *cobra.Command {
	q := service.GroupRequest{Seed: 1}
	var asJSON bool
	c := &cobra.Command{
		Use:   "together --rider FILE --rider FILE ... --course FILE [--course FILE ...]",
		Short: "Say what a mixed group can ride as one, with targets for each",
		Long: "Together finds the fastest pace that suits everybody: who takes turns and who shelters, who\n" +
			"goes over critical power where, where to regroup. Of several courses it names the longest\n" +
			"that suits all.",
		Example: "  chainline together --rider ana.yaml --rider ben.yaml --course loop.csv --course long.gpx --hours 2",
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			q.Today, q.Workers = s.Now(), s.Workers
			sheet, err := service.Together(c.Context(), q)
			if err != nil {
				return err
			}
			return tell(s, asJSON, sheet, togetherText(sheet))
		},
	}
	groupFlags(c, &q)
	f := c.Flags()
	f.Var(value[float64]{&q.Hours, parseFloat, "a number"}, "hours", "how many `hours` there are (default: no limit)")
	f.Var(value[float64]{&q.Ease, parseFloat, "a number"}, "ease", "most of their critical power that anybody rides at on average, a `share` (default 0.75)")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	return c
}

// tell prints a sheet as text, or as one line of JSON.
func tell(s Streams, asJSON bool, sheet any, text string) error {
	if !asJSON {
		_, err := fmt.Fprint(s.Out, text)
		return err
	}
	if err := json.NewEncoder(s.Out).Encode(sheet); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the answer could not be written: " + err.Error(), Err: err}
	}
	return nil
}

// chance never says that something is certain.
func chance(p float64) string {
	switch {
	case p > 0.99:
		return ">99 %"
	case p < 0.01:
		return "<1 %"
	}
	return fmt.Sprintf("%.0f %%", 100*p)
}

// pad is a cell of a text table: runes, not bytes.
func pad(text string, width int) string {
	return text + strings.Repeat(" ", max(0, width-len([]rune(text))))
}
