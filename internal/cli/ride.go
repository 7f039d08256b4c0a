package cli

import (
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"math"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/service"
	"chainline/session"
)

const rideExample = `  # try it without a bicycle: a simulated rig, a session of the library, as fast as it can
  chainline ride --rider me.yaml --rig rig.yaml --session threshold-long --devices bench --fast

  # a course with its plan, on the devices around, beside another program
  chainline ride --rider me.yaml --rig rig.yaml --course ridge.gpx --devices radio --way listening --advance time`

// rideRequest is what 'chainline ride' was asked for.
type rideRequest struct {
	ask     service.RideRequest
	session string
	way     string
	advance string
	devices string
	replay  string
	data    string
	fast    bool
	asJSON  bool
	list    bool
	seed    uint64
}

func rideCommand(s Streams) *cobra.Command {
	q := rideRequest{ask: service.RideRequest{Brief: service.BriefRequest{Seed: 1, Draws: 400}}}
	c := &cobra.Command{
		Use:   "ride --rider FILE --rig FILE [--course FILE | --session NAME]",
		Short: "Ride a course, a session or freely, in the terminal",
		Long: "Ride connects to trainer and sensors, follows a course with its plan or a session, and\n" +
			"writes down what happened. Nothing but a ride that is 'controlling' ever writes to a trainer.\n" +
			"Stop when you feel pain, dizziness or sickness; keep hands and hair away from flywheels.",
		Example: rideExample,
		Args:    noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if q.list {
				return listSessions(s, q.asJSON)
			}
			return q.run(c.Context(), s)
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.ask.Brief.Rider, "rider", "", "rider `file`")
	f.StringVar(&q.ask.Brief.Rig, "rig", "", "rig `file`")
	f.StringVar(&q.ask.Brief.Course, "course", "", "course `file` (GPX or CSV): ride it by its plan")
	f.StringVar(&q.ask.Brief.Event, "event", "", "event `file`")
	f.StringVar(&q.ask.Brief.Road, "road", "", "road `file`")
	f.StringVar(&q.ask.Brief.Style, "style", "", "`how` much risk of running empty: careful, normal, bold")
	f.StringVar(&q.session, "session", "", "a session's `name` in the library, or a file in the notation")
	f.BoolVar(&q.list, "sessions", false, "list the library's sessions")
	f.StringVar(&q.way, "way", "", "`how` to be there: controlling, showing, listening (default: as the rig can)")
	f.StringVar(&q.advance, "advance", "", "`what` moves a course's cues on: position, time, key, distance")
	f.BoolVar(&q.ask.Gradient, "gradient", false, "the brake follows the slope instead of the cue's watts")
	f.BoolVar(&q.ask.Fixed, "fixed", false, "keep the plan as it is instead of making the rest anew while riding")
	f.BoolVar(&q.ask.WaitForKey, "wait", false, "begin by key, not with the first pedal stroke")
	f.StringVar(&q.devices, "devices", "bench", "`which`: bench (simulated), plain-bench, radio, replay")
	f.StringVar(&q.replay, "replay", "", "stored recording `file` to play back as devices")
	f.Uint64Var(&q.seed, "seed", 1, "seed of a simulated rig")
	f.BoolVar(&q.fast, "fast", false, "ride a simulated rig as fast as it can")
	f.StringVar(&q.data, "data", "", "keep rides in this `folder` (default: the system's place for a user's data)")
	f.BoolVar(&q.asJSON, "json", false, "print what happens as lines of JSON")
	return c
}

// listSessions names the library.
func listSessions(s Streams, asJSON bool) error {
	for _, x := range session.Library() {
		p := x.Session()
		if asJSON {
			if err := json.NewEncoder(s.Out).Encode(map[string]any{"schema": "chainline.session/1", "id": x.ID, "name": p.Name, "purpose": p.Purpose, "for": p.For, "cautions": p.Cautions, "text": x.Text}); err != nil {
				return err
			}
			continue
		}
		fmt.Fprintf(s.Out, "%-22s %s\n", x.ID, p.Purpose)
	}
	return nil
}

func (q *rideRequest) run(ctx context.Context, s Streams) error {
	if err := q.settle(s); err != nil {
		return err
	}
	p := &progress{to: s.Err}
	if s.ErrTerminal && q.ask.Brief.Course != "" {
		q.ask.Brief.Progress = p.say
	}
	riding, err := service.Ride(ctx, q.ask)
	p.clear()
	if err != nil {
		return err
	}
	for _, w := range riding.Warnings {
		fmt.Fprintln(s.Err, "· "+w)
	}
	dir, err := dataDir(q.data)
	if err != nil {
		return err
	}
	folder := filepath.Join(dir, "rides")
	if q.fast {
		return q.runFast(ctx, s, riding, folder)
	}
	return q.runLive(ctx, s, riding, folder)
}

// settle reads what the flags mean.
func (q *rideRequest) settle(s Streams) error {
	if q.session != "" {
		text, losses, err := sessionText(q.session)
		if err != nil {
			return err
		}
		for _, l := range losses {
			fmt.Fprintln(s.Err, "· "+l)
		}
		q.ask.Session = text
	}
	q.ask.Way, q.ask.Advance = ride.Way(q.way), ride.Advance(q.advance)
	switch q.ask.Way {
	case "", ride.Controlling, ride.Showing, ride.Listening:
	default:
		return problem.Bad("--way: found %q; expected controlling, showing or listening", q.way)
	}
	switch q.ask.Advance {
	case "", ride.ByPosition, ride.ByTime, ride.ByKey, ride.ByDistance:
	default:
		return problem.Bad("--advance: found %q; expected position, time, key or distance", q.advance)
	}
	switch q.devices {
	case "bench", "radio", "replay":
	case "plain-bench":
		q.devices = "plain bench"
	default:
		return problem.Bad("--devices: found %q; expected bench, plain-bench, radio or replay", q.devices)
	}
	if q.replay != "" {
		q.devices = "replay"
	} else if q.devices == "replay" {
		return problem.Bad("--devices replay needs --replay FILE")
	}
	if q.fast && !strings.HasSuffix(q.devices, "bench") {
		return problem.Bad("--fast: only a simulated rig can be ridden faster than time; expected --devices bench")
	}
	now := s.Now()
	q.ask.Begun, q.ask.Brief.Today, q.ask.Brief.Workers = now, now, s.Workers
	q.ask.Bench = strings.HasSuffix(q.devices, "bench")
	return nil
}

// runFast rides the bench as fast as it can and says what came of it.
func (q *rideRequest) runFast(ctx context.Context, s Streams, riding service.Riding, folder string) error {
	m := live.New(live.Config{Folder: folder, Now: s.Now, Log: slog.New(slog.NewTextHandler(s.Err, nil))})
	defer m.Close()
	p := &progress{to: s.Err}
	last := -1.0
	sum, err := m.Fast(ctx, riding, live.Choice{Kind: q.devices, Seed: q.seed}, func(c *ride.Core) {
		x := c.Snapshot()
		if q.asJSON {
			if at := math.Floor(x.ClockS / 10); at > last {
				last = at
				_ = json.NewEncoder(s.Out).Encode(liveLine(x)) // a closed pipe ends with the summary
			}
			return
		}
		if at := math.Floor(x.ClockS / 60); s.ErrTerminal && at > last {
			last = at
			p.say(fmt.Sprintf("riding, %.0f min, %.0f W", at, x.You.Watts))
		}
	})
	p.clear()
	if err != nil {
		return err
	}
	return q.summary(s, m, sum)
}

// runLive rides by the wall clock and shows it.
func (q *rideRequest) runLive(ctx context.Context, s Streams, riding service.Riding, folder string) error {
	m := live.New(live.Config{Folder: folder, Now: s.Now, Log: slog.New(slog.NewTextHandler(s.Err, nil)), Radio: s.Radio})
	defer m.Close()
	riding.Setup.ID = m.NewID()
	r, err := m.Begin(ctx, riding, live.Choice{Kind: q.devices, Seed: q.seed, File: q.replay})
	if err != nil {
		return err
	}
	return q.watch(ctx, s, m, r, nil)
}

// watch shows a ride until it has ended, and has keys do what they ask; more
// takes those it knows before, and may be nil.
func (q *rideRequest) watch(ctx context.Context, s Streams, m *live.Manager, r *live.Ride, more func(byte) (words string, known bool)) error {
	var err error
	var keys <-chan byte
	if s.Keys != nil && !q.asJSON {
		var stop func()
		if keys, stop, err = s.Keys(); err != nil {
			return err
		}
		defer stop()
	}
	snapshots, stop := r.Engine.Watch()
	defer stop()
	face := &liveFace{to: s.Out, terminal: keys != nil, asJSON: q.asJSON}
	asked := time.Time{}
	for {
		select {
		case x := <-snapshots:
			face.show(x)
		case k, ok := <-keys:
			if !ok {
				keys = nil
				continue
			}
			if k == interrupt {
				face.done()
				return &problem.Error{Kind: problem.Cancelled, Message: "closed; the ride can be gone on with"}
			}
			words, known := "", false
			if more != nil {
				words, known = more(k)
			}
			if !known {
				words = pressed(r, k, &asked, s.Now())
			}
			if words != "" {
				face.note = words
			}
		case <-ctx.Done():
			face.done()
			return &problem.Error{Kind: problem.Cancelled, Message: "closed; the ride can be gone on with", Err: ctx.Err()}
		case <-r.Settled():
			face.done()
			if err := r.Failed(); err != nil {
				return err
			}
			sum, err := m.Summary(r.ID)
			if err != nil {
				return err
			}
			return q.summary(s, m, sum)
		}
	}
}

// interrupt is Ctrl-C in a terminal that is read key by key.
const interrupt = 3

const keyHelp = "space pause, s start, n next, b again, e e end, c connect all, Ctrl-C leave"

// pressed does what a key asks and answers what to show. Ending asks twice.
func pressed(r *live.Ride, k byte, asked *time.Time, now time.Time) string {
	stage := r.Engine.Snapshot().Stage
	do := func(kind ride.KeyKind) string { return r.Engine.Key(ride.Key{Kind: kind}) }
	if n := int(k) - '1'; n >= 0 && n < len(ride.Phrases) && r.Riding.Setup.Group != nil {
		return r.Engine.Key(ride.Key{Kind: ride.KeyPhrase, Value: float64(n)})
	}
	switch k {
	case ' ', 'p':
		if stage == ride.Paused {
			return do(ride.KeyResume)
		}
		return do(ride.KeyPause)
	case 's':
		return do(ride.KeyStart)
	case 'n':
		return do(ride.KeyNext)
	case 'b':
		return do(ride.KeyBack)
	case 'c':
		return r.Engine.Do(func(c *ride.Core, _ time.Time) string { c.ConnectAll(); return "" })
	case 'e':
		if now.Sub(*asked) < 5*time.Second {
			return do(ride.KeyEnd)
		}
		*asked = now
		return "Press e again to end the ride."
	}
	return keyHelp
}

// liveFace redraws one instant over the last.
type liveFace struct {
	to       io.Writer
	terminal bool
	asJSON   bool
	lines    int
	said     time.Time
	told     time.Time // of the last notice
	note     string
}

func (f *liveFace) show(x ride.Snapshot) {
	switch {
	case f.asJSON:
		if x.At.Sub(f.said) >= time.Second {
			f.said = x.At
			_ = json.NewEncoder(f.to).Encode(liveLine(x)) // a closed pipe does not end a ride
		}
	case f.terminal:
		lines := render.LiveText(x, 80)
		if f.note != "" {
			lines = append(lines, f.note)
		}
		var b strings.Builder
		if f.lines > 0 {
			fmt.Fprintf(&b, "\x1b[%dA", f.lines)
		}
		for _, l := range lines {
			b.WriteString("\r\x1b[K" + l + "\r\n")
		}
		b.WriteString("\x1b[J")
		f.lines = len(lines)
		fmt.Fprint(f.to, b.String())
	case x.At.Sub(f.said) >= 10*time.Second:
		f.said = x.At
		lines := render.LiveText(x, 80)
		fmt.Fprintln(f.to, strings.Join(lines[:min(3, len(lines))], "  |  "))
		for _, line := range render.GroupText(x.Group) {
			fmt.Fprintln(f.to, "  "+line)
		}
		for _, n := range x.Notices {
			if n.At.After(f.told) {
				f.told = n.At
				fmt.Fprintln(f.to, "  "+n.Words)
			}
		}
	}
}

func (f *liveFace) done() { f.lines = 0 }

// liveLine is a snapshot as a line of JSON.
func liveLine(x ride.Snapshot) any {
	return struct {
		Schema string `json:"schema"`
		ride.Snapshot
	}{"chainline.live/1", x}
}

// summary says what came of a ride and where its files are.
func (q *rideRequest) summary(s Streams, m *live.Manager, sum live.Summary) error {
	files := map[string]string{}
	for _, kind := range []string{"fit", "csv", "recording", "journal"} {
		if path, err := m.File(sum.ID, kind); err == nil {
			files[kind] = path
		}
	}
	if q.asJSON {
		return json.NewEncoder(s.Out).Encode(struct {
			Schema string `json:"schema"`
			live.Summary
			Files map[string]string `json:"files"`
		}{"chainline.ride/1", sum, files})
	}
	t := sum.Totals
	fmt.Fprintf(s.Out, "%s: %s, %.1f km, %.0f kJ, %.0f W on average\n", sum.Title, clockOf(t.Moving), t.DistanceM/1000, t.WorkJ/1000, t.MeanW)
	for _, w := range sum.Missing {
		fmt.Fprintln(s.Out, "missing: "+w)
	}
	for _, kind := range []string{"fit", "csv", "recording"} {
		if path, ok := files[kind]; ok {
			fmt.Fprintf(s.Out, "%-10s%s\n", kind, path)
		}
	}
	return nil
}

func clockOf(seconds float64) string {
	d := time.Duration(math.Round(seconds)) * time.Second
	return fmt.Sprintf("%d:%02d:%02d", int(d.Hours()), int(d.Minutes())%60, int(d.Seconds())%60)
}

// RadioPort opens the radio; see Streams.Radio.
type RadioPort = func(ctx context.Context) (sensor.Port, error)
