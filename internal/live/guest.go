package live

import (
	"context"
	"encoding/json"
	"errors"
	"fmt"
	"maps"
	"math"
	"net"
	"slices"
	"sort"
	"strings"
	"sync"
	"time"

	"chainline/course"
	"chainline/internal/bunch"
	"chainline/internal/bunch/wire"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
)

// meetingCourse is what a guest fetches of a group before riding in it.
type meetingCourse struct {
	ID      string              `json:"id"`
	Title   string              `json:"title"`
	Course  service.GroupCourse `json:"course"`
	LengthM float64             `json:"length_m"` // as the host reads it
}

// Guest is a live group course hosted elsewhere. All methods may be called from
// any goroutine.
type Guest struct {
	m       *Manager
	to      bunch.Transport
	profile course.Profile
	looker  *bunch.Link
	leave   context.CancelFunc

	mu   sync.Mutex
	kept keptGroup
}

// visitWait is how long a host has to give its course.
const visitWait = 60 * time.Second

// Visit finds a group at an address with its invitation, and keeps looking at
// it until Leave, or until the host has ended it. Errors are *problem.Error.
func (m *Manager) Visit(ctx context.Context, address, invitation string) (*Guest, error) {
	clean, err := wire.Invitation(invitation)
	if err != nil {
		return nil, &problem.Error{Kind: problem.Misuse, Message: err.Error(), Err: err}
	}
	at := withPort(address)
	to, err := m.reach(at, clean)
	if err != nil {
		return nil, &problem.Error{Kind: problem.Misuse, Message: err.Error(), Err: err}
	}
	ctx, cancel := context.WithTimeout(ctx, visitWait)
	defer cancel()
	b, err := to.Course(ctx)
	if err != nil {
		return nil, unreached(at, err)
	}
	var c meetingCourse
	if err := json.Unmarshal(b, &c); err != nil || !isGroupID(c.ID) {
		return nil, problem.Bad("what answers at %s is no live group course of this program", at)
	}
	c.Course.Name = bunch.Line(c.Course.Name, 80)
	profile, err := c.Course.Profile()
	if err != nil {
		return nil, err
	}
	if math.Abs(profile.Length()-c.LengthM) > 1 {
		return nil, problem.Bad("this program reads the group's course as %.2f km, the host's as %.2f km: they are of different versions", profile.Length()/1000, c.LengthM/1000)
	}
	members, err := m.visited(c.ID, clean)
	if err != nil {
		return nil, err
	}
	if g, ok := m.Guest(c.ID); ok && g.Address() == at {
		return g, nil // found already
	}
	k := keptGroup{Schema: groupSchema, ID: c.ID, Made: m.c.Now(), Guest: true, Course: c.Course, Address: at, Invitation: clean, Members: members,
		Wish: bunch.Wish{Group: c.ID, Title: bunch.Line(c.Title, 80)}}
	g := m.guest(k, profile, to)
	if err := g.save(); err != nil {
		g.leave()
		return nil, err
	}
	return g, nil
}

// visited are the secrets of this machine's rides in a group that was found
// before: who types address and invitation again goes on with them. A group
// of the same ID with another invitation is somebody else's.
func (m *Manager) visited(id, invitation string) (map[string]string, error) {
	k, err := m.loadGroup(id + guestEnding)
	if err != nil { // none, or it cannot be read
		return map[string]string{}, nil
	}
	if k.Invitation != invitation {
		return nil, problem.Bad("this is not the group of that ID which was joined before: its host made it with another invitation")
	}
	return k.Members, nil
}

func (m *Manager) reach(address, invitation string) (bunch.Transport, error) {
	if m.c.Reach != nil {
		return m.c.Reach(address, invitation)
	}
	return wire.Dial(address, invitation)
}

// unreached says what to do when a host gave no course.
func unreached(at string, err error) error {
	switch {
	case errors.Is(err, wire.ErrRefused), wire.IsStranger(err):
		return &problem.Error{Kind: problem.Misuse, Message: "Whoever answers at " + at + " does not know this invitation.", Hint: "Type address and invitation again; both stand on the host's page.", Err: err}
	case isTimeout(err):
		return &problem.Error{Kind: problem.Failed, Message: "Nobody answers at " + at + ".", Hint: "Is the group open, and are both machines on one network? A firewall may stand between.", Err: err}
	}
	return &problem.Error{Kind: problem.Failed, Message: fmt.Sprintf("The group at %s cannot be reached: %v", at, err), Hint: "Is the group open, and are both machines on one network? A firewall may stand between.", Err: err}
}

func isTimeout(err error) bool {
	n, ok := errors.AsType[net.Error](err)
	return ok && n.Timeout() || errors.Is(err, context.DeadlineExceeded)
}

// guest looks at a group from here on.
func (m *Manager) guest(k keptGroup, profile course.Profile, to bunch.Transport) *Guest {
	ctx, leave := context.WithCancel(m.base)
	g := &Guest{m: m, to: to, profile: profile, kept: k, leave: leave, looker: bunch.NewLink(to, m.c.Now, "", "")}
	m.mu.Lock()
	if old := m.guests[k.ID]; old != nil {
		old.leave()
	}
	m.guests[k.ID] = g
	m.mu.Unlock()
	m.wait.Go(func() { g.looker.Run(ctx) })
	m.wait.Go(func() { g.tire(ctx) })
	return g
}

// tires is after how long without a host a group in which nobody rides here is
// looked at no more.
const tires = 10 * time.Minute

// tire leaves a group that has ended, or whose host is gone for long, when
// nobody of this machine rides in it.
func (g *Guest) tire(ctx context.Context) {
	each := time.NewTicker(30 * time.Second)
	defer each.Stop()
	begun := g.m.c.Now()
	for {
		select {
		case <-ctx.Done():
			return
		case <-each.C:
			s := g.looker.Look(g.m.c.Now())
			gone := s.Synced && s.SilentS > tires.Seconds() || !s.Synced && g.m.c.Now().Sub(begun) > tires
			if (s.Ended || gone) && !g.ridden() {
				g.Leave()
				return
			}
		}
	}
}

func (g *Guest) ridden() bool {
	for _, r := range g.Rides() {
		if running(r) {
			return true
		}
	}
	return false
}

// Guest is a group visited from here, by its ID.
func (m *Manager) Guest(id string) (*Guest, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	g, ok := m.guests[id]
	return g, ok
}

// Guests are the groups visited from here, by ID.
func (m *Manager) Guests() []*Guest {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []*Guest
	for _, g := range m.guests {
		out = append(out, g)
	}
	sort.Slice(out, func(i, j int) bool { return out[i].kept.ID < out[j].kept.ID })
	return out
}

// ID names the group.
func (g *Guest) ID() string { return g.kept.ID }

// Title is what the host called it.
func (g *Guest) Title() string { return g.kept.Wish.Title }

// Address is where its host is.
func (g *Guest) Address() string { return g.kept.Address }

// Course is what is ridden.
func (g *Guest) Course() service.GroupCourse { return g.kept.Course }

// Profile is the course's, laps and all.
func (g *Guest) Profile() course.Profile { return g.profile }

// Sheet is where everybody is, with nobody 'You'.
func (g *Guest) Sheet() ride.GroupSheet { return ride.SheetOf(g.looker.Look(g.m.c.Now())) }

// Ended tells whether the host has ended the group.
func (g *Guest) Ended() bool { return g.looker.Look(g.m.c.Now()).Ended }

// Rides are those of this machine in the group, by ID.
func (g *Guest) Rides() []*Ride {
	g.mu.Lock()
	ids := slices.Collect(maps.Keys(g.kept.Members))
	g.mu.Unlock()
	return g.m.ridesOf(ids)
}

// Ride begins the guest's ride. It waits for the gun; after it, it begins at
// the line with the first pedal stroke.
func (g *Guest) Ride(ctx context.Context, riding service.Riding, choice Choice) (*Ride, error) {
	if err := sameCourse(riding, g.profile); err != nil {
		return nil, err
	}
	riding.Setup.Group = &ride.InGroup{ID: g.ID(), Title: g.Title()}
	riding.Setup.WaitForKey, riding.Setup.StartAt = true, time.Time{}
	member := bunch.NewMember()
	g.mu.Lock()
	g.kept.Members[riding.Setup.ID] = member
	g.mu.Unlock()
	if err := g.save(); err != nil {
		return nil, err
	}
	return g.m.begin(ctx, riding, choice, g.membership(member, riding.Setup.Rider.Name))
}

func (g *Guest) membership(member, name string) *membership {
	l := bunch.NewLink(g.to, g.m.c.Now, member, name)
	return &membership{company: l, link: l}
}

// Leave looks at the group no more; rides of it that go on stay linked.
func (g *Guest) Leave() {
	g.leave()
	g.m.mu.Lock()
	defer g.m.mu.Unlock()
	if g.m.guests[g.kept.ID] == g {
		delete(g.m.guests, g.kept.ID)
	}
}

// membership is how one ride is linked to its group.
type membership struct {
	company ride.Company
	link    *bunch.Link // nil when the host is this machine
}

// lastFor is how long a ride that has ended tries to have its host hear so.
const lastFor = 10 * time.Second

// run keeps the link until the ride has ended and the host has heard of it.
func (s *membership) run(ctx context.Context, done <-chan struct{}) {
	if s == nil || s.link == nil {
		return
	}
	ctx, stop := context.WithCancel(ctx)
	var wait sync.WaitGroup
	wait.Go(func() { s.link.Run(ctx) })
	select {
	case <-done:
		s.link.Last(ctx, lastFor)
	case <-ctx.Done():
	}
	stop()
	wait.Wait()
}

func isGroupID(id string) bool {
	return id != "" && len(id) <= 40 && strings.Trim(id, "0123456789abcdefghijklmnopqrstuvwxyzABCDEFGHIJKLMNOPQRSTUVWXYZ-") == ""
}
