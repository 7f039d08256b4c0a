package bluetooth

import (
	"time"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

// scan switches advertisements on.
func (p *port) scan() {
	if p.off != nil { // whoever asks again is told again
		p.emit(sensor.Event{Kind: sensor.RadioOff, Err: p.off})
	}
	if !p.scanning {
		p.scanning = true
		// A device this computer holds already, perhaps since a program was
		// killed, advertises no more and could not be found otherwise.
		for _, d := range p.objects.devices {
			if d.connected && ours(d.advert) {
				p.found(d, time.Now())
			}
		}
	}
	p.discover()
}

// ours reports whether a device speaks one of the services looked for.
func ours(a sensor.Advert) bool {
	for _, s := range a.Services {
		for _, looked := range gatt.Services {
			if s == looked {
				return true
			}
		}
	}
	return false
}

func (p *port) found(d *device, at time.Time) {
	if p.scanning && d.adapter == p.adapter {
		p.emit(sensor.Event{Kind: sensor.Found, Device: d.address, At: at, Advert: d.said()})
	}
}

// discover starts and stops the service's search, as it is needed: because
// somebody scans, or because a device to connect to is not known (the service
// forgets a device some time after it was last heard).
func (p *port) discover() {
	if p.bus == nil || p.off != nil || p.closing {
		return
	}
	need := p.scanning
	for _, l := range p.links {
		need = need || l.state == seeking
	}
	switch {
	case need && !p.discovering && !p.resting:
		p.discovering = true
		filter := map[string]dbus.Variant{"Transport": dbus.MakeVariant("le"), "DuplicateData": dbus.MakeVariant(true)}
		p.bus.call(p.ctx, bluez, p.adapter, adapterIs+".SetDiscoveryFilter", nil, filter)
		on := p.adapter
		p.bus.call(p.ctx, bluez, on, adapterIs+".StartDiscovery", func(c *dbus.Call) {
			if c.Err != nil && !named(c.Err, "InProgress") && p.adapter == on {
				p.discovering = false
				p.rest()
			}
		})
	case !need && p.discovering:
		p.discovering = false
		p.bus.call(p.ctx, bluez, p.adapter, adapterIs+".StopDiscovery", nil)
	}
}

// rest has the search begun again after a while.
func (p *port) rest() {
	if p.resting || p.closing {
		return
	}
	p.resting = true
	p.after(p.times.retry, func() {
		p.resting = false
		p.discover()
	})
}
