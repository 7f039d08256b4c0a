package live

import (
	"fmt"
	"sort"
	"sync"
	"time"

	"chainline/internal/problem"
	"chainline/internal/ride"
)

// Group is one session ridden by several at the same time, with a host. Every
// ride stays its rider's own: the host's wishes are keys like any other.
type Group struct {
	ID    string
	Title string

	mu    sync.Mutex
	rides []*Ride
}

// GroupRider is what a host sees of one rider.
type GroupRider struct {
	ID     string     `json:"id"`
	Name   string     `json:"name"`
	Stage  ride.Stage `json:"stage"`
	Watts  float64    `json:"watts"`
	Target float64    `json:"target"`
	Off    float64    `json:"off"` // watts above target, negative below; 0 when none is asked
	Words  string     `json:"words"`
	Lost   []string   `json:"lost,omitempty"` // sensors, by name
	IntoS  float64    `json:"into_s"`
	Step   int        `json:"step"`
}

// Group makes one of rides that go on and follow a session.
func (m *Manager) Group(title string, ids []string) (*Group, error) {
	if len(ids) == 0 {
		return nil, problem.Bad("a group needs riders")
	}
	g := &Group{ID: ids[0], Title: title}
	for _, id := range ids {
		r, ok := m.Ride(id)
		if !ok || !running(r) {
			return nil, problem.Bad("ride %q is not going on", id)
		}
		if r.Riding.Setup.Session == nil {
			return nil, problem.Bad("%s rides no session: a group rides one session together", r.Riding.Setup.Rider.Name)
		}
		g.rides = append(g.rides, r)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	m.groups[g.ID] = g
	return g, nil
}

// FindGroup is a group by its ID.
func (m *Manager) FindGroup(id string) (*Group, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	g, ok := m.groups[id]
	return g, ok
}

// Groups are those in which somebody still rides.
func (m *Manager) Groups() []*Group {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []*Group
	for _, g := range m.groups {
		if g.running() {
			out = append(out, g)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].ID < out[j].ID })
	return out
}

func (g *Group) running() bool {
	for _, r := range g.rides {
		if running(r) {
			return true
		}
	}
	return false
}

// Rides are the group's, in the order they were named.
func (g *Group) Rides() []*Ride {
	g.mu.Lock()
	defer g.mu.Unlock()
	return append([]*Ride(nil), g.rides...)
}

// Key asks the same of all, or of those named. It answers what could not be
// done, by rider's name.
func (g *Group) Key(k ride.Key, to ...string) map[string]string {
	k.Host = true
	chosen := map[string]bool{}
	for _, id := range to {
		chosen[id] = true
	}
	refused := map[string]string{}
	var mu sync.Mutex
	var wait sync.WaitGroup
	for _, r := range g.Rides() {
		if len(to) > 0 && !chosen[r.ID] {
			continue
		}
		wait.Go(func() {
			if why := r.Engine.Key(k); why != "" {
				mu.Lock()
				defer mu.Unlock()
				refused[r.Riding.Setup.Rider.Name] = why
			}
		})
	}
	wait.Wait()
	return refused
}

// Count begins everybody's session at the same instant, seconds from now.
func (g *Group) Count(seconds float64) map[string]string {
	return g.Key(ride.Key{Kind: ride.KeyCount, Value: seconds})
}

// Status is how everybody is doing.
func (g *Group) Status() []GroupRider {
	var out []GroupRider
	for _, r := range g.Rides() {
		s := r.Engine.Snapshot()
		x := GroupRider{ID: r.ID, Name: r.Riding.Setup.Rider.Name, Stage: s.Stage, Watts: s.You.Watts, Target: s.Now.Watts}
		if s.Step != nil {
			x.IntoS, x.Step = s.Step.IntoS, s.Step.Index
		}
		for _, d := range s.Sensors {
			if d.Health == "lost" || d.Health == "late" {
				x.Lost = append(x.Lost, d.Name)
			}
		}
		x.Off, x.Words = offTarget(s)
		out = append(out, x)
	}
	return out
}

// settleTime is how long after a change of step nobody is called off target.
// Our judgement.
const settleTime = 10 * time.Second

// offTarget says in words how far a rider is from what the step asks.
func offTarget(s ride.Snapshot) (off float64, words string) {
	switch {
	case s.Stage == ride.Waiting && s.GunInS > 0:
		return 0, fmt.Sprintf("begins in %.0f s", s.GunInS)
	case s.Stage == ride.Waiting:
		return 0, "not begun"
	case s.Stage == ride.Paused:
		return 0, "paused"
	case s.Stage == ride.Ending || s.Stage == ride.Ended:
		return 0, "done"
	case s.You.State == ride.Coasting || s.You.State == ride.NoPower:
		return 0, "no watts heard"
	case s.Now.Watts == 0:
		return 0, "by feel"
	}
	off = s.You.Watts - s.Now.Watts
	switch {
	case s.Step != nil && s.Step.IntoS < settleTime.Seconds():
		return off, "getting there"
	case s.You.Watts < s.Now.LowW:
		return off, fmt.Sprintf("%.0f W below", -off)
	case s.You.Watts > s.Now.HighW:
		return off, fmt.Sprintf("%.0f W above", off)
	}
	return off, "on target"
}
