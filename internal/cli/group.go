package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"path/filepath"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/render"
	"chainline/internal/ride"
	"chainline/internal/service"
)

const groupExample = `  # on one machine: open the group, ride in it on a simulated rig, the gun in a minute
  chainline group host --course ridge.gpx --open 192.0.2.7 --rider me.yaml --rig rig.yaml --gun 60

  # on another: join with the address and the invitation that it prints
  chainline group join 192.0.2.7:7743 --invitation ABCD-EFGH-IJKL-MNOP-QRST --rider bo.yaml --rig rig.yaml`

const groupCaution = "Ride with a group by your own legs: shelter is simulated, and nobody has to hold anybody's wheel.\n" +
	"Stop when you feel pain, dizziness or sickness; keep hands and hair away from flywheels."

// groupRequest is what 'chainline group' was asked for.
type groupRequest struct {
	rideRequest
	title      string
	shelter    string
	open       string
	gun        float64
	keep       bool
	address    string
	invitation string
}

func groupCommand(s Streams) *cobra.Command {
	c := &cobra.Command{
		Use:   "group",
		Short: "Ride a course together, each on their own rig, on one machine or several",
		Long: "Group rides one course with others at the same time. Everybody's own watts move their own\n" +
			"place; riders near take air drag away. docs/group.md says how, and what it does not do.\n" + groupCaution,
		Example: groupExample,
		Args:    noArguments,
		RunE:    func(c *cobra.Command, _ []string) error { return c.Help() },
	}
	c.AddCommand(groupHostCommand(s), groupJoinCommand(s))
	return c
}

// riderFlags are those of whoever rides in a group.
func (q *groupRequest) riderFlags(f *pflag.FlagSet) {
	f.StringVar(&q.ask.Brief.Rider, "rider", "", "rider `file`")
	f.StringVar(&q.ask.Brief.Rig, "rig", "", "rig `file`")
	f.StringVar(&q.ask.Brief.Style, "style", "", "`how` much risk of running empty: careful, normal, bold")
	f.BoolVar(&q.ask.Gradient, "gradient", false, "the brake follows the slope instead of the cue's watts")
	f.BoolVar(&q.ask.Fixed, "fixed", false, "keep the plan as it is instead of making the rest anew while riding")
	f.StringVar(&q.way, "way", "", "`how` to be there: controlling, showing, listening (default: as the rig can)")
	f.StringVar(&q.devices, "devices", "bench", "`which`: bench (simulated), plain-bench, radio")
	f.Uint64Var(&q.seed, "seed", 1, "seed of a simulated rig")
	f.StringVar(&q.data, "data", "", "keep rides in this `folder` (default: the system's place for a user's data)")
	f.BoolVar(&q.asJSON, "json", false, "print what happens as lines of JSON")
}

func newGroupRequest() *groupRequest {
	return &groupRequest{rideRequest: rideRequest{ask: service.RideRequest{Brief: service.BriefRequest{Seed: 1, Draws: 400}}}}
}

func groupHostCommand(s Streams) *cobra.Command {
	q := newGroupRequest()
	c := &cobra.Command{
		Use:   "host --course FILE [--open ADDRESS] [--rider FILE --rig FILE]",
		Short: "Open a group ride, and ride in it",
		Long: "Host opens a group ride of a course and prints address and invitation for the others.\n" +
			"With --rider and --rig it rides along; without, it only hosts. Keys: g the gun in 10 s,\n" +
			"k keep the group together or not, u bring the last rider up, 1 to 6 say a phrase.\n" + groupCaution,
		Example: groupExample,
		Args:    noArguments,
		RunE:    func(c *cobra.Command, _ []string) error { return q.host(c.Context(), s) },
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.ask.Brief.Course, "course", "", "course `file` (GPX or CSV)")
	f.StringVar(&q.ask.Brief.Event, "event", "", "event `file`, for how often round")
	f.StringVar(&q.ask.Brief.Road, "road", "", "road `file`, for everybody")
	f.StringVar(&q.title, "title", "", "what the ride is `called`")
	f.StringVar(&q.open, "open", "127.0.0.1", "let guests in at this `address` of this machine, and port")
	f.StringVar(&q.shelter, "shelter", live.StrengthMiddle, "`how` strong shelter is: low, middle, high")
	f.Float64Var(&q.gun, "gun", 0, "start `seconds` from when the group is open; 0: by key")
	f.BoolVar(&q.keep, "keep", false, "keep the group together by marked extra shelter")
	q.riderFlags(f)
	return c
}

func groupJoinCommand(s Streams) *cobra.Command {
	q := newGroupRequest()
	c := &cobra.Command{
		Use:   "join ADDRESS --invitation CODE --rider FILE --rig FILE",
		Short: "Ride in a group that somebody else hosts",
		Long: "Join rides in a group at the address and with the invitation that its host was given. The\n" +
			"course comes from the host; the plan is made here, for this rider and rig. The ride begins\n" +
			"at the host's gun. Keys 1 to 6 say a phrase.\n" + groupCaution,
		Example: groupExample,
		Args:    cobra.ArbitraryArgs,
		RunE: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return problem.Bad("found %d addresses; expected one, as its host was given it", len(args)).WithHint("For example 'chainline group join 192.0.2.7:7743 --invitation …'.")
			}
			q.address = args[0]
			return q.join(c.Context(), s)
		},
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.invitation, "invitation", "", "the invitation's five groups of four; - reads it from standard input, where no list of programs shows it")
	q.riderFlags(f)
	return c
}

// ready reads the flags and gives the manager of the rides' folder.
func (q *groupRequest) ready(s Streams) (*live.Manager, error) {
	if q.devices == "replay" {
		return nil, problem.Bad("--devices: found %q; expected bench, plain-bench or radio", q.devices)
	}
	if err := q.settle(s); err != nil {
		return nil, err
	}
	dir, err := dataDir(q.data)
	if err != nil {
		return nil, err
	}
	return live.New(live.Config{Folder: filepath.Join(dir, "rides"), Now: s.Now, Log: slog.New(slog.NewTextHandler(s.Err, nil)), Radio: s.Radio}), nil
}

// groupCourse is what the host's flags name, as guests get it.
func (q *groupRequest) groupCourse() (service.GroupCourse, error) {
	var g service.GroupCourse
	if q.ask.Brief.Course == "" {
		return g, problem.Bad("a group rides a course; expected --course FILE")
	}
	g.CourseFile = filepath.Base(q.ask.Brief.Course)
	g.Name = strings.TrimSuffix(g.CourseFile, filepath.Ext(g.CourseFile))
	for _, x := range []struct {
		name string
		to   *string
	}{{q.ask.Brief.Course, &g.CourseText}, {q.ask.Brief.Road, &g.RoadText}, {q.ask.Brief.Event, &g.EventText}} {
		if x.name == "" {
			continue
		}
		f, err := service.OpenFile(x.name)
		if err != nil {
			return g, err
		}
		b, err := io.ReadAll(io.LimitReader(f, 16<<20))
		if e := f.Close(); err == nil {
			err = e
		}
		if err != nil {
			return g, problem.Bad("%s: cannot be read", x.name)
		}
		*x.to = string(b)
	}
	g = g.Bare()
	return g, g.Check()
}

// riding prepares a ride on the group's course.
func (q *groupRequest) riding(ctx context.Context, s Streams, g service.GroupCourse, m *live.Manager) (service.Riding, error) {
	p := &progress{to: s.Err}
	ask := g.For(q.ask)
	if s.ErrTerminal {
		ask.Brief.Progress = p.say
	}
	r, err := service.Ride(ctx, ask)
	p.clear()
	if err != nil {
		return r, err
	}
	for _, w := range r.Warnings {
		fmt.Fprintln(s.Err, "· "+w)
	}
	fmt.Fprintln(s.Err, "· "+strings.ReplaceAll(groupCaution, "\n", " "))
	r.Setup.ID = m.NewID()
	return r, nil
}

func (q *groupRequest) host(ctx context.Context, s Streams) error {
	rides := q.ask.Brief.Rider != "" || q.ask.Brief.Rig != ""
	if q.gun < 0 || q.gun > 3600 {
		return problem.Bad("--gun: found %g; expected 0 to 3600 seconds", q.gun)
	}
	m, err := q.ready(s)
	if err != nil {
		return err
	}
	defer m.Close()
	course, err := q.groupCourse()
	if err != nil {
		return err
	}
	x, err := m.HostGroup(ctx, live.GroupPlan{Title: q.title, Course: course, Strength: q.shelter})
	if err != nil {
		return err
	}
	var riding service.Riding
	if rides { // before anybody is let in: what is wrong here is said first
		if riding, err = q.riding(ctx, s, course, m); err != nil {
			return err
		}
	}
	defer x.Shut() // stopped: it is not opened again unless somebody says so
	in, err := x.Open(q.open)
	if err != nil {
		return err
	}
	if err := q.invite(s, x, in); err != nil {
		return err
	}
	if q.gun > 0 {
		if err := x.Count(q.gun); err != nil {
			return err
		}
	}
	if q.keep {
		if err := x.Keep(true); err != nil {
			return err
		}
	}
	if rides {
		r, err := x.Ride(ctx, riding, live.Choice{Kind: q.devices, Seed: q.seed})
		if err != nil {
			return err
		}
		if err := q.watch(ctx, s, m, r, hostKeys(x)); err != nil {
			return err
		}
	}
	return q.stay(ctx, s, x)
}

// invite says how to join.
func (q *groupRequest) invite(s Streams, x *live.Meeting, in live.Invited) error {
	if q.asJSON {
		return json.NewEncoder(s.Out).Encode(struct {
			Schema string `json:"schema"`
			Group  string `json:"group"`
			Title  string `json:"title"`
			live.Invited
		}{"chainline.invitation/1", x.ID(), x.Title(), in})
	}
	_, err := fmt.Fprintf(s.Out, "%s is open.\naddress     %s\ninvitation  %s\nWhoever has both can ride along and see the names of those who do.\n", x.Title(), in.Address, in.Invitation)
	return err
}

// hostKeys are the keys that only a host has.
func hostKeys(x *live.Meeting) func(byte) (string, bool) {
	said := func(err error, done string) (string, bool) {
		if err != nil {
			words, _ := problem.ForPerson(err)
			return words, true
		}
		return done, true
	}
	return func(k byte) (string, bool) {
		switch k {
		case 'g':
			return said(x.Count(10), "The gun goes in 10 s.")
		case 'k':
			on := !x.Sheet().Keep
			return said(x.Keep(on), map[bool]string{true: "The group is kept together.", false: "The group is no longer kept together."}[on])
		case 'u':
			last := ""
			for _, d := range x.Sheet().Riders { // front to back
				if d.State == ride.DotRiding {
					last = d.Key
				}
			}
			return said(x.BringUp(last), "The last rider is brought up.")
		}
		return "", false
	}
}

// stayFor is how long a host whose own ride has ended waits for a guest who is
// not heard.
const stayFor = 60.0 // s

// stay hosts until everybody is home, gone or silent, or the program is
// stopped.
func (q *groupRequest) stay(ctx context.Context, s Streams, x *live.Meeting) error {
	each := time.NewTicker(time.Second)
	defer each.Stop()
	for n := 0; ; n++ {
		g := x.Sheet()
		if !othersRide(g) {
			return x.End()
		}
		switch {
		case q.asJSON:
			if err := json.NewEncoder(s.Out).Encode(struct {
				Schema string          `json:"schema"`
				Group  ride.GroupSheet `json:"group"`
			}{"chainline.group/1", g}); err != nil {
				return err
			}
		case n%10 == 0:
			fmt.Fprintln(s.Out, strings.Join(render.GroupText(&g), "\n"))
		}
		select {
		case <-each.C:
		case <-ctx.Done():
			return &problem.Error{Kind: problem.Cancelled, Message: "the group is closed; whoever rides goes on alone", Err: ctx.Err()}
		}
	}
}

// othersRide: somebody rides or may still come.
func othersRide(g ride.GroupSheet) bool {
	if !g.GunSet || g.ClockS < stayFor {
		return true
	}
	for _, d := range g.Riders {
		switch d.State {
		case ride.DotWaiting, ride.DotRiding:
			return true
		case ride.DotSilent:
			if d.SilentS < stayFor {
				return true
			}
		}
	}
	return false
}

func (q *groupRequest) join(ctx context.Context, s Streams) error {
	if q.ask.Brief.Rider == "" || q.ask.Brief.Rig == "" {
		return problem.Bad("to ride in a group takes a rider and a rig; expected --rider FILE and --rig FILE")
	}
	if q.invitation == "-" {
		if s.In == nil {
			return problem.Bad("--invitation -: there is nothing to read it from")
		}
		line, err := bufio.NewReader(io.LimitReader(s.In, 200)).ReadString('\n')
		if err != nil && line == "" {
			return problem.Bad("--invitation -: nothing came on standard input; expected the invitation on one line")
		}
		q.invitation = line
	}
	if q.invitation == "" {
		return problem.Bad("a group is joined with its invitation; expected --invitation CODE")
	}
	m, err := q.ready(s)
	if err != nil {
		return err
	}
	defer m.Close()
	g, err := m.Visit(ctx, q.address, q.invitation)
	if err != nil {
		return err
	}
	riding, err := q.riding(ctx, s, g.Course(), m)
	if err != nil {
		return err
	}
	r, err := g.Ride(ctx, riding, live.Choice{Kind: q.devices, Seed: q.seed})
	if err != nil {
		return err
	}
	if !q.asJSON {
		fmt.Fprintf(s.Out, "In %s, which is %.1f km. The ride begins at the host's gun.\n", g.Title(), g.Profile().Length()/1000)
	}
	return q.watch(ctx, s, m, r, nil)
}
