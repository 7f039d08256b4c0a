package bluetooth

import (
	"maps"
	"slices"
	"strings"

	"github.com/godbus/dbus/v5"

	"chainline/internal/sensor"
)

// objects is what the Bluetooth service has told of itself. It comes from
// outside: nothing in it is taken for granted, and what is odd is left out.
type objects struct {
	adapters map[dbus.ObjectPath]*adapter
	devices  map[dbus.ObjectPath]*device
	chars    map[dbus.ObjectPath]*char
}

type adapter struct{ powered bool }

type device struct {
	address   string
	adapter   dbus.ObjectPath
	advert    sensor.Advert
	connected bool
	resolved  bool
}

type char struct {
	number uint16
	flags  []string
}

type properties = map[string]dbus.Variant

func newObjects() *objects {
	return &objects{map[dbus.ObjectPath]*adapter{}, map[dbus.ObjectPath]*device{}, map[dbus.ObjectPath]*char{}}
}

// value is a property of the type it should have.
func value[T any](p properties, name string) (T, bool) {
	var none T
	v, there := p[name]
	if !there {
		return none, false
	}
	t, ok := v.Value().(T)
	return t, ok
}

// add takes one object with its interfaces.
func (o *objects) add(path dbus.ObjectPath, interfaces map[string]properties) {
	if p, ok := interfaces[adapterIs]; ok {
		o.adapters[path] = &adapter{}
		o.adapters[path].change(p)
	}
	if p, ok := interfaces[deviceIs]; ok {
		d := &device{}
		d.address, _ = value[string](p, "Address")
		d.address = strings.ToUpper(d.address)
		d.adapter, _ = value[dbus.ObjectPath](p, "Adapter")
		if d.adapter == "" { // the path says it too
			d.adapter = path[:max(0, strings.LastIndexByte(string(path), '/'))]
		}
		d.change(p)
		if isAddress(d.address) {
			o.devices[path] = d
		}
	}
	if p, ok := interfaces[charIs]; ok {
		uuid, _ := value[string](p, "UUID")
		if n, ok := short(uuid); ok {
			flags, _ := value[[]string](p, "Flags")
			o.chars[path] = &char{n, flags}
		}
	}
}

func (o *objects) remove(path dbus.ObjectPath, interfaces []string) {
	for _, i := range interfaces {
		switch i {
		case adapterIs:
			delete(o.adapters, path)
		case deviceIs:
			delete(o.devices, path)
		case charIs:
			delete(o.chars, path)
		}
	}
}

func (a *adapter) change(p properties) {
	if on, ok := value[bool](p, "Powered"); ok {
		a.powered = on
	}
}

func (d *device) change(p properties) {
	if up, ok := value[bool](p, "Connected"); ok {
		d.connected = up
		if !up {
			d.resolved = false
		}
	}
	if done, ok := value[bool](p, "ServicesResolved"); ok {
		d.resolved = done
	}
	if name, ok := value[string](p, "Name"); ok {
		d.advert.Name = name
	}
	if rssi, ok := value[int16](p, "RSSI"); ok {
		d.advert.RSSI = int(rssi)
	}
	if uuids, ok := value[[]string](p, "UUIDs"); ok {
		d.advert.Services = nil
		for _, u := range uuids {
			if n, ok := short(u); ok {
				d.advert.Services = append(d.advert.Services, n)
			}
		}
	}
	if data, ok := value[map[string]dbus.Variant](p, "ServiceData"); ok {
		d.advert.ServiceData = map[uint16][]byte{}
		for u, v := range data {
			if b, isBytes := v.Value().([]byte); isBytes {
				if n, ok := short(u); ok {
					d.advert.ServiceData[n] = b
				}
			}
		}
	}
}

// said is a copy of what the device says of itself.
func (d *device) said() sensor.Advert {
	a := d.advert
	a.Services = slices.Clone(a.Services)
	if a.ServiceData != nil {
		a.ServiceData = maps.Clone(a.ServiceData)
		for n, b := range a.ServiceData {
			a.ServiceData[n] = slices.Clone(b)
		}
	}
	return a
}

// isAdvert reports whether a change of a device comes from an advertisement.
func isAdvert(p properties) bool {
	for _, name := range []string{"RSSI", "ServiceData", "ManufacturerData", "Name", "UUIDs", "AdvertisingFlags", "TxPower"} {
		if _, there := p[name]; there {
			return true
		}
	}
	return false
}

// device finds a device of an adapter by its address.
func (o *objects) device(on dbus.ObjectPath, address string) (dbus.ObjectPath, *device) {
	for path, d := range o.devices {
		if d.address == address && d.adapter == on {
			return path, d
		}
	}
	return "", nil
}

// charsOf are a device's characteristics by number. One that is there twice
// counts once, by its lowest handle; the paths are in the order of handles.
func (o *objects) charsOf(device dbus.ObjectPath) (order []uint16, paths map[uint16]dbus.ObjectPath) {
	paths = map[uint16]dbus.ObjectPath{}
	for _, path := range slices.Sorted(maps.Keys(o.chars)) {
		n := o.chars[path].number
		if _, twice := paths[n]; !twice && strings.HasPrefix(string(path), string(device)+"/") {
			paths[n] = path
			order = append(order, n)
		}
	}
	return order, paths
}

// speaks reports whether a characteristic can notify or indicate.
func (c *char) speaks() bool {
	return c.flags == nil || slices.Contains(c.flags, "notify") || slices.Contains(c.flags, "indicate")
}

// pick is the radio to use: the one asked for, else the present one while it
// is on, else the first that is on, else the first.
func (o *objects) pick(wanted string, present dbus.ObjectPath) dbus.ObjectPath {
	if wanted != "" {
		for path := range o.adapters {
			if string(path) == wanted || strings.HasSuffix(string(path), "/"+wanted) {
				return path
			}
		}
		return ""
	}
	if a := o.adapters[present]; a != nil && a.powered {
		return present
	}
	all := slices.Sorted(maps.Keys(o.adapters))
	for _, path := range all {
		if o.adapters[path].powered {
			return path
		}
	}
	switch {
	case o.adapters[present] != nil:
		return present
	case len(all) > 0:
		return all[0]
	}
	return ""
}
