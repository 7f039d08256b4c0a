package evidence

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"sync"
	"time"

	"chainline/brief"
	"chainline/capacity"
	"chainline/course"
	"chainline/estimate"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/pacing"
	"chainline/physics"
)

// RemadeRiders are how many riders ride twice in `make evidence`: once by the
// plan as it was made, once with the rest made anew on the way.
const RemadeRiders = 200

// RemadeCourses are the courses they ride, invented; each rider rides one.
var RemadeCourses = []string{"two hills", "rolling", "to the top"}

func remadeProfile(k int) course.Profile {
	pieces := [][][2]float64{ // m, gradient
		{{2000, 0.002}, {2200, 0.055}, {2000, -0.045}, {1500, 0.005}, {1200, 0.06}, {1100, -0.05}},
		{{800, 0.03}, {800, -0.03}, {1000, 0.045}, {1000, -0.035}, {1200, 0.02}, {1200, -0.02}, {900, 0.05}, {900, -0.05}, {1200, 0.01}},
		{{4000, 0.004}, {1500, 0.03}, {3500, 0.065}},
	}[k]
	p := course.Profile{Distance: []float64{0}, Elevation: []float64{50}}
	for i, x := range pieces {
		p.Distance = append(p.Distance, p.Distance[i]+x[0])
		p.Elevation = append(p.Elevation, p.Elevation[i]+x[0]*x[1])
	}
	return p
}

// RemadeRow is what came of one rider on one course.
type RemadeRow struct {
	Course, Rider         int
	CP, WPrime            float64 // W, J of the true rider that day
	Fixed, Anew           float64 // s
	FixedEmpty, AnewEmpty bool
	Changes               int     // of the plan, on the way
	Fluttered             int     // changes that went back on the one before
	Asked                 int     // times the rest was solved
	Solving               float64 // s it took, all together; not in the file
}

// RemadeHeader names the columns of the rows.
const RemadeHeader = "course,rider,cp_true_w,w_prime_true_j,fixed_s,anew_s,fixed_empty,anew_empty,changes,went_back"

// String is the row of the file the test compares with.
func (r RemadeRow) String() string {
	return fmt.Sprintf("%d,%d,%.1f,%.0f,%.2f,%.2f,%d,%d,%d,%d", r.Course, r.Rider, r.CP, r.WPrime, r.Fixed, r.Anew, number(r.FixedEmpty), number(r.AnewEmpty), r.Changes, r.Fluttered)
}

func number(b bool) int {
	if b {
		return 1
	}
	return 0
}

// ParseRemadeRow reads what RemadeRow.String wrote.
func ParseRemadeRow(line string) (RemadeRow, error) {
	var r RemadeRow
	var fixed, anew int
	_, err := fmt.Sscanf(strings.ReplaceAll(line, ",", " "), "%d %d %g %g %g %g %d %d %d %d", &r.Course, &r.Rider, &r.CP, &r.WPrime, &r.Fixed, &r.Anew, &fixed, &anew, &r.Changes, &r.Fluttered)
	r.FixedEmpty, r.AnewEmpty = fixed == 1, anew == 1
	return r, err
}

// typedHeart is the measured maximum (bpm) that the ride is told; the true one
// is off by heartOff (sd, fraction), for the highest of one test is not always
// reached. Our judgement.
const (
	typedHeart = 188.0
	heartOff   = 0.03
)

// briefed is what a brief of one course knows and planned for a rider with two
// tests. Made once for each course.
type briefed struct {
	world   pacing.World
	plan    pacing.Result
	learnt  capacity.Capacity
	ceiling float64
}

var briefs = func() []func() (briefed, error) {
	var out []func() (briefed, error)
	for k := range RemadeCourses {
		out = append(out, sync.OnceValues(func() (briefed, error) { return briefOf(remadeProfile(k)) }))
	}
	return out
}()

func briefOf(p course.Profile) (briefed, error) {
	rider := capacity.Rider{Mass: 72, Age: 34, Sex: capacity.Male, Level: capacity.Club, MaxHeartRate: typedHeart, Screened: true, Evidence: []capacity.Evidence{
		{Kind: capacity.MaximalTest, Duration: 180, Watts: 360, Age: 20, Source: "crank"}, {Kind: capacity.MaximalTest, Duration: 720, Watts: 275, Age: 24, Source: "crank"}}}
	learnt, _ := capacity.Infer(rider, capacity.Source{Name: "crank", SD: 0.032}, estimate.Stream(1, 1<<30))
	median, sd := capacity.RecoverySpread(capacity.Differential)
	b := briefed{learnt: learnt.Displayed, ceiling: learnt.Displayed.MaxPower}
	b.world = pacing.World{Capacity: b.learnt, RecoveryMedian: median, RecoverySD: sd, RiderMass: rider.Mass, RiderSD: 0.5, Profile: p,
		Road: physics.Road{BikeMass: 8, CdA: 0.32, Crr: 0.004, Efficiency: 0.976, AirDensity: 1.2, WheelInertia: 0.14, WheelRadius: 0.335}}
	var err error
	b.plan, err = pacing.Make(context.Background(), pacing.Request{World: b.world, ReserveShare: brief.ReserveShare, ReserveJ: -1, Ceiling: b.ceiling,
		ChanceLimit: brief.Normal.ChanceLimit(), Draws: draws, Seed: 1, Workers: 1})
	return b, err
}

// Remade is one rider's two rides. The truth is one of those the brief thinks
// possible, on a day of its own, with a recovery and a heart of its own; both
// rides are the same but for the plan. How the plan is held is the bench
// rider's: a slow wandering of 1 %, and unevenness.
func Remade(ctx context.Context, i int) (RemadeRow, error) {
	k := i % len(RemadeCourses)
	b, err := briefs[k]()
	if err != nil {
		return RemadeRow{}, err
	}
	r := rand.New(rand.NewPCG(20261127, uint64(i)))
	truth := b.learnt.Draw(r)
	form := math.Exp(pacing.RepeatPower / math.Sqrt2 * r.NormFloat64())
	cfg := bench.StandardRig(uint64(1000 + i))
	cfg.Rider.CriticalPower, cfg.Rider.WPrime, cfg.Rider.MaxPower = truth.SustainableCP(b.plan.Duration)*form, truth.WPrime*form, truth.MaxPower
	cfg.Rider.RecoverySpeed = b.world.RecoveryMedian * math.Exp(b.world.RecoverySD*r.NormFloat64())
	cfg.Rider.HeartMax = typedHeart * (1 + heartOff*r.NormFloat64())
	cfg.Rider.HeartRest += 7 * r.NormFloat64()
	cfg.Rider.HeartAtCP = 0.92 + capacity.HeartAtCPSD*r.NormFloat64()
	cfg.Rider.HeartCreep = math.Exp(0.4 * r.NormFloat64())
	cfg.Meter.Unit.Bias = 0 // the brief's watts are those of this meter
	row := RemadeRow{Course: k, Rider: i, CP: cfg.Rider.CriticalPower, WPrime: cfg.Rider.WPrime}
	var fixed RemadeRow
	errFixed := b.ride(ctx, cfg, false, &fixed)
	errAnew := b.ride(ctx, cfg, true, &row)
	row.Fixed, row.FixedEmpty = fixed.Anew, fixed.AnewEmpty
	return row, errors.Join(errFixed, errAnew)
}

// emptyBefore the line (m) is what counts as running empty: who empties later
// paced well.
const emptyBefore = 50.0

func (b briefed) ride(ctx context.Context, cfg bench.Config, anew bool, row *RemadeRow) error {
	c := &ride.Course{Name: "course", Profile: b.world.Profile, Motion: b.world.Road.Motion(b.world.RiderMass), Advance: ride.ByPosition, PlannedS: b.plan.Forecast.Median}
	if anew {
		c.Basis = ride.NewBasis(b.world, b.plan, 0, b.ceiling, brief.Normal.ChanceLimit(), typedHeart, 5)
	}
	for n, p := range b.plan.Plan.Plan {
		c.Cues = append(c.Cues, ride.Cue{FromM: p.From, ToM: p.To, Watts: p.Watts, Name: fmt.Sprintf("Cue %d", n+1)})
	}
	s := ride.Setup{ID: "evidence", Title: "Evidence", Begun: cfg.Start, Way: ride.Controlling, Bench: true, Course: c, Rig: ride.Rig{Gradient: true},
		Rider: ride.Rider{Mass: b.world.RiderMass, MaxPower: b.ceiling, HeartMax: typedHeart,
			Balance: capacity.Balance{CriticalPower: b.learnt.SustainableCP(b.plan.Duration), WPrime: b.learnt.WPrime, Speed: b.world.RecoveryMedian}}}
	core, err := ride.New(s, sensor.NewHub(nil))
	if err != nil {
		return err
	}
	var solver ride.Replanner
	if anew {
		solver = &timedSolver{c.Solver(), row}
	}
	w := bench.New(cfg)
	before, way := c.Cues, 0.0
	finished := false
	err = ride.Headless(ctx, core, w, 2*time.Hour, solver, nil, func(core *ride.Core) error {
		x := core.Snapshot()
		finished = finished || x.Course != nil && x.Course.LengthM-x.Course.AtM < 1
		if x.Stage != ride.Riding || x.Course == nil {
			return nil
		}
		row.Anew = x.ClockS
		row.AnewEmpty = row.AnewEmpty || w.Truth().Emptied && x.Course.LengthM-x.Course.AtM > emptyBefore
		if now := core.Setup().Course.Cues; x.Plan != row.Changes {
			row.Changes = x.Plan
			shift := shifted(before, now, x.Course.AtM, x.Course.LengthM)
			if shift*way < 0 {
				row.Fluttered++
			}
			before, way = now, shift
		}
		return nil
	})
	if err == nil && !finished {
		err = fmt.Errorf("rider %d did not come to the line", row.Rider)
	}
	return err
}

// shifted is by how many watts the rest of a plan rose from one to the next.
func shifted(from, to []ride.Cue, at, length float64) float64 {
	sum := 0.0
	const places = 50
	for i := range places {
		x := at + (float64(i)+0.5)/places*(length-at)
		sum += (cueAt(to, x) - cueAt(from, x)) / places
	}
	return sum
}

func cueAt(cues []ride.Cue, x float64) float64 {
	for _, c := range cues {
		if x < c.ToM {
			return c.Watts
		}
	}
	return cues[len(cues)-1].Watts
}

// timedSolver counts what solving costs.
type timedSolver struct {
	ride.Replanner
	row *RemadeRow
}

func (t *timedSolver) Replan(ctx context.Context, r ride.Rest) (ride.NewRest, error) {
	began := time.Now()
	n, err := t.Replanner.Replan(ctx, r)
	t.row.Solving += time.Since(began).Seconds()
	t.row.Asked++
	return n, err
}

// RemadeSummary is a course in one line.
type RemadeSummary struct {
	Riders                int
	Fixed                 float64 // s, mean
	Later, SE             float64 // s, of the ride with the rest made anew; standard error
	FixedEmpty, AnewEmpty float64 // shares
	Changes, WentBack     float64 // an hour
}

// SummariseRemade the rows of a course, or of all for −1.
func SummariseRemade(rows []RemadeRow, at int) RemadeSummary {
	var s RemadeSummary
	squares, hours := 0.0, 0.0
	for _, r := range rows {
		if at >= 0 && r.Course != at {
			continue
		}
		s.Riders++
		later := r.Anew - r.Fixed
		s.Fixed, s.Later, squares, hours = s.Fixed+r.Fixed, s.Later+later, squares+later*later, hours+r.Anew/3600
		s.FixedEmpty, s.AnewEmpty = s.FixedEmpty+share(r.FixedEmpty), s.AnewEmpty+share(r.AnewEmpty)
		s.Changes, s.WentBack = s.Changes+float64(r.Changes), s.WentBack+float64(r.Fluttered)
	}
	n := float64(s.Riders)
	s.Fixed, s.Later, s.FixedEmpty, s.AnewEmpty = s.Fixed/n, s.Later/n, s.FixedEmpty/n, s.AnewEmpty/n
	s.SE = math.Sqrt(math.Max(0, squares/n-s.Later*s.Later) / (n - 1))
	s.Changes, s.WentBack = s.Changes/hours, s.WentBack/hours
	return s
}

// RemadeTable sums the rides up.
func RemadeTable(rows []RemadeRow) string {
	var b strings.Builder
	b.WriteString("| course | riders | by the fixed plan, mean | made anew: later by | its standard error | ran empty, fixed | ran empty, made anew | changes an hour | that went back on the last |\n|---|---|---|---|---|---|---|---|---|\n")
	line := func(name string, s RemadeSummary) {
		fmt.Fprintf(&b, "| %s | %d | %.1f s | %+.1f s | %.1f s | %.1f %% | %.1f %% | %.1f | %.1f |\n", name, s.Riders, s.Fixed, s.Later, s.SE, 100*s.FixedEmpty, 100*s.AnewEmpty, s.Changes, s.WentBack)
	}
	for k, name := range RemadeCourses {
		line(name, SummariseRemade(rows, k))
	}
	line("all", SummariseRemade(rows, -1))
	return b.String()
}
