package cli

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chainline/internal/app"
	"chainline/internal/problem"
	"chainline/internal/service"
)

// openLibrary opens the rides of a data folder.
func openLibrary(ctx context.Context, s Streams, dir string) (*service.App, func() error, error) {
	dir, err := dataDir(dir)
	if err != nil {
		return nil, nil, err
	}
	return app.Library(ctx, dir, s.Now, slog.New(slog.NewTextHandler(s.Err, &slog.HandlerOptions{Level: slog.LevelError})), s.Workers)
}

type importRequest struct {
	dir, rider, rig string
	asJSON, quiet   bool
}

func importCommand(s Streams) *cobra.Command {
	var q importRequest
	c := &cobra.Command{
		Use:   "import PATH...",
		Short: "Take rides into the library: files, folders and archives of recordings",
		Long: "Import takes FIT, GPX and CSV files, this program's own recordings, archives and folders\n" +
			"of them into the library of the data folder, as they are. What is there already is\n" +
			"recognised. Stop it with Ctrl-C; the same command goes on where it was.",
		Example: "  chainline import rides/ more.zip --rider Ada --rig Cellar\n  chainline import evening.fit --rider Ada --json",
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) == 0 {
				return problem.Bad("nothing to import; expected files, folders or archives of recordings")
			}
			return runImport(c.Context(), s, q, args)
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.rider, "rider", "", "whose rides they are, the `name` or ID of a rider that is kept")
	f.StringVar(&q.rig, "rig", "", "what they were ridden on, the `name` or ID of a rig that is kept")
	f.StringVar(&q.dir, "data", "", "the data `folder` (default: the system's place for a user's data)")
	f.BoolVar(&q.asJSON, "json", false, "print what came of it as one line of JSON")
	f.BoolVar(&q.quiet, "quiet", false, "do not show progress")
	return c
}

func runImport(ctx context.Context, s Streams, q importRequest, paths []string) (err error) {
	lib, done, err := openLibrary(ctx, s, q.dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, done()) }()
	ask := service.ImportRequest{Paths: paths}
	if ask.RiderID, err = lib.FindRider(ctx, q.rider); err != nil {
		return err
	}
	if ask.RigID, err = lib.FindRig(ctx, q.rig); err != nil {
		return err
	}
	id, err := lib.StartOrResume(ctx, ask)
	if err != nil {
		return err
	}
	p := &progress{to: s.Err}
	defer p.clear()
	if err := follow(ctx, s, lib, id, p, s.ErrTerminal && !q.quiet); err != nil {
		return err
	}
	p.clear()
	return sayImport(context.WithoutCancel(ctx), s, lib, id, q.asJSON)
}

// follow waits for an import and shows how far it is; when the command is
// stopped, so is the import.
func follow(ctx context.Context, _ Streams, lib *service.App, id service.ImportID, p *progress, show bool) error {
	for {
		step, stop := context.WithTimeout(ctx, 200*time.Millisecond)
		err := lib.Wait(step, id)
		stop()
		switch {
		case err == nil:
			return nil
		case ctx.Err() != nil:
			return errors.Join(ctx.Err(), lib.CancelImport(context.WithoutCancel(ctx), id))
		}
		if !show {
			continue
		}
		now, err := lib.Import(ctx, id)
		if err != nil {
			return err
		}
		if now.State == service.ImportLearning {
			p.say(fmt.Sprintf("learning from ride %d", now.Learnt))
		} else {
			p.say(fmt.Sprintf("file %d of %d, %d new rides", now.Done, now.Found, now.New))
		}
	}
}

func sayImport(ctx context.Context, s Streams, lib *service.App, id service.ImportID, asJSON bool) error {
	p, err := lib.Import(ctx, id)
	if err != nil {
		return err
	}
	if asJSON {
		err = json.NewEncoder(s.Out).Encode(struct {
			Schema string `json:"schema"`
			service.ImportProgress
		}{"chainline.import/1", p})
	} else {
		err = importText(s.Out, p)
	}
	if err == nil && p.State != service.ImportDone {
		err = &problem.Error{Kind: problem.Failed, Message: "the import did not come to its end: " + p.Failed}
	}
	if err == nil && p.New+p.Same == 0 && len(p.Refused) > 0 {
		err = &problem.Error{Kind: problem.Failed, Message: "nothing was taken in: in none of the files could a ride be read"}
	}
	return err
}

func importText(w io.Writer, p service.ImportProgress) error {
	var b strings.Builder
	fmt.Fprintf(&b, "%s taken in, %d here already, %s not taken in.\n", counted(p.New, "ride"), p.Same, counted(len(p.Refused), "file"))
	for i, r := range p.Refused {
		if i == 20 {
			fmt.Fprintf(&b, "  and %d more\n", len(p.Refused)-i)
			break
		}
		fmt.Fprintln(&b, "  "+r.Line)
	}
	_, err := io.WriteString(w, b.String())
	return err
}

func ridesCommand(s Streams) *cobra.Command {
	var dir, rider string
	var asJSON bool
	c := &cobra.Command{
		Use:     "rides",
		Short:   "List the rides of the library",
		Long:    "Rides lists what the library of the data folder keeps, the newest first.",
		Example: "  chainline rides --rider Ada\n  chainline debrief --ride 7k2m4q6s3w5y2a4c",
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) (err error) {
			lib, done, err := openLibrary(c.Context(), s, dir)
			if err != nil {
				return err
			}
			defer func() { err = errors.Join(err, done()) }()
			id, err := lib.FindRider(c.Context(), rider)
			if err != nil {
				return err
			}
			rows, err := lib.Rides(c.Context(), id, service.RideFilter{})
			if err != nil {
				return err
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(struct {
					Schema string            `json:"schema"`
					Rides  []service.RideRow `json:"rides"`
				}{"chainline.rides/1", rows})
			}
			return ridesText(s.Out, rows)
		},
	}
	c.Flags().SortFlags = false
	c.Flags().StringVar(&rider, "rider", "", "only those of this rider, a `name` or ID")
	c.Flags().StringVar(&dir, "data", "", "the data `folder` (default: the system's place for a user's data)")
	c.Flags().BoolVar(&asJSON, "json", false, "print the list as one line of JSON")
	return c
}

func ridesText(w io.Writer, rows []service.RideRow) error {
	if len(rows) == 0 {
		_, err := fmt.Fprintln(w, "No rides are kept yet. 'chainline import' takes some in.")
		return err
	}
	var b strings.Builder
	fmt.Fprintf(&b, "%-16s  %-16s  %7s  %7s  %6s  %6s  %s\n", "ride", "when", "time", "km", "kJ", "load", "")
	for _, r := range rows {
		when, load := r.Start.Format("2006-01-02 15:04"), ""
		if !r.Dated {
			when = "not known"
		}
		if r.Load != nil {
			load = fmt.Sprintf("%.2f", r.Load.Mean)
		}
		about := r.Title
		if about == "" {
			about = r.File
		}
		switch {
		case r.Repeats != "":
			about += " (another device's recording of " + r.Repeats + ")"
		case r.Left:
			about += " (left out)"
		}
		fmt.Fprintf(&b, "%-16s  %-16s  %7s  %7.1f  %6.0f  %6s  %s\n", r.ID, when, clockOf(r.Seconds), r.Metres/1000, r.Kilojoules, load, about)
	}
	_, err := io.WriteString(w, b.String())
	return err
}
