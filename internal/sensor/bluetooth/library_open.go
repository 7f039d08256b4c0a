//go:build windows || (darwin && cgo)

package bluetooth

import (
	"context"
	"errors"

	tiny "tinygo.org/x/bluetooth"

	"chainline/internal/sensor"
)

// Open uses the library's radio. Untested: no such machine was at hand; what
// stands between this file and the port is tested with a stack that is not
// there. On macOS a device's name is a number the system made up for it.
func Open(ctx context.Context, _ Options) (sensor.Port, error) {
	return openLibrary(ctx, &tinyStack{adapter: tiny.DefaultAdapter}, usual), nil
}

type tinyStack struct{ adapter *tiny.Adapter }

func (s *tinyStack) enable(dropped func(string)) error {
	s.adapter.SetConnectHandler(func(d tiny.Device, up bool) {
		if !up {
			dropped(d.Address.String())
		}
	})
	return s.adapter.Enable()
}

func (s *tinyStack) scan(found func(string, sensor.Advert)) error {
	return s.adapter.Scan(func(_ *tiny.Adapter, r tiny.ScanResult) {
		if r.AdvertisementPayload == nil {
			return
		}
		a := sensor.Advert{Name: r.LocalName(), RSSI: int(r.RSSI), ServiceData: map[uint16][]byte{}}
		for _, u := range r.ServiceUUIDs() {
			if u.Is16Bit() {
				a.Services = append(a.Services, u.Get16Bit())
			}
		}
		for _, d := range r.ServiceData() {
			if d.UUID.Is16Bit() {
				a.ServiceData[d.UUID.Get16Bit()] = append([]byte(nil), d.Data...)
			}
		}
		found(r.Address.String(), a)
	})
}

func (s *tinyStack) stopScan() error { return s.adapter.StopScan() }

func (s *tinyStack) connect(id string) (peer, error) {
	var a tiny.Address
	a.Set(id) // leaves it empty when id is no address
	if a.String() != id {
		return nil, errAddress
	}
	d, err := s.adapter.Connect(a, tiny.ConnectionParams{})
	if err != nil {
		return nil, err
	}
	return tinyPeer{d}, nil
}

type tinyPeer struct{ device tiny.Device }

func (p tinyPeer) disconnect() error { return p.device.Disconnect() }

func (p tinyPeer) characteristics() ([]remote, error) {
	services, err := p.device.DiscoverServices(nil)
	if err != nil {
		return nil, err
	}
	var all []remote
	for _, s := range services {
		chars, err := s.DiscoverCharacteristics(nil)
		if err != nil { // one service the system keeps to itself is no harm
			continue
		}
		for i := range chars {
			if chars[i].UUID().Is16Bit() {
				all = append(all, tinyRemote{&chars[i]})
			}
		}
	}
	if len(all) == 0 {
		return nil, errors.New("the device shows no characteristics")
	}
	return all, nil
}

type tinyRemote struct{ char *tiny.DeviceCharacteristic }

func (r tinyRemote) number() uint16              { return r.char.UUID().Get16Bit() }
func (r tinyRemote) listen(f func([]byte)) error { return r.char.EnableNotifications(f) }
func (r tinyRemote) write(b []byte) error        { _, err := r.char.Write(b); return err }

// read takes up to 512 octets, the longest an attribute may be.
func (r tinyRemote) read() ([]byte, error) {
	b := make([]byte, 512)
	n, err := r.char.Read(b)
	return b[:min(n, len(b))], err
}
