package live

import (
	"context"
	"errors"

	"chainline/course"
	"chainline/internal/ride"
	"chainline/internal/service"
)

var errNotYet = errors.New("the live group course is being built")

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

// Invited is what a guest types to join.
type Invited struct {
	Address    string `json:"address"`    // host:port
	Invitation string `json:"invitation"` // five groups of four
}

// Meeting is a live group course whose host is this machine.
type Meeting struct{}

// HostGroup makes a live group course; nobody can join from elsewhere before
// Open.
func (m *Manager) HostGroup(ctx context.Context, p GroupPlan) (*Meeting, error) {
	return nil, errNotYet
}

// Meeting is a group hosted here, by its ID.
func (m *Manager) Meeting(id string) (*Meeting, bool) { return nil, false }

// Meetings are the groups hosted here that have not ended, by ID.
func (m *Manager) Meetings() []*Meeting { return nil }

// ID names the group; it can be part of a path.
func (x *Meeting) ID() string { return "" }

// Title is what the host called it.
func (x *Meeting) Title() string { return "" }

// Course is what is ridden.
func (x *Meeting) Course() service.GroupCourse { return service.GroupCourse{} }

// Profile is the course's, laps and all.
func (x *Meeting) Profile() course.Profile { return course.Profile{} }

// StrengthNow is how strong the shelter is.
func (x *Meeting) StrengthNow() string { return StrengthMiddle }

// Rides are those of this machine in the group, by ID.
func (x *Meeting) Rides() []*Ride { return nil }

// Ride begins a ride of this machine in the group. It waits for the gun.
func (x *Meeting) Ride(ctx context.Context, riding service.Riding, choice Choice) (*Ride, error) {
	return nil, errNotYet
}

// Open lets guests in at an address, host or host:port, until Shut.
func (x *Meeting) Open(address string) (Invited, error) { return Invited{}, errNotYet }

// Shut lets no more requests in; whoever rides goes on riding alone.
func (x *Meeting) Shut() {}

// Invited is what guests type; false while the group is not open.
func (x *Meeting) Invited() (Invited, bool) { return Invited{}, false }

// Count sets the gun, seconds (0 to 3600) from now; not after it has gone.
func (x *Meeting) Count(seconds float64) error { return errNotYet }

// Say shows words to everybody.
func (x *Meeting) Say(words string) error { return errNotYet }

// Keep has riders behind the middle of the group ride with extra shelter, or
// ends that.
func (x *Meeting) Keep(on bool) error { return errNotYet }

// Strength sets how strong the shelter is.
func (x *Meeting) Strength(strength string) error { return errNotYet }

// BringUp moves a rider up to the last of the others.
func (x *Meeting) BringUp(key string) error { return errNotYet }

// Sheet is where everybody is, with nobody 'You'.
func (x *Meeting) Sheet() ride.GroupSheet { return ride.GroupSheet{} }

// End ends the group; rides of it go on alone.
func (x *Meeting) End() error { return errNotYet }

// Guest is a live group course hosted elsewhere.
type Guest struct{}

// Visit finds a group at an address with its invitation, and keeps looking at
// it until a ride of it has ended, or Leave.
func (m *Manager) Visit(ctx context.Context, address, invitation string) (*Guest, error) {
	return nil, errNotYet
}

// Guest is a group visited from here, by its ID.
func (m *Manager) Guest(id string) (*Guest, bool) { return nil, false }

// Guests are the groups visited from here, by ID.
func (m *Manager) Guests() []*Guest { return nil }

// ID names the group.
func (g *Guest) ID() string { return "" }

// Title is what the host called it.
func (g *Guest) Title() string { return "" }

// Course is what is ridden.
func (g *Guest) Course() service.GroupCourse { return service.GroupCourse{} }

// Profile is the course's, laps and all.
func (g *Guest) Profile() course.Profile { return course.Profile{} }

// Sheet is where everybody is, with nobody 'You'.
func (g *Guest) Sheet() ride.GroupSheet { return ride.GroupSheet{} }

// Ride begins the guest's ride. It waits for the gun; after it, it begins at
// the line with the first pedal stroke.
func (g *Guest) Ride(ctx context.Context, riding service.Riding, choice Choice) (*Ride, error) {
	return nil, errNotYet
}

// Leave looks at the group no more, unless a ride of it goes on.
func (g *Guest) Leave() {}

// Addresses are those of this machine at which guests could find a group, this
// machine's own last.
func (m *Manager) Addresses() []string { return nil }
