package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/calendar"
	"chainline/internal/problem"
	"chainline/internal/service"
)

const calendarExample = `  # what takes place in the next four weeks, and what clashes
  chainline calendar club.ics league.csv

  # what fits 75 minutes and this rider, as a calendar file
  chainline calendar club.ics --minutes 75 --rider me.yaml --rig cellar.yaml --out fits.ics

  # who of a start list is ready
  chainline calendar ready race.yaml --starter me.yaml,cellar.yaml --starter her.yaml,loft.yaml`

func calendarCommand(s Streams) *cobra.Command {
	var q service.CalendarRequest
	var out string
	var asJSON, all bool
	c := &cobra.Command{
		Use:   "calendar FILE... [--minutes MINUTES] [--rider FILE --rig FILE]",
		Short: "Say what takes place when by your clock, what clashes, and what fits",
		Long: "Calendar reads events from iCalendar (RFC 5545), CSV and event files, writes out those that\n" +
			"repeat, and shows each by your own clock whatever zone it is held in. With the minutes at\n" +
			"hand, a rider and a rig it says what fits and why. --out writes them as iCalendar: those\n" +
			"that fit or may fit if that was asked, else all.",
		Example: calendarExample,
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return problem.Bad("no calendar given; expected one or more files: .ics, .csv, or an event's .yaml")
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			q.Files, q.Now = args, s.Now()
			to, err := aim(out, s)
			if err != nil {
				return err
			}
			sheet, err := service.Calendar(q)
			if err != nil {
				return err
			}
			if out != "" {
				if err := writeCalendar(sheet, to, q, all); err != nil {
					return err
				}
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(sheet)
			}
			_, err = fmt.Fprint(s.Out, calendarText(sheet))
			return err
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.From, "from", "", "first `day` to look at (default: today)")
	f.StringVar(&q.To, "to", "", "last `day` to look at (default: four weeks on)")
	f.StringVar(&q.Zone, "zone", "", "`zone` of your clock, like Europe/Dublin (default: this machine's)")
	f.Float64Var(&q.Minutes, "minutes", 0, "the `minutes` you have, with warm-up and all")
	f.StringVar(&q.Rider, "rider", "", "who rides, a YAML `file`")
	f.StringVar(&q.Rig, "rig", "", "what is ridden on, a YAML `file`")
	f.StringVar(&out, "out", "", "write iCalendar to this `file`")
	f.BoolVar(&all, "all", false, "write what does not fit as well")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	c.AddCommand(calendarReadyCommand(s))
	return c
}

func writeCalendar(sheet service.CalendarSheet, to target, q service.CalendarRequest, all bool) error {
	var b bytes.Buffer
	if err := calendar.Write(&b, "Chainline", sheet.Fitting(all), q.Now); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the calendar cannot be written: " + err.Error(), Err: err}
	}
	return to.write(b.Bytes())
}

func calendarText(s service.CalendarSheet) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s to %s, by the clock of %s\n", s.From, s.To, s.Zone)
	for _, x := range s.State {
		fmt.Fprintln(&b, x)
	}
	if len(s.Events) == 0 {
		fmt.Fprintln(&b, "Nothing takes place.")
	}
	day := ""
	for _, e := range s.Events {
		if d := e.Start.Format("Monday 2 January 2006"); d != day {
			day = d
			fmt.Fprintf(&b, "\n%s\n", d)
		}
		clock := "all day"
		if !e.AllDay {
			clock = e.Start.Format("15:04")
			if e.Minutes > 0 {
				clock += "-" + e.End.Format("15:04")
			}
		}
		fmt.Fprintf(&b, "  %-11s  %s", clock, e.Name)
		if e.Fits != "" {
			fmt.Fprintf(&b, "  [fits: %s]", e.Fits)
		}
		fmt.Fprintln(&b)
		var more []string
		if e.Where != "" {
			more = append(more, e.Where)
		}
		if e.Home != "" {
			more = append(more, "there it is "+e.Home[11:]+" ("+e.Zone+")")
		}
		if e.Moved {
			more = append(more, "not at its usual time")
		}
		if len(e.Clashes) > 0 && e.Fits == "" {
			more = append(more, "clashes with "+strings.Join(e.Clashes, "; "))
		}
		for _, m := range append(more, e.Why...) {
			fmt.Fprintf(&b, "               %s\n", m)
		}
	}
	for i, n := range s.Notes {
		if i == 0 {
			fmt.Fprintln(&b)
		}
		fmt.Fprintln(&b, n)
	}
	return b.String()
}

func calendarReadyCommand(s Streams) *cobra.Command {
	var starters []string
	var asJSON bool
	c := &cobra.Command{
		Use:   "ready EVENT --starter RIDER,RIG[,REPORT]...",
		Short: "Say who of a start list is ready: rig checked, evidence, fan, brief",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) != 1 {
				return problem.Bad("found %d events; expected one event file", len(args))
			}
			return nil
		},
		RunE: func(_ *cobra.Command, args []string) error {
			q := service.ReadyRequest{Event: args[0], Now: s.Now()}
			for _, x := range starters {
				parts := strings.Split(x, ",")
				if len(parts) < 2 || len(parts) > 3 {
					return problem.Bad("--starter: found %q; expected rider.yaml,rig.yaml and perhaps the report of a rig check", x)
				}
				st := service.Starter{Rider: parts[0], Rig: parts[1]}
				if len(parts) == 3 {
					st.Report = parts[2]
				}
				q.Starters = append(q.Starters, st)
			}
			sheet, err := service.Ready(q)
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(sheet)
			}
			_, err = fmt.Fprint(s.Out, readyText(sheet))
			return err
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringArrayVar(&starters, "starter", nil, "a rider and a rig (`files`), and a report that 'check --json' wrote; stands once for each on the list")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON")
	return c
}

func readyText(s service.ReadySheet) string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s: %d of %d ready\n", s.Event, s.Ready, len(s.Riders))
	for _, r := range s.Riders {
		state := "ready"
		if !r.Ready {
			state = "not yet"
		}
		fmt.Fprintf(&b, "\n%s: %s\n  rig     %s\n  known   %s\n  fan     %s\n  brief   %s\n", r.Rider, state, r.Checked, r.Evidence, r.Fan, r.Brief)
		for _, m := range r.Missing {
			fmt.Fprintf(&b, "  %s\n", m)
		}
	}
	return b.String()
}
