// Package live owns the rides that are going on: the ways to their devices,
// their engines and journals, and the files that come of them. Pages and the
// terminal both use it.
package live

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"log/slog"
	"os"
	"path/filepath"
	"slices"
	"sort"
	"sync"
	"time"

	"chainline/internal/bunch"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/sensor"
	"chainline/internal/sensor/bench"
	"chainline/internal/sensor/replay"
	"chainline/internal/service"
	"chainline/recording"
)

// Settings keeps what is remembered of devices between rides; store.Store does.
type Settings interface {
	Setting(ctx context.Context, key string) (string, error)
	SetSetting(ctx context.Context, key, value string) error
}

// SettingDevices is the key of the remembered devices.
const SettingDevices = "devices"

// Config is what a manager is made of. Folder, Now and Log must be set.
type Config struct {
	Folder   string // for journals and the files of finished rides
	Settings Settings
	Radio    func(ctx context.Context) (sensor.Port, error) // nil: no radio in this build
	Now      func() time.Time
	Log      *slog.Logger
	Finished func(Summary) // is told of every ride that ended, when its files are made; may be nil
	// Reach makes the way to a group's host; nil: over the network, with TLS.
	Reach func(address, invitation string) (bunch.Transport, error)
}

// Choice is what a ride's devices are.
type Choice struct {
	Kind string // "bench", "plain bench", "radio", "replay"
	Seed uint64
	File string // of a replay
	Name string // begins a bench's device addresses; empty: by seed
	// Tweak changes a bench rig before it is built; nil for none.
	Tweak func(*bench.Config)
}

// Ride is one that goes on, or has just ended.
type Ride struct {
	ID      string
	Engine  *ride.Engine
	World   *bench.World // nil unless on a bench
	Riding  service.Riding
	Kind    string
	port    sensor.Port
	cancel  context.CancelFunc
	settled chan struct{}
	failed  error // of making the files
}

// Settled is closed when the ride has ended and its files are made.
func (r *Ride) Settled() <-chan struct{} { return r.settled }

// Failed is what went wrong at the end, nil if nothing did; valid after Settled.
func (r *Ride) Failed() error { return r.failed }

// Manager owns the rides of one data folder.
type Manager struct {
	c        Config
	mu       sync.Mutex
	rides    map[string]*Ride
	groups   map[string]*Group
	meetings map[string]*Meeting
	guests   map[string]*Guest
	radio    string // the ride that has the radio
	closed   bool
	base     context.Context
	stop     context.CancelFunc
	wait     sync.WaitGroup
}

// New makes a manager. Close ends its rides.
func New(c Config) *Manager {
	base, stop := context.WithCancel(context.Background())
	return &Manager{c: c, rides: map[string]*Ride{}, groups: map[string]*Group{}, meetings: map[string]*Meeting{}, guests: map[string]*Guest{}, base: base, stop: stop}
}

// NewID names a ride by when it began; it sorts and can be a file's name.
func (m *Manager) NewID() string {
	at := m.c.Now()
	m.mu.Lock()
	defer m.mu.Unlock()
	for n := 0; ; n++ {
		id := at.Format("20060102-150405")
		if n > 0 {
			id += fmt.Sprintf("-%d", n)
		}
		if _, taken := m.rides[id]; taken {
			continue
		}
		if _, err := os.Stat(m.journal(id)); err == nil {
			continue
		}
		return id
	}
}

func (m *Manager) journal(id string) string { return filepath.Join(m.c.Folder, id+".journal") }

// Begin starts recording: devices are looked for, and the ride itself begins
// as its setup says.
func (m *Manager) Begin(ctx context.Context, r service.Riding, choice Choice) (*Ride, error) {
	return m.begin(ctx, r, choice, nil)
}

// begin is Begin, with the group the ride is in; nil for a ride alone.
func (m *Manager) begin(ctx context.Context, r service.Riding, choice Choice, with *membership) (*Ride, error) {
	saved := m.devices(ctx)
	r.Setup.Bench = choice.Kind == "bench" || choice.Kind == "plain bench"
	if choice.Kind == "replay" {
		r.Setup.Way = ride.Listening
	}
	if err := m.claim(r.Setup.ID, choice); err != nil {
		return nil, err
	}
	hub := sensor.NewHub(saved)
	kept, err := ride.Begin(m.c.Folder, r.Setup, hub)
	if err != nil {
		m.release(r.Setup.ID)
		return nil, &problem.Error{Kind: problem.Failed, Message: "the ride cannot begin: " + err.Error(), Err: err}
	}
	return m.start(r, kept, hub, choice, with)
}

// GoOn takes up a ride that was not ended.
func (m *Manager) GoOn(ctx context.Context, id string, choice Choice) (*Ride, error) {
	if err := m.known(id); err != nil {
		return nil, err
	}
	if err := m.claim(id, choice); err != nil {
		return nil, err
	}
	hub := sensor.NewHub(m.devices(ctx))
	kept, err := ride.GoOn(m.journal(id), hub, m.c.Now())
	if err != nil {
		m.release(id)
		return nil, &problem.Error{Kind: problem.Failed, Message: "this ride cannot be gone on with: " + err.Error(), Err: err}
	}
	riding := service.Riding{Setup: kept.Core.Setup()}
	if solver := riding.Setup.Course.Solver(); solver != nil {
		riding.Replan = solver
	}
	return m.start(riding, kept, hub, choice, m.rejoin(riding.Setup))
}

func (m *Manager) known(id string) error {
	if id == "" || id != filepath.Base(id) || id[0] == '.' {
		return problem.Bad("there is no ride %q", id)
	}
	if _, err := os.Stat(m.journal(id)); err != nil {
		return problem.Bad("there is no ride %q", id)
	}
	return nil
}

// claim keeps a place for a ride, and the radio for one ride at a time.
func (m *Manager) claim(id string, choice Choice) error {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return problem.Bad("the program is closing")
	}
	if old, ok := m.rides[id]; ok && (old == nil || running(old)) {
		return problem.Bad("that ride is going on already")
	}
	if choice.Kind == "radio" {
		if m.radio != "" {
			return problem.Bad("ride %s has the radio; end it first", m.radio).WithHint("Simulated rigs can be ridden at the same time.")
		}
		m.radio = id
	}
	m.rides[id] = nil
	return nil
}

func (m *Manager) release(id string) {
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.rides[id] == nil {
		delete(m.rides, id)
	}
	if m.radio == id {
		m.radio = ""
	}
}

func running(r *Ride) bool {
	select {
	case <-r.Engine.Done():
		return false
	default:
		return true
	}
}

// start opens the devices and runs the engine.
func (m *Manager) start(riding service.Riding, kept *ride.Kept, hub *sensor.Hub, choice Choice, with *membership) (*Ride, error) {
	ctx, cancel := context.WithCancel(m.base)
	r := &Ride{ID: riding.Setup.ID, Riding: riding, Kind: choice.Kind, cancel: cancel, settled: make(chan struct{})}
	port, err := m.open(ctx, r, choice)
	if err != nil {
		cancel()
		m.release(r.ID)
		if e := kept.Journal.Close(); e != nil {
			m.c.Log.Warn("journal", "ride", r.ID, "error", e)
		}
		return nil, err
	}
	r.port = port
	o := ride.Options{Port: port, Keep: kept.Journal.Append, Replan: riding.Replan, Now: m.c.Now}
	auto := choice.Kind != "radio"
	o.Show = func(_ ride.Snapshot, c *ride.Core) {
		if r.World != nil {
			r.World.Show(c.Shown())
		}
		if auto {
			c.ConnectAll()
		}
		c.ConnectKnown()
	}
	if with != nil {
		kept.Core.Join(with.company)
	}
	r.Engine = ride.Start(ctx, kept.Core, o)
	m.wait.Go(func() { with.run(m.base, r.Engine.Done()) })
	r.Engine.Key(ride.Key{Kind: ride.KeyScan, Value: 1})
	m.mu.Lock()
	m.rides[r.ID] = r
	m.mu.Unlock()
	m.wait.Go(func() { m.settle(r, kept) })
	return r, nil
}

func (m *Manager) open(ctx context.Context, r *Ride, choice Choice) (sensor.Port, error) {
	switch choice.Kind {
	case "bench", "plain bench":
		c, err := choice.bench(r.Riding.Setup, m.c.Now())
		if err != nil {
			return nil, err
		}
		r.World = bench.New(c)
		return bench.Realtime(ctx, r.World), nil
	case "radio":
		if m.c.Radio == nil {
			return nil, problem.Bad("this program has no radio").WithHint("A simulated rig can be ridden.")
		}
		return m.c.Radio(ctx)
	case "replay":
		f, err := os.Open(choice.File)
		if err != nil {
			return nil, problem.Bad("%s: cannot be opened; expected a stored recording", choice.File)
		}
		defer f.Close()
		rec, err := recording.Read(io.LimitReader(f, recording.MaxStored))
		if err != nil {
			return nil, problem.Bad("%s: %v", choice.File, err)
		}
		return replay.Realtime(ctx, replay.New(*rec, replay.Options{Start: m.c.Now()})), nil
	}
	return nil, problem.Bad("a ride's devices are bench, plain bench, radio or replay, not %q", choice.Kind)
}

// settle waits for the end, closes everything and makes the files.
func (m *Manager) settle(r *Ride, kept *ride.Kept) {
	defer close(r.settled)
	<-r.Engine.Done()
	r.cancel()
	if err := r.port.Close(); err != nil {
		m.c.Log.Warn("port", "ride", r.ID, "error", err)
	}
	r.failed = r.Engine.Err()
	if err := kept.Journal.Close(); err != nil {
		r.failed = err
		m.c.Log.Error("journal", "ride", r.ID, "error", err)
	}
	m.remember(kept.Core.Devices())
	m.release(r.ID)
	m.mu.Lock()
	if m.radio == r.ID {
		m.radio = ""
	}
	m.mu.Unlock()
	if _, err := m.files(r.ID); err != nil && r.failed == nil {
		r.failed = err
		m.c.Log.Error("files of a ride", "ride", r.ID, "error", err)
	}
	if r.failed == nil {
		m.finished(r.ID)
	}
}

func (m *Manager) devices(ctx context.Context) []sensor.Setting {
	if m.c.Settings == nil {
		return nil
	}
	text, err := m.c.Settings.Setting(ctx, SettingDevices)
	if err != nil || text == "" {
		return nil
	}
	var out []sensor.Setting
	if json.Unmarshal([]byte(text), &out) != nil {
		m.c.Log.Warn("the remembered devices cannot be read and are forgotten")
		return nil
	}
	return out
}

// remember adds what was learnt of devices to what was known of others.
func (m *Manager) remember(now []sensor.Setting) {
	if m.c.Settings == nil || len(now) == 0 {
		return
	}
	ctx, cancel := context.WithTimeout(context.Background(), 5*time.Second)
	defer cancel()
	m.mu.Lock()
	defer m.mu.Unlock()
	all := map[string]sensor.Setting{}
	for _, s := range append(m.devices(ctx), now...) {
		all[s.Device] = s
	}
	out := make([]sensor.Setting, 0, len(all))
	for _, s := range all {
		out = append(out, s)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].Device < out[j].Device })
	b, err := json.Marshal(out)
	if err == nil {
		err = m.c.Settings.SetSetting(ctx, SettingDevices, string(b))
	}
	if err != nil {
		m.c.Log.Warn("devices are not remembered", "error", err)
	}
}

// Ride is one that goes on or has ended since the program started.
func (m *Manager) Ride(id string) (*Ride, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	r := m.rides[id]
	return r, r != nil
}

// ridesOf are those of some IDs that go on or have ended since the program
// started, by ID.
func (m *Manager) ridesOf(ids []string) []*Ride {
	slices.Sort(ids)
	var out []*Ride
	for _, id := range ids {
		if r, ok := m.Ride(id); ok {
			out = append(out, r)
		}
	}
	return out
}

// Rides are those that go on, by ID.
func (m *Manager) Rides() []*Ride {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []*Ride
	for _, r := range m.rides {
		if r != nil && running(r) {
			out = append(out, r)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].ID < out[j].ID })
	return out
}

// Closed tells whether the program is closing: nothing of a ride or a group
// changes any more.
func (m *Manager) Closed() bool {
	m.mu.Lock()
	defer m.mu.Unlock()
	return m.closed
}

// Close tells every trainer 'easy', leaves the journals to be gone on with,
// and waits.
func (m *Manager) Close() error {
	m.mu.Lock()
	m.closed = true
	var meetings []*Meeting
	for _, x := range m.meetings {
		meetings = append(meetings, x)
	}
	m.mu.Unlock()
	m.stop()
	m.wait.Wait()
	for _, x := range meetings {
		x.closeServer() // its file says that it is open: it is when the program is started anew
	}
	return nil
}

// bench is the simulated rig for a ride, with a rider like the one of the
// setup; their day and their holding of an effort stay the bench's own.
func (c Choice) bench(s ride.Setup, start time.Time) (bench.Config, error) {
	var out bench.Config
	switch c.Kind {
	case "bench":
		out = bench.StandardRig(c.Seed)
	case "plain bench":
		out = bench.PlainTrainer(c.Seed)
	default:
		return out, problem.Bad("only a simulated rig can be ridden so, not %q", c.Kind)
	}
	out.Start, out.Name = start, c.Name
	out.Rider.Mass, out.Rider.CriticalPower, out.Rider.WPrime = s.Rider.Mass, s.Rider.Balance.CriticalPower, s.Rider.Balance.WPrime
	out.Rider.Recovery, out.Rider.RecoverySpeed = s.Rider.Balance.Form, s.Rider.Balance.Speed
	if s.Rider.MaxPower > 0 {
		out.Rider.MaxPower = s.Rider.MaxPower
	}
	if s.Rider.HeartMax > 0 {
		out.Rider.HeartMax = s.Rider.HeartMax
	}
	if c.Tweak != nil {
		c.Tweak(&out)
	}
	return out, nil
}

// Fast rides a bench rig as fast as it can, with journal and files like any
// other ride. each is called after every tick; it may be nil.
func (m *Manager) Fast(ctx context.Context, r service.Riding, choice Choice, each func(*ride.Core)) (Summary, error) {
	if r.Setup.ID == "" {
		r.Setup.ID = m.NewID()
	}
	r.Setup.Bench = true
	cfg, err := choice.bench(r.Setup, r.Setup.Begun)
	if err != nil {
		return Summary{}, err
	}
	kept, err := ride.Begin(m.c.Folder, r.Setup, sensor.NewHub(nil))
	if err != nil {
		return Summary{}, &problem.Error{Kind: problem.Failed, Message: "the ride cannot begin: " + err.Error(), Err: err}
	}
	err = ride.Headless(ctx, kept.Core, bench.New(cfg), mostVirtual, r.Replan, kept.Journal.Append, func(c *ride.Core) error {
		if each != nil {
			each(c)
		}
		return nil
	})
	if err := errors.Join(err, kept.Journal.Close()); err != nil {
		return Summary{}, err
	}
	if _, err := m.files(r.Setup.ID); err != nil {
		return Summary{}, err
	}
	m.finished(r.Setup.ID)
	return m.Summary(r.Setup.ID)
}

// mostVirtual is the longest ride of a bench in virtual time.
const mostVirtual = 24 * time.Hour
