package cli

import (
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"os"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/problem"
	"chainline/internal/service"
)

const shareExample = `  # a ride with its debrief for a coach who has this program
  chainline share race.fit --rider me.yaml --rig cellar.yaml --course ridge.gpx --out race.chainline.zip

  # without heart rate and name
  chainline share race.fit --rider me.yaml --without heart_rate,name --out race.chainline.zip`

func shareCommand(s Streams) *cobra.Command {
	q := service.DebriefRequest{Brief: service.BriefRequest{Seed: 1, Draws: 1000}}
	var out string
	c := &cobra.Command{
		Use:   "share FILE --out FILE [--rider FILE [--rig FILE] [--course FILE]]",
		Short: "Write a ride with its debrief for somebody who has this program",
		Long: "Share writes one archive (zip): the ride's file, the files of rider, rig and course, what was\n" +
			"said of the ride, and its debrief. It opens elsewhere with all numbers, and they can be\n" +
			"reckoned anew there. What is left out with --without is in none of its files.",
		Example: shareExample,
		Args:    cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			q.Files = args
			q.Brief.Today, q.Brief.Workers = s.Now(), s.Workers
			if out == "" {
				return problem.Bad("--out: names no file; expected a name that ends in .zip")
			}
			if !strings.HasSuffix(strings.ToLower(out), ".zip") {
				return problem.Bad("--out: found %q; expected a name that ends in .zip", out)
			}
			to, err := aim(out, s)
			if err != nil {
				return err
			}
			var b bytes.Buffer
			if err := service.WriteShare(c.Context(), &b, q, s.Version); err != nil {
				return err
			}
			return to.write(b.Bytes())
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&out, "out", "", "the share `file` to write, .zip")
	lookedAtFlags(f, &q)
	f.BoolVar(&q.Alone, "alone", false, "nobody was near enough to give shelter")
	f.BoolVar(&q.AsRecorded, "as-recorded", false, "leave spikes, drop-outs and stuck values in")
	f.StringSliceVar(&q.Without, "without", nil, "leave `this` out of all that is handed over: heart_rate, mass, name")
	return c
}

func openCommand(s Streams) *cobra.Command {
	var asJSON bool
	var out string
	c := &cobra.Command{
		Use:   "open FILE",
		Short: "Open a share file: its debrief, and whether its numbers come out the same here",
		Long: "Open reads a share file that somebody wrote with share, or from the app, says what is in it\n" +
			"and reckons it anew. --out writes the ride that is in it.",
		Args: cobra.ExactArgs(1),
		RunE: func(c *cobra.Command, args []string) error {
			keep, err := aimRide(out, s)
			if err != nil {
				return err
			}
			shared, err := openShare(c.Context(), args[0], s.Workers)
			if err != nil {
				return err
			}
			if keep.form != nil {
				if err := keep.write(shared.Recording); err != nil {
					return err
				}
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(struct {
					Share   service.Share        `json:"share"`
					Debrief service.DebriefSheet `json:"debrief"`
					Again   bool                 `json:"reckoned_anew"`
					Differs []string             `json:"differs,omitempty"`
				}{shared.Share, shared.Sheet, shared.Again != nil, shared.Differs})
			}
			_, err = fmt.Fprintf(s.Out, "%s\n\n%s", shared.Words(), debriefText(shared.Sheet))
			return err
		},
	}
	c.Flags().SortFlags = false
	c.Flags().StringVar(&out, "out", "", "write the ride that is in it to this `file`: .fit, .csv or .recording")
	c.Flags().BoolVar(&asJSON, "json", false, "print one line of JSON")
	return c
}

func openShare(ctx context.Context, name string, workers int) (service.Shared, error) {
	f, err := service.OpenFile(name)
	if err != nil {
		return service.Shared{}, err
	}
	defer f.Close()
	file, ok := f.(*os.File)
	if !ok {
		return service.Shared{}, problem.Bad("%s: is no file on a disk; expected a share file", name)
	}
	info, err := file.Stat()
	if err != nil {
		return service.Shared{}, err
	}
	return service.OpenShare(ctx, name, file, info.Size(), workers)
}
