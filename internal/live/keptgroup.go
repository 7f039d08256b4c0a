package live

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"time"

	"chainline/internal/bunch"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/internal/service"
)

// What is kept of live groups, so that a host that was restarted is found again
// and a ride that is gone on with joins again: one file a group in the folder
// 'groups' beside the rides, 0600, replaced whole. It holds the invitation, so
// that whoever can read it can join.

const (
	groupSchema = "chainline.kept-group/1"
	groupEnding = ".group"
	guestEnding = ".guest"
	// mostGroupFile is the longest file that is read, in bytes, and groupLasts
	// how long a group can be taken up again.
	mostGroupFile = 32 << 20
	groupLasts    = 24 * time.Hour
)

type keptGroup struct {
	Schema     string              `json:"schema"`
	ID         string              `json:"id"`
	Guest      bool                `json:"guest,omitempty"`
	Made       time.Time           `json:"made"`
	Address    string              `json:"address,omitempty"` // host: where it is open; guest: the host's
	Invitation string              `json:"invitation"`
	Wish       bunch.Wish          `json:"wish"`
	Course     service.GroupCourse `json:"course"`
	Members    map[string]string   `json:"members"` // secrets by ride
}

func (m *Manager) groupFolder() string { return filepath.Join(m.c.Folder, "groups") }

func (m *Manager) saveGroup(k keptGroup) error {
	if err := os.MkdirAll(m.groupFolder(), 0o700); err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the folder for groups cannot be made: " + err.Error(), Err: err}
	}
	ending := groupEnding
	if k.Guest {
		ending = guestEnding
	}
	err := whole(filepath.Join(m.groupFolder(), k.ID+ending), func(w io.Writer) error { return json.NewEncoder(w).Encode(k) })
	if err != nil {
		return &problem.Error{Kind: problem.Failed, Message: "the group cannot be kept: " + err.Error(), Err: err}
	}
	return nil
}

// save keeps the group as it is now.
func (x *Meeting) save() error {
	x.mu.Lock()
	defer x.mu.Unlock()
	x.kept.Wish = x.host.Wish()
	return x.m.saveGroup(x.kept)
}

func (g *Guest) save() error {
	g.mu.Lock()
	defer g.mu.Unlock()
	return g.m.saveGroup(g.kept)
}

func (m *Manager) loadGroup(name string) (keptGroup, error) {
	f, err := os.Open(filepath.Join(m.groupFolder(), name))
	if err != nil {
		return keptGroup{}, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostGroupFile))
	if err != nil {
		return keptGroup{}, err
	}
	var k keptGroup
	if err := json.Unmarshal(b, &k); err != nil {
		return keptGroup{}, err
	}
	if k.Schema != groupSchema || !isGroupID(k.ID) {
		return keptGroup{}, fmt.Errorf("%s is no file of a group", name)
	}
	if k.Members == nil {
		k.Members = map[string]string{}
	}
	return k, nil
}

// TakeUpGroups has groups that were hosted here before the program was started
// anew go on, at the same address with the same invitation, and deletes what is
// too old to be taken up: invitations and other people's courses. What cannot be
// taken up is said in the log.
func (m *Manager) TakeUpGroups() error {
	entries, err := os.ReadDir(m.groupFolder())
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	for _, e := range entries {
		if !strings.HasSuffix(e.Name(), groupEnding) && !strings.HasSuffix(e.Name(), guestEnding) {
			continue
		}
		k, err := m.loadGroup(e.Name())
		if err != nil {
			m.c.Log.Warn("a group's file cannot be read and is left alone", "file", e.Name(), "error", err)
			continue
		}
		if m.c.Now().Sub(k.Made) > groupLasts {
			if err := os.Remove(filepath.Join(m.groupFolder(), e.Name())); err != nil {
				m.c.Log.Warn("a group's old file cannot be deleted", "file", e.Name(), "error", err)
			}
			continue
		}
		if k.Guest || k.Wish.Ended {
			continue
		}
		x, err := m.takeUp(k)
		if err != nil {
			m.c.Log.Warn("a group does not go on", "group", k.ID, "error", err)
		}
		if x == nil {
			continue
		}
		if in, open := x.Invited(); open {
			m.c.Log.Warn("a group of before is open again", "group", k.ID, "address", in.Address)
		}
	}
	return nil
}

// takeUp is nil only with an error.
func (m *Manager) takeUp(k keptGroup) (*Meeting, error) {
	if x, ok := m.Meeting(k.ID); ok {
		return x, nil
	}
	profile, err := k.Course.Profile()
	if err != nil {
		return nil, err
	}
	x := m.meeting(k, profile)
	m.mu.Lock()
	m.meetings[k.ID] = x
	m.mu.Unlock()
	if k.Address != "" {
		_, err = x.Open(k.Address)
	}
	return x, err
}

// rejoin finds the group of a ride that is gone on with. A group that cannot be
// found leaves the ride alone, which is said in the log.
func (m *Manager) rejoin(s ride.Setup) *membership {
	if s.Group == nil || !isGroupID(s.Group.ID) {
		return nil
	}
	with, err := m.rejoined(s)
	if err != nil {
		m.c.Log.Warn("a ride goes on without its group", "ride", s.ID, "group", s.Group.ID, "error", err)
		return nil
	}
	return with
}

func (m *Manager) rejoined(s ride.Setup) (*membership, error) {
	if s.Group.Host {
		k, err := m.loadGroup(s.Group.ID + groupEnding)
		if err != nil {
			return nil, err
		}
		if k.Wish.Ended || m.c.Now().Sub(k.Made) > groupLasts {
			return nil, fmt.Errorf("it has ended")
		}
		x, err := m.takeUp(k)
		if x == nil {
			return nil, err
		}
		if err != nil {
			m.c.Log.Warn("a group cannot be opened again", "group", k.ID, "error", err)
		}
		member := k.Members[s.ID]
		if member == "" {
			member = bunch.NewMember()
		}
		return x.membership(member, s.Rider.Name), x.remember(s.ID, member)
	}
	k, err := m.loadGroup(s.Group.ID + guestEnding)
	if err != nil {
		return nil, err
	}
	if m.c.Now().Sub(k.Made) > groupLasts || k.Members[s.ID] == "" {
		return nil, fmt.Errorf("it was too long ago")
	}
	g, ok := m.Guest(k.ID)
	if !ok {
		to, err := m.reach(k.Address, k.Invitation)
		if err != nil {
			return nil, err
		}
		profile, err := k.Course.Profile()
		if err != nil {
			return nil, err
		}
		g = m.guest(k, profile, to)
	}
	return g.membership(k.Members[s.ID], s.Rider.Name), nil
}
