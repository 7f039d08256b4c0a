package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"path/filepath"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/recording"
)

const debriefExample = `  # what happened, and what it taught
  chainline debrief evening.fit --rider me.yaml --rig cellar.yaml --harder little

  # against the brief as it would have been before the ride
  chainline debrief race.fit --rider me.yaml --rig cellar.yaml --course ridge.gpx --event race.yaml

  # a season: one debrief after the other, then what they come to
  chainline debrief rides/ more.zip --rider me.yaml --rig cellar.yaml --json`

func debriefCommand(s Streams) *cobra.Command {
	q := service.DebriefRequest{Brief: service.BriefRequest{Seed: 1, Draws: 1000}}
	var asJSON, quiet bool
	var out, ride, dir string
	c := &cobra.Command{
		Use:   "debrief FILE... [--rider FILE [--rig FILE] [--course FILE]] | --ride ID",
		Short: "Say what happened on a ride, how it went against its plan, and what it taught",
		Long: "Debrief looks at rides: FIT, GPX or CSV files, this program's own recordings, archives and\n" +
			"folders of them. Without a rider it gives the measures that need none. With one it knows\n" +
			"what was possible before the ride and learns from it; the file of the rider is not changed.\n" +
			"With a course the ride is laid against the brief of its day, made from what was known before.\n" +
			"A ride that was recorded twice is looked at once.",
		Example: debriefExample,
		RunE: func(c *cobra.Command, args []string) error {
			if ride != "" {
				return debriefKept(c, s, ride, dir, args, asJSON)
			}
			q.Files = args
			q.Brief.Today, q.Brief.Workers = s.Now(), s.Workers
			p := &progress{to: s.Err}
			defer p.clear()
			if s.ErrTerminal && !quiet {
				q.Progress = p.say
				q.Brief.Progress = p.say
			}
			keep, err := aimRide(out, s)
			if err != nil {
				return err
			}
			return runDebrief(c.Context(), s, q, p, asJSON, keep)
		},
	}
	f := c.Flags()
	f.SortFlags = false
	lookedAtFlags(f, &q)
	f.StringVar(&q.Source, "power-source", "", "the `name` of the power source to go by, where a recording has several")
	f.BoolVar(&q.Alone, "alone", false, "nobody was near enough to give shelter")
	f.BoolVar(&q.AsRecorded, "as-recorded", false, "leave spikes, drop-outs and stuck values in")
	f.StringVar(&q.Brief.Recovery, "recovery", "differential", "how W′ comes back: differential, integral or elite")
	f.Var(value[uint64]{&q.Brief.Seed, parseSeed, "a whole number from 0 on"}, "seed", "`seed` of everything that is drawn")
	f.StringSliceVar(&q.Without, "without", nil, "leave `this` out of all that is handed over: heart_rate, mass, name")
	f.StringVar(&out, "out", "", "write the ride as it was looked at to this `file`: .fit, .csv or .recording")
	f.StringVar(&ride, "ride", "", "a ride of the library instead of files, by its `ID`: what is kept of it says the rest")
	f.StringVar(&dir, "data", "", "the data `folder` of the library")
	f.BoolVar(&asJSON, "json", false, "print one line of JSON for each ride, and one for all if there are several")
	f.BoolVar(&quiet, "quiet", false, "do not show progress")
	return c
}

// debriefKept shows the debrief of a ride of the library.
func debriefKept(c *cobra.Command, s Streams, ride, dir string, files []string, asJSON bool) (err error) {
	if len(files) > 0 {
		return problem.Bad("--ride: is a ride of the library; found %d files beside it, expected none", len(files))
	}
	for _, name := range []string{"rider", "rig", "course", "road", "event", "harder", "weighed", "power-source", "alone", "as-recorded", "without", "out"} {
		if c.Flags().Changed(name) {
			return problem.Bad("--%s: is kept with the ride; expected --ride without it", name)
		}
	}
	lib, done, err := openLibrary(c.Context(), s, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, done()) }()
	d, err := lib.RideDebrief(c.Context(), ride)
	if err != nil {
		return err
	}
	if asJSON {
		return json.NewEncoder(s.Out).Encode(d)
	}
	_, err = fmt.Fprint(s.Out, debriefText(d))
	return err
}

// keptRide is where a ride is written to; without a form: nowhere.
type keptRide struct {
	to   target
	form func(io.Writer, *recording.Recording) error
}

// aimRide finds out where and as what a ride is to be written.
func aimRide(out string, s Streams) (k keptRide, err error) {
	switch strings.ToLower(filepath.Ext(out)) {
	case ".fit":
		k.form = func(w io.Writer, r *recording.Recording) error { return fitfile.Activity(w, r, fitfile.Options{}) }
	case ".csv":
		k.form = func(w io.Writer, r *recording.Recording) error { return r.WriteCSV(w, 1) }
	case ".recording":
		k.form = recording.Write
	default:
		if out == "" {
			return k, nil
		}
		return k, problem.Bad("--out: found %q; expected a name that ends in .fit, .csv or .recording", out)
	}
	k.to, err = aim(out, s)
	return k, err
}

// write makes all of it before anything is replaced.
func (k keptRide) write(r *recording.Recording) error {
	var b bytes.Buffer
	if err := k.form(&b, r); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the ride cannot be written: " + err.Error(), Err: err}
	}
	return k.to.write(b.Bytes())
}

// lookedAtFlags are what a ride that is looked at belongs to and what was said
// of it.
func lookedAtFlags(f *pflag.FlagSet, q *service.DebriefRequest) {
	f.StringVar(&q.Brief.Rider, "rider", "", "the rider, a YAML `file`")
	f.StringVar(&q.Brief.Rig, "rig", "", "what was ridden on, a YAML `file`")
	f.StringVar(&q.Brief.Course, "course", "", "the course of the ride, a GPX or CSV `file`")
	f.StringVar(&q.Brief.Road, "road", "", "what the course was ridden on, a YAML `file`")
	f.StringVar(&q.Brief.Event, "event", "", "the event, a YAML `file`")
	f.StringVar(&q.Harder, "harder", "", "could you have gone harder? `answer`: no, little or much")
	f.Var(weighed{&q.Weighed}, "weighed", "the scales before and after, and what was drunk: `kg,kg,litres`, like 61.6,61.1,0.55")
}

func runDebrief(ctx context.Context, s Streams, q service.DebriefRequest, p *progress, asJSON bool, keep keptRide) error {
	lines := json.NewEncoder(s.Out)
	shown := 0
	if keep.form != nil {
		q.Single = "out"
	}
	q.Each = func(d service.DebriefSheet) error {
		p.clear()
		shown++
		if keep.form != nil {
			if err := keep.write(d.Recording); err != nil {
				return err
			}
		}
		if asJSON {
			return lines.Encode(d)
		}
		text := debriefText(d)
		if shown > 1 {
			text = "\n\n" + text
		}
		_, err := fmt.Fprint(s.Out, text)
		return err
	}
	season, err := service.Debrief(ctx, q)
	p.clear()
	if err != nil {
		return err
	}
	several := season.Rides != 1 || len(season.LeftOut) > 0
	switch {
	case asJSON && several:
		return lines.Encode(season)
	case asJSON:
		return nil
	case season.Rides == 1 && q.Brief.Rider != "" && q.Harder == "":
		if _, err := fmt.Fprintln(s.Out, "\nCould you have gone harder? --harder no, little or much makes the ride teach more."); err != nil {
			return err
		}
	}
	if !several {
		return nil
	}
	_, err = fmt.Fprint(s.Out, "\n"+seasonText(season))
	return err
}

// weighed is a flag like 61.6,61.1,0.55.
type weighed struct{ to **[3]float64 }

func (w weighed) String() string { return "" }
func (w weighed) Type() string   { return "weighing" }
func (w weighed) Set(s string) error {
	parts := strings.Split(s, ",")
	var out [3]float64
	ok := len(parts) == len(out)
	for i := range out {
		if ok {
			x, err := strconv.ParseFloat(strings.TrimSpace(parts[i]), 64)
			out[i], ok = x, err == nil && x >= 0 && x < 1000
		}
	}
	if !ok {
		return fmt.Errorf("found %q; expected kilograms before, kilograms after and litres drunk, like 61.6,61.1,0.55", s)
	}
	*w.to = &out
	return nil
}
