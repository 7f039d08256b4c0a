package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"log/slog"
	"math"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
	"chainline/recording"
)

// checkRequest is what the flags of 'check' say.
type checkRequest struct {
	files, earlier []string
	rider, rig     string
	faults         []string
	devices        string
	seed           uint64
	host, keep     string
	wheelMM        float64
	sprint, asJSON bool
	climbs, oneLeg []string
	flywheel       float64
	flywheelDoubt  float64
	curveOut       string
}

func checkCommand(s Streams) *cobra.Command {
	var q checkRequest
	c := &cobra.Command{
		Use:   "check [FILE [FILE]] [--rider FILE --rig FILE]",
		Short: "Say what a rig's numbers are worth, from recordings or on a simulated rig",
		Long: "Check looks at one recording, or at two that recorded the same ride, and says what is\n" +
			"right, what is wrong, by how much, how sure that is, and what to do about it. Recordings are\n" +
			"FIT, GPX or CSV, archives of them, or this program's own. Without a recording it rides the\n" +
			"guided check on a simulated rig. On a real one, ride it with 'chainline ride --session\n" +
			"rig-check' first.\n\n" +
			"Faults of a simulated rig: " + strings.Join(service.FaultNames(), ", ") + ".",
		Example: "  chainline check trainer.fit watch.fit --rider me.yaml --rig cellar.yaml\n" +
			"  chainline check --rider demo/racer.yaml --rig demo/racer-rig.yaml --fault gain=4",
		Args: func(_ *cobra.Command, args []string) error {
			if len(args) > 2 {
				return problem.Bad("found %d recordings; expected one, or two of the same ride", len(args))
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			q.files = args
			return q.run(c.Context(), s)
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.rider, "rider", "", "rider `file`: errors are then stated at this rider's threshold")
	f.StringVar(&q.rig, "rig", "", "rig `file`")
	f.StringArrayVar(&q.earlier, "earlier", nil, "an earlier recording (`file`) of this rider on this rig; may stand several times")
	f.Float64Var(&q.wheelMM, "wheel", 0, "the wheel's circumference in `mm`, as measured with a tape")
	f.StringArrayVar(&q.climbs, "climb", nil, "a steep climb ridden outdoors with one of the sources (`file`, docs/formats.md has its keys); may stand several times")
	f.StringArrayVar(&q.oneLeg, "one-leg", nil, "the source of this `name` measures one leg and doubles it; may stand several times")
	f.Float64Var(&q.flywheel, "flywheel", 0, "the inertia of flywheel and wheel in `kg` at the wheel's rim, if it is known")
	f.Float64Var(&q.flywheelDoubt, "flywheel-doubt", 0, "its standard deviation in `kg` (default: a tenth of it)")
	f.StringVar(&q.host, "host", "", "time round trips to this `host:port` as well; nothing is asked of any host otherwise")
	f.StringArrayVar(&q.faults, "fault", nil, "what is `wrong` with the simulated rig, as name or name=size; may stand several times")
	f.StringVar(&q.devices, "devices", "", "`which` simulated rig: bench, plain-bench (default: like the rig file's)")
	f.Uint64Var(&q.seed, "seed", 1, "seed of the simulated rig")
	f.BoolVar(&q.sprint, "sprint", false, "with a sprint; only for riders who passed the health questions")
	f.StringVar(&q.keep, "keep", "", "write the recording of the simulated check to this `file`")
	f.StringVar(&q.curveOut, "curve-out", "", "write the power curve that was fitted to this `file`, as a rig file takes it")
	f.BoolVar(&q.asJSON, "json", false, "print the report as one line of JSON")
	return c
}

func (q *checkRequest) run(ctx context.Context, s Streams) error {
	ask := service.CheckRequest{Brief: service.BriefRequest{Rider: q.rider, Rig: q.rig, Today: s.Now(), Seed: 1, Draws: 1, Workers: s.Workers},
		TrueCircumference: q.wheelMM / 1000, Host: q.host, OneLeg: q.oneLeg, FlywheelKg: q.flywheel, FlywheelSD: q.flywheelDoubt, StrictNames: true}
	if q.wheelMM != 0 && !(q.wheelMM >= 300 && q.wheelMM <= 5000) {
		return problem.Bad("--wheel: found %g; expected 300 to 5000 mm", q.wheelMM)
	}
	for _, name := range q.climbs {
		climb, err := service.ReadClimb(name)
		if err != nil {
			return err
		}
		ask.Climbs = append(ask.Climbs, climb)
	}
	p := &progress{to: s.Err}
	defer p.clear()
	var err error
	if len(q.files) == 0 {
		err = q.bench(ctx, s, p, &ask)
	} else {
		err = q.recordings(s, &ask)
	}
	if err != nil {
		return err
	}
	for _, name := range q.earlier {
		rec, losses, err := service.OpenRecording(name)
		if err != nil {
			return err
		}
		sayLosses(s, losses)
		ask.Past = append(ask.Past, service.CheckLook{Recording: rec})
	}
	if q.host != "" {
		if s.ErrTerminal {
			p.say("round trips to " + q.host)
		}
		if ask.Rounds, err = service.MeasureLink(ctx, q.host); err != nil {
			return err
		}
	}
	if s.ErrTerminal {
		p.say("looking at the numbers")
	}
	sheet, err := service.CheckRig(ctx, ask)
	p.clear()
	if err != nil {
		return err
	}
	if q.asJSON {
		err = json.NewEncoder(s.Out).Encode(sheet)
	} else {
		_, err = fmt.Fprint(s.Out, checkText(sheet))
	}
	if err != nil {
		return err
	}
	return q.writeCurve(sheet)
}

// writeCurve writes the fitted curve where that was asked for. The report was
// printed whether or not there is one.
func (q *checkRequest) writeCurve(sheet service.CheckSheet) error {
	if q.curveOut == "" {
		return nil
	}
	text, err := service.CurveYAML(sheet)
	if err != nil {
		message, _ := problem.ForPerson(err)
		return problem.Bad("--curve-out: nothing was written: %s", message)
	}
	f, err := os.OpenFile(q.curveOut, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return problem.Bad("--curve-out: %s cannot be written; expected a file that is not there yet", q.curveOut)
	}
	if _, err := f.WriteString(text); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}

func sayLosses(s Streams, losses []string) {
	for _, l := range losses {
		fmt.Fprintln(s.Err, "· "+l)
	}
}

// recordings reads what was named.
func (q *checkRequest) recordings(s Streams, ask *service.CheckRequest) error {
	for name, given := range map[string]bool{"fault": len(q.faults) > 0, "devices": q.devices != "", "keep": q.keep != "", "sprint": q.sprint} {
		if given {
			return problem.Bad("--%s: is of a simulated rig; expected it without a recording", name)
		}
	}
	for _, name := range q.files {
		rec, losses, err := service.OpenRecording(name)
		if err != nil {
			return err
		}
		sayLosses(s, losses)
		ask.Looks = append(ask.Looks, service.CheckLook{Recording: rec, Name: filepath.Base(name)})
		ask.From = append(ask.From, filepath.Base(name))
	}
	return nil
}

// bench rides the guided check on a simulated rig as fast as it can.
func (q *checkRequest) bench(ctx context.Context, s Streams, p *progress, ask *service.CheckRequest) error {
	if q.rider == "" || q.rig == "" {
		return problem.Bad("a check needs a recording, or a rider and a rig to simulate; expected FILE, or --rider FILE and --rig FILE").WithHint("'chainline check --help' has examples.")
	}
	now := s.Now()
	r := service.RideRequest{Brief: ask.Brief, Begun: now, Bench: true}
	text, err := service.CheckSession(r, q.sprint)
	if err != nil {
		return err
	}
	r.Session = text
	riding, err := service.Ride(ctx, r)
	if err != nil {
		return err
	}
	kind, err := q.kind(riding.Setup.Way)
	if err != nil {
		return err
	}
	change, words, err := service.ChosenFaults(q.faults, kind == "plain bench")
	if err != nil {
		return err
	}
	folder, err := os.MkdirTemp("", "chainline-check-*")
	if err != nil {
		return err
	}
	defer os.RemoveAll(folder)
	m := live.New(live.Config{Folder: folder, Now: s.Now, Log: slog.New(slog.NewTextHandler(s.Err, nil))})
	defer m.Close()
	last := -1.0
	sum, err := m.Fast(ctx, riding, live.Choice{Kind: kind, Seed: q.seed, Tweak: change}, func(c *ride.Core) {
		x := c.Snapshot()
		if at := math.Floor(x.ClockS / 60); s.ErrTerminal && at > last {
			last = at
			p.say(fmt.Sprintf("riding the check on a simulated rig, %.0f min", at))
		}
		ask.Devices = service.CheckDevices(c)
	})
	if err != nil {
		return err
	}
	path, err := m.File(sum.ID, "journal")
	if err != nil {
		return err
	}
	read, err := ride.Load(path)
	if err != nil {
		return err
	}
	ask.Begun, ask.Bench = now, true
	ask.Looks = []service.CheckLook{service.CheckOfRide(read)}
	ask.From = []string{"the guided check on a simulated rig: " + strings.Join(append(words, "seed "+fmt.Sprint(q.seed)), "; ")}
	return q.keepRecording(&read.Recording)
}

// kind is which simulated rig.
func (q *checkRequest) kind(way ride.Way) (string, error) {
	switch q.devices {
	case "bench":
		return "bench", nil
	case "plain-bench":
		return "plain bench", nil
	case "":
		if way == ride.Showing {
			return "plain bench", nil
		}
		return "bench", nil
	}
	return "", problem.Bad("--devices: found %q; expected bench or plain-bench", q.devices)
}

func (q *checkRequest) keepRecording(r *recording.Recording) error {
	if q.keep == "" {
		return nil
	}
	f, err := os.OpenFile(q.keep, os.O_WRONLY|os.O_CREATE|os.O_EXCL, 0o600)
	if err != nil {
		return problem.Bad("--keep: %s cannot be written; expected a file that is not there yet", q.keep)
	}
	if err := recording.Write(f, r); err != nil {
		f.Close()
		return err
	}
	return f.Close()
}
