package bluetooth

import (
	"sync"

	"github.com/godbus/dbus/v5"
)

// agentPath is where our agent is on the bus.
const agentPath = dbus.ObjectPath("/chainline/agent")

// agent answers the service when a device wants to be paired, as a control
// point may that wants encryption. It has neither keys nor a display, so only
// pairing that asks for nothing works, and only devices that we are
// connecting to are let in. It is not made the system's default agent: the
// desktop's own stays.
type agent struct {
	mu      sync.Mutex
	trusted map[dbus.ObjectPath]bool
}

func newAgent(conn *dbus.Conn) *agent {
	a := &agent{trusted: map[dbus.ObjectPath]bool{}}
	refuse := dbus.NewError("org.bluez.Error.Rejected", []any{"there is nobody who could type a code"})
	// Only a path that is no path can fail here, and this one is.
	_ = conn.ExportMethodTable(map[string]any{
		"Release":              func() *dbus.Error { return nil },
		"Cancel":               func() *dbus.Error { return nil },
		"RequestPinCode":       func(dbus.ObjectPath) (string, *dbus.Error) { return "", refuse },
		"RequestPasskey":       func(dbus.ObjectPath) (uint32, *dbus.Error) { return 0, refuse },
		"DisplayPinCode":       func(dbus.ObjectPath, string) *dbus.Error { return refuse },
		"DisplayPasskey":       func(dbus.ObjectPath, uint32, uint16) *dbus.Error { return nil },
		"RequestConfirmation":  func(d dbus.ObjectPath, _ uint32) *dbus.Error { return a.allow(d) },
		"RequestAuthorization": func(d dbus.ObjectPath) *dbus.Error { return a.allow(d) },
		"AuthorizeService":     func(d dbus.ObjectPath, _ string) *dbus.Error { return a.allow(d) },
	}, agentPath, agentIs)
	return a
}

func (a *agent) trust(device dbus.ObjectPath) {
	a.mu.Lock()
	defer a.mu.Unlock()
	a.trusted[device] = true
}

func (a *agent) distrust(device dbus.ObjectPath) {
	a.mu.Lock()
	defer a.mu.Unlock()
	delete(a.trusted, device)
}

func (a *agent) allow(device dbus.ObjectPath) *dbus.Error {
	a.mu.Lock()
	defer a.mu.Unlock()
	if a.trusted[device] {
		return nil
	}
	return dbus.NewError("org.bluez.Error.Rejected", []any{"Chainline is not connecting to this device"})
}
