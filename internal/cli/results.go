package cli

import (
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/problem"
	"chainline/internal/service"
)

const resultsExample = `  # my race against the field, and what each category asked for
  chainline results hill-race.csv --event race.yaml --me 117

  # and what the stretches of the course asked of me
  chainline results hill-race.csv --me 117 --recording race.fit --course ridge.gpx --rider me.yaml --rig cellar.yaml`

func resultsCommand(s Streams) *cobra.Command {
	var q service.ResultsRequest
	var asJSON bool
	c := &cobra.Command{
		Use:   "results FILE [--event EVENT] [--me NAME|NUMBER]",
		Short: "Say how a race went against its field, and what its categories really ask for",
		Long: "Results reads a list from CSV: place, name or number, category, time or gap, watts and W/kg\n" +
			"if it has them, in any order. Names and numbers of others are read to find you and are not\n" +
			"given out unless --names asks for them.",
		Example: resultsExample,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return problem.Bad("found %d lists; expected one CSV file", len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			q.File, q.Now = args[0], s.Now()
			sheet, err := service.Results(c.Context(), q)
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(sheet)
			}
			_, err = fmt.Fprint(s.Out, resultsText(sheet))
			return err
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.Event, "event", "", "the event, a YAML `file`")
	f.StringVar(&q.Me, "me", "", "your `name` or start number, as the list has it")
	f.StringVar(&q.Category, "category", "", "only this `category` (default: yours)")
	f.StringVar(&q.Recording, "recording", "", "your ride of the race, a `file`")
	f.StringVar(&q.Course, "course", "", "the course of the race, a GPX or CSV `file`")
	f.StringVar(&q.Rider, "rider", "", "who rode, a YAML `file`: watts are set against what was possible")
	f.StringVar(&q.Rig, "rig", "", "what was ridden on, a YAML `file`")
	f.BoolVar(&q.Names, "names", false, "give out the names, numbers, watts and W/kg of others as well")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	return c
}

func resultsText(s service.ResultsSheet) string {
	var b strings.Builder
	if s.Event != "" {
		fmt.Fprintln(&b, s.Event)
	}
	if s.Category != "" {
		fmt.Fprintf(&b, "category %s\n", s.Category)
	}
	fmt.Fprintf(&b, "%d finished, %d did not; %d in the front group\n", s.Field.Finishers, s.Field.Out, s.Field.Front)
	if s.Me != nil {
		fmt.Fprintln(&b, "\n"+s.Me.Sentence)
	}
	if len(s.Moments) > 0 {
		fmt.Fprintln(&b, "\nwhat it asked of you, in displayed watts")
	}
	for _, m := range s.Moments {
		fmt.Fprintf(&b, "  %-22s %6.2f-%.2f km  %4.0f s  %4.0f W, %.2f of your mean", m.What, m.FromM/1000, m.ToM/1000, m.Seconds, m.Watts, m.OfMean)
		if m.OfPossible > 0 {
			fmt.Fprintf(&b, ", %.0f %% of what you could hold so long when fresh", 100*m.OfPossible)
		}
		if m.Hardest {
			b.WriteString("  (hardest)")
		}
		b.WriteByte('\n')
	}
	fmt.Fprintln(&b, "\nwhat the categories asked for")
	for _, d := range s.Demands {
		name := d.Category
		if name == "" {
			name = "all"
		}
		fmt.Fprintf(&b, "  %s: %d finished", name, d.Results)
		if d.FinishS.Results > 0 {
			fmt.Fprintf(&b, "; finish %s, four of five from %s to %s", raceClock(d.FinishS.Median), raceClock(d.FinishS.P10), raceClock(d.FinishS.P90))
		}
		if d.WPerKg.Results > 0 {
			fmt.Fprintf(&b, "; shown %.2f W/kg", d.WPerKg.Median)
			if d.WPerKg.High95 > 0 {
				fmt.Fprintf(&b, " (median between %.2f and %.2f, 95 %%)", d.WPerKg.Low95, d.WPerKg.High95)
			}
			if d.Front.Results > 0 {
				fmt.Fprintf(&b, ", front group %.2f", d.Front.Median)
			}
		}
		if d.Thin {
			b.WriteString("; too few to say much")
		}
		b.WriteByte('\n')
	}
	for i, n := range s.Notes {
		if i == 0 {
			b.WriteByte('\n')
		}
		fmt.Fprintln(&b, n)
	}
	return b.String()
}

// raceClock is a time in minutes or hours.
func raceClock(seconds float64) string {
	n := int(seconds + 0.5)
	if n >= 3600 {
		return fmt.Sprintf("%d:%02d:%02d", n/3600, n/60%60, n%60)
	}
	return fmt.Sprintf("%d:%02d", n/60, n%60)
}
