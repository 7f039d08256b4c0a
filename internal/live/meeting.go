package live

import (
	"context"
	"encoding/json"
	"fmt"
	"math"
	"net"
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
	"chainline/race"
)

// GroupPlan is a live group course as its host asks for it.
type GroupPlan struct {
	Title    string
	Course   service.GroupCourse
	Strength string // of the shelter: StrengthLow, StrengthMiddle (also empty) or StrengthHigh
}

// How strong the shelter of a live group is.
const (
	StrengthLow    = "low"
	StrengthMiddle = "middle"
	StrengthHigh   = "high"
)

var strengths = map[string]race.Strength{StrengthLow: race.Low, StrengthMiddle: race.Middle, StrengthHigh: race.High}

// Invited is what a guest types to join.
type Invited struct {
	Address    string `json:"address"`    // host:port
	Invitation string `json:"invitation"` // five groups of four
}

// Meeting is a live group course whose host is this machine. All methods may be
// called from any goroutine.
type Meeting struct {
	m       *Manager
	host    *bunch.Host
	profile course.Profile
	looker  *bunch.Near
	opening sync.Mutex // one listener, whoever asks at the same time

	mu     sync.Mutex
	kept   keptGroup
	server *wire.Server
	rides  []string
}

// HostGroup makes a live group course; nobody can join from elsewhere before
// Open. Errors are *problem.Error.
func (m *Manager) HostGroup(_ context.Context, p GroupPlan) (*Meeting, error) {
	if p.Strength == "" {
		p.Strength = StrengthMiddle
	}
	strength, ok := strengths[p.Strength]
	if !ok {
		return nil, problem.Bad("the shelter is low, middle or high, not %q", p.Strength)
	}
	p.Course = p.Course.Bare()
	profile, err := p.Course.Profile()
	if err != nil {
		return nil, err
	}
	title := bunch.Line(p.Title, 80)
	if title == "" {
		title = bunch.Line(p.Course.Name, 80)
	}
	now := m.c.Now()
	id := now.Format("20060102-150405") + "-" + bunch.NewMember()[:6]
	x := m.meeting(keptGroup{Schema: groupSchema, ID: id, Made: now, Course: p.Course, Invitation: wire.NewInvitation(), Members: map[string]string{},
		Wish: bunch.Wish{Group: id, Title: title, Strength: float64(strength)}}, profile)
	if err := x.save(); err != nil {
		return nil, err
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	if m.closed {
		return nil, problem.Bad("the program is closing")
	}
	m.meetings[id] = x
	return x, nil
}

func (m *Manager) meeting(k keptGroup, profile course.Profile) *Meeting {
	x := &Meeting{m: m, kept: k, profile: profile, host: bunch.NewHost(k.Wish, m.c.Now())}
	x.looker = bunch.NewNear(x.host, "", "")
	m.wait.Go(x.watch)
	return x
}

// watchEvery is how often a host looks, whether a page is open or not: seconds
// between riders come from who was seen where.
const watchEvery = time.Second

func (x *Meeting) watch() {
	tick := time.NewTicker(watchEvery)
	defer tick.Stop()
	for !x.Ended() {
		select {
		case <-tick.C:
			x.looker.Look(x.m.c.Now())
		case <-x.m.base.Done():
			return
		}
	}
}

// Meeting is a group hosted here, by its ID.
func (m *Manager) Meeting(id string) (*Meeting, bool) {
	m.mu.Lock()
	defer m.mu.Unlock()
	x, ok := m.meetings[id]
	return x, ok
}

// Meetings are the groups hosted here that have not ended, by ID.
func (m *Manager) Meetings() []*Meeting {
	m.mu.Lock()
	defer m.mu.Unlock()
	var out []*Meeting
	for _, x := range m.meetings {
		if !x.host.Wish().Ended {
			out = append(out, x)
		}
	}
	sort.Slice(out, func(i, j int) bool { return out[i].kept.ID < out[j].kept.ID })
	return out
}

// ID names the group; it can be part of a path.
func (x *Meeting) ID() string { return x.kept.ID }

// Title is what the host called it.
func (x *Meeting) Title() string { return x.host.Wish().Title }

// Course is what is ridden.
func (x *Meeting) Course() service.GroupCourse { return x.kept.Course }

// Profile is the course's, laps and all.
func (x *Meeting) Profile() course.Profile { return x.profile }

// StrengthNow is how strong the shelter is.
func (x *Meeting) StrengthNow() string {
	for name, s := range strengths {
		if float64(s) == x.host.Wish().Strength {
			return name
		}
	}
	return StrengthMiddle
}

// Ended tells whether the host has ended the group.
func (x *Meeting) Ended() bool { return x.host.Wish().Ended }

// Rides are those of this machine in the group, by ID.
func (x *Meeting) Rides() []*Ride {
	x.mu.Lock()
	ids := append([]string(nil), x.rides...)
	x.mu.Unlock()
	return x.m.ridesOf(ids)
}

// Ride begins a ride of this machine in the group. It waits for the gun.
func (x *Meeting) Ride(ctx context.Context, riding service.Riding, choice Choice) (*Ride, error) {
	if err := sameCourse(riding, x.profile); err != nil {
		return nil, err
	}
	if x.Ended() {
		return nil, problem.Bad("that group has ended")
	}
	riding.Setup.Group = &ride.InGroup{ID: x.ID(), Title: x.Title(), Host: true}
	riding.Setup.WaitForKey, riding.Setup.StartAt = true, time.Time{}
	member := bunch.NewMember()
	if err := x.remember(riding.Setup.ID, member); err != nil {
		return nil, err
	}
	return x.m.begin(ctx, riding, choice, x.membership(member, riding.Setup.Rider.Name))
}

func (x *Meeting) membership(member, name string) *membership {
	return &membership{company: bunch.NewNear(x.host, member, name)}
}

// remember keeps a ride's secret, with which it joins again.
func (x *Meeting) remember(rideID, member string) error {
	x.mu.Lock()
	x.kept.Members[rideID] = member
	x.rides = append(x.rides, rideID)
	x.mu.Unlock()
	return x.save()
}

// sameCourse refuses a ride that is not of the group's course.
func sameCourse(r service.Riding, p course.Profile) error {
	k := r.Setup.Course
	switch {
	case k == nil:
		return problem.Bad("a live group rides a course, and this ride has none")
	case k.Advance != ride.ByPosition:
		return problem.Bad("in a live group the cues go by position, not by %s", k.Advance)
	case math.Abs(k.Profile.Length()-p.Length()) > 1:
		return problem.Bad("the ride's course is %.2f km long, the group's %.2f km", k.Profile.Length()/1000, p.Length()/1000)
	}
	return nil
}

// Open lets guests in at an address, host or host:port, until Shut. Errors are
// *problem.Error.
func (x *Meeting) Open(address string) (Invited, error) {
	at := withPort(address)
	if _, _, err := net.SplitHostPort(at); err != nil {
		return Invited{}, problem.Bad("the group's address: found %q; expected an address of this machine, like 192.0.2.7:%s", bunch.Line(address, 60), wire.UsualPort)
	}
	x.opening.Lock()
	defer x.opening.Unlock()
	x.Shut()
	if x.Ended() {
		return Invited{}, problem.Bad("that group has ended")
	}
	about, err := json.Marshal(meetingCourse{ID: x.ID(), Title: x.Title(), Course: x.kept.Course, LengthM: x.profile.Length()})
	if err != nil {
		return Invited{}, err
	}
	s, err := wire.Open(x.m.base, at, x.kept.Invitation, x.host, about, x.m.c.Now)
	if err != nil {
		return Invited{}, &problem.Error{Kind: problem.Misuse, Message: fmt.Sprintf("the group cannot be opened at %s: %v", at, err), Hint: "Choose an address of this machine, and a port that nothing else uses.", Err: err}
	}
	x.mu.Lock()
	x.server, x.kept.Address = s, s.Address().String()
	x.mu.Unlock()
	in, _ := x.Invited()
	return in, x.save()
}

// withPort adds the usual port where none is given.
func withPort(address string) string {
	address = strings.TrimSpace(address)
	if _, _, err := net.SplitHostPort(address); err == nil {
		return address
	}
	return net.JoinHostPort(strings.Trim(address, "[]"), wire.UsualPort)
}

// Shut lets no more requests in; whoever rides goes on riding.
func (x *Meeting) Shut() {
	if x.closeServer() {
		x.mu.Lock()
		x.kept.Address = ""
		x.mu.Unlock()
		if err := x.save(); err != nil {
			x.m.c.Log.Warn("a group that was shut opens again when the program is started anew", "group", x.ID(), "error", err)
		}
	}
}

func (x *Meeting) closeServer() bool {
	x.mu.Lock()
	s := x.server
	x.server = nil
	x.mu.Unlock()
	if s == nil {
		return false
	}
	if err := s.Close(); err != nil {
		x.m.c.Log.Warn("a group's listener", "group", x.ID(), "error", err)
	}
	return true
}

// Invited is what guests type; false while the group is not open.
func (x *Meeting) Invited() (Invited, bool) {
	x.mu.Lock()
	defer x.mu.Unlock()
	if x.server == nil {
		return Invited{}, false
	}
	at := x.server.Address().String()
	if host, port, err := net.SplitHostPort(at); err == nil {
		if ip := net.ParseIP(host); ip != nil && ip.IsUnspecified() {
			at = net.JoinHostPort(x.m.Addresses()[0], port)
		}
	}
	return Invited{Address: at, Invitation: x.kept.Invitation}, true
}

// Count sets the gun, seconds (0 to 3600) from now; not after it has gone.
func (x *Meeting) Count(seconds float64) error {
	if !(seconds >= 0 && seconds <= 3600) {
		return problem.Bad("the gun goes within an hour; expected 0 to 3600 s")
	}
	if !x.host.Count(x.m.c.Now(), time.Duration(seconds*float64(time.Second))) {
		return problem.Bad("the gun has gone")
	}
	return x.save()
}

// Say shows words to everybody.
func (x *Meeting) Say(words string) error {
	if words = bunch.Line(words, 120); words == "" {
		return problem.Bad("there is nothing to say")
	}
	x.host.Say(x.m.c.Now(), words)
	return x.save()
}

// Keep has riders behind the middle of the group ride with extra shelter, or
// ends that.
func (x *Meeting) Keep(on bool) error {
	x.host.Keep(on)
	return x.save()
}

// Strength sets how strong the shelter is.
func (x *Meeting) Strength(strength string) error {
	s, ok := strengths[strength]
	if !ok {
		return problem.Bad("the shelter is low, middle or high, not %q", strength)
	}
	x.host.Strength(float64(s))
	return x.save()
}

// BringUp moves a rider up to the last of the others.
func (x *Meeting) BringUp(key string) error {
	if err := x.host.BringUp(x.m.c.Now(), key); err != nil {
		return &problem.Error{Kind: problem.Misuse, Message: err.Error(), Err: err}
	}
	return nil
}

// Sheet is where everybody is, with nobody 'You'.
func (x *Meeting) Sheet() ride.GroupSheet { return ride.SheetOf(x.looker.Look(x.m.c.Now())) }

// Inside is the way to the host without a network, for tests that simulate one.
func (x *Meeting) Inside() bunch.Transport { return inside{x} }

type inside struct{ x *Meeting }

func (i inside) Exchange(_ context.Context, a bunch.Ask) (bunch.Answer, error) {
	return i.x.host.Exchange(i.x.m.c.Now(), a)
}

func (i inside) Course(context.Context) ([]byte, error) {
	return json.Marshal(meetingCourse{ID: i.x.ID(), Title: i.x.Title(), Course: i.x.kept.Course, LengthM: i.x.profile.Length()})
}

// saysEnded is how long guests can still hear that a group has ended.
const saysEnded = 10 * time.Second

// End ends the group; rides of it go on alone.
func (x *Meeting) End() error {
	x.host.End()
	err := x.save()
	x.m.wait.Go(func() {
		select {
		case <-time.After(saysEnded):
		case <-x.m.base.Done():
		}
		x.closeServer()
	})
	return err
}

// Addresses are those of this machine at which guests could find a group, this
// machine's own last.
func (m *Manager) Addresses() []string {
	var four, six []string
	found, err := net.InterfaceAddrs()
	if err != nil {
		m.c.Log.Warn("the addresses of this machine", "error", err)
	}
	for _, a := range found {
		n, ok := a.(*net.IPNet)
		if !ok || n.IP.IsLoopback() || n.IP.IsLinkLocalUnicast() || n.IP.IsMulticast() {
			continue
		}
		if n.IP.To4() != nil {
			four = append(four, n.IP.String())
		} else {
			six = append(six, n.IP.String())
		}
	}
	return append(append(four, six...), "127.0.0.1")
}
