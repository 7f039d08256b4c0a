package porttest

import (
	"slices"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

func scanFinds(k *probe) {
	k.Do(sensor.Request{Kind: sensor.ScanOn})
	found, _ := k.until("the trainer to be found", func(e sensor.Event) bool {
		return e.Kind == sensor.Found && e.Device == k.Device
	})
	if !slices.Contains(found.Advert.Services, gatt.FitnessMachineService) {
		k.t.Errorf("found with the services %04X, without the fitness machine", found.Advert.Services)
	}
	if found.Advert.Name == "" {
		k.t.Errorf("found without a name")
	}
	if data, there := found.Advert.ServiceData[gatt.FitnessMachineService]; there {
		if _, err := gatt.DecodeMachineAdvert(data); err != nil {
			k.t.Errorf("service data % X: %v", data, err)
		}
	}
	k.Do(sensor.Request{Kind: sensor.ScanOff})
	k.during(500 * time.Millisecond) // what is on its way
	for _, e := range k.during(k.s.Quiet) {
		if e.Kind == sensor.Found {
			k.t.Errorf("found %q although nobody scans any more", e.Device)
		}
	}
}

func upLists(k *probe) {
	chars := k.connect()
	for _, want := range []uint16{gatt.FitnessMachineFeature, gatt.IndoorBikeData, gatt.MachineControlPoint, gatt.MachineStatus} {
		if !slices.Contains(chars, want) {
			k.t.Errorf("up without %04X: %04X", want, chars)
		}
	}
	// Subscribed means that values come without anything more being asked.
	e, _ := k.until("indoor bike data", k.is(sensor.Value, gatt.IndoorBikeData))
	if _, err := gatt.DecodeBike(e.Bytes); err != nil {
		k.t.Errorf("% X: %v", e.Bytes, err)
	}
}

func askedTwice(k *probe) {
	k.Do(sensor.Request{Kind: sensor.Connect, Device: k.Device})
	k.connect()
	for _, e := range k.during(k.s.Quiet) { // a second Up is an error by itself
		if e.Device == k.Device && e.Kind == sensor.Lost {
			k.t.Errorf("asked twice, and lost: %v", e.Err)
		}
	}
	k.Do(sensor.Request{Kind: sensor.Connect, Device: k.Device}) // it is up
	k.during(k.s.Quiet)
	if !k.up || k.lost > 0 {
		k.t.Errorf("asked while up, and lost %d times", k.lost)
	}
}

func reads(k *probe) {
	chars := k.connect()
	e := k.read(gatt.FitnessMachineFeature)
	f, err := gatt.DecodeMachineFeatures(e.Bytes)
	if e.Err != nil || err != nil {
		k.t.Fatalf("features % X: %v, %v", e.Bytes, e.Err, err)
	}
	ranges := map[uint16]gatt.MachineTargets{gatt.PowerRange: gatt.TakesPower, gatt.ResistanceRange: gatt.TakesResistance}
	for char, bit := range ranges {
		if f.Targets&bit == 0 || !slices.Contains(chars, char) {
			continue
		}
		e := k.read(char)
		r, err := gatt.DecodeRange(char, e.Bytes)
		if e.Err != nil || err != nil || !r.Usable() {
			k.t.Errorf("range %04X % X: %+v, %v, %v", char, e.Bytes, r, e.Err, err)
		}
	}
	if k.s.ReadOnly {
		if f.Targets != 0 {
			k.t.Errorf("takes the targets %b, and gives control to nobody", f.Targets)
		}
		return
	}
	if f.Targets&(gatt.TakesPower|gatt.TakesSimulation|gatt.TakesResistance) == 0 {
		k.t.Errorf("takes no target at all: %b", f.Targets)
	}
	if e := k.read(0x2A00 + 0xFE); e.Err == nil {
		k.t.Errorf("read of a characteristic it does not have brought % X", e.Bytes)
	}
}

func unknown(k *probe) {
	const nobody = "nobody-there"
	k.Do(sensor.Request{Kind: sensor.Connect, Device: nobody})
	e, _ := k.until("the failed link", func(e sensor.Event) bool { return e.Device == nobody && e.Kind == sensor.Lost })
	if e.Err == nil {
		k.t.Errorf("lost without a reason")
	}
}

func unconnected(k *probe) {
	if e := k.read(gatt.FitnessMachineFeature); e.Err == nil {
		k.t.Errorf("read % X without a link", e.Bytes)
	}
	k.write(gatt.MachineRequest{Op: gatt.RequestControl})
	e, _ := k.until("the failed write", k.is(sensor.Wrote, gatt.MachineControlPoint))
	if e.Err == nil {
		k.t.Errorf("wrote without a link")
	}
}

func refused(k *probe) {
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.NotPermitted)
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.NotPermitted)
	if k.Target != nil {
		if w, set := k.Target(); set {
			k.t.Errorf("the brake holds %v W", w)
		}
	}
}

func needsControl(k *probe) {
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.NotPermitted)
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.Success)
	k.held(150)
}

func control(k *probe) {
	k.connect()
	e := k.read(gatt.PowerRange)
	r, err := gatt.DecodeRange(gatt.PowerRange, e.Bytes)
	if err != nil {
		k.t.Fatalf("power range % X: %v", e.Bytes, err)
	}
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success) // again does no harm
	k.expect(gatt.MachineRequest{Op: gatt.StartOrResume}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.StartOrResume}, gatt.OperationFailed)
	for _, watts := range []float64{r.Fit(120), r.Fit(250)} {
		k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: watts}, gatt.Success)
		k.held(watts)
	}
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: r.Max + 100}, gatt.InvalidParameter)
	k.held(r.Fit(250))
	k.expect(gatt.MachineRequest{Op: 0x55}, gatt.NotSupported)
	k.expect(gatt.MachineRequest{Op: gatt.SetHeartRate, Value: 140}, gatt.NotSupported)
	k.expect(gatt.MachineRequest{Op: gatt.SetSimulation, Simulation: gatt.Simulation{Gradient: 0.02, Crr: 0.004, Cw: 0.3}}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.StopOrPause, Value: gatt.MachineStop}, gatt.Success)
	if k.Target != nil {
		k.during(time.Second)
		if w, set := k.Target(); set {
			k.t.Errorf("stopped, and the brake still holds %v W", w)
		}
	}
}

// oneAtATime writes twice at once. A port may hold the second back until the
// first is acknowledged; the trainer refuses it or answers it after the first.
func oneAtATime(k *probe) {
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 140})
	k.write(gatt.MachineRequest{Op: gatt.StartOrResume})
	var ops []gatt.MachineOp
	wrote, accepted := 0, 0
	k.until("both writes to be dealt with", func(e sensor.Event) bool {
		switch {
		case k.is(sensor.Wrote, gatt.MachineControlPoint)(e):
			wrote++
			if e.Err == nil {
				accepted++
			}
		case k.is(sensor.Value, gatt.MachineControlPoint)(e):
			if p, err := gatt.DecodeMachineResponse(e.Bytes); err == nil {
				ops = append(ops, p.Op)
			}
		}
		return wrote == 2 && len(ops) == accepted
	})
	want := []gatt.MachineOp{gatt.SetPower, gatt.StartOrResume}[:accepted]
	if accepted == 0 || !slices.Equal(ops, want) {
		k.t.Errorf("of two writes %d were taken and %v answered", accepted, ops)
	}
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 145}, gatt.Success) // nothing is left hanging
	k.held(145)
}

func reset(k *probe) {
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.ResetMachine}, gatt.Success)
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.NotPermitted)
}

func taken(k *probe) {
	if k.Taken == nil {
		k.t.Skip("this rig has no other program")
	}
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.Taken()
	k.until("the status that control is lost", func(e sensor.Event) bool {
		s, err := gatt.DecodeStatus(e.Bytes)
		return k.is(sensor.Value, gatt.MachineStatus)(e) && err == nil && s.Op == gatt.StatusControlLost
	})
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.NotPermitted)
}

func silent(k *probe) {
	if k.Silent == nil {
		k.t.Skip("this rig always answers")
	}
	k.connect()
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	k.Silent()
	k.write(gatt.MachineRequest{Op: gatt.SetPower, Value: 150})
	e, _ := k.until("the acknowledgement", k.is(sensor.Wrote, gatt.MachineControlPoint))
	if e.Err != nil {
		k.t.Errorf("not acknowledged: %v", e.Err)
	}
	for _, e := range k.during(k.s.Quiet) {
		if k.is(sensor.Value, gatt.MachineControlPoint)(e) {
			k.t.Errorf("an answer out of nowhere: % X", e.Bytes)
		}
	}
}

// lostLink has the device end the link and connects again: one Lost, nothing
// between, one Up, and every message once.
func lostLink(k *probe) {
	if k.Cut == nil {
		k.t.Skip("this rig's link cannot be cut")
	}
	k.connect()
	usual := k.interval()
	if !k.s.ReadOnly {
		k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	}
	k.Cut()
	e, _ := k.until("the link to be lost", func(e sensor.Event) bool { return e.Device == k.Device && e.Kind == sensor.Lost })
	if e.Err == nil {
		k.t.Errorf("lost without a reason")
	}
	for _, e := range k.during(k.s.Quiet) {
		if e.Device == k.Device && e.Kind != sensor.Found {
			k.t.Errorf("after the link was lost: %+v", e)
		}
	}
	if k.lost != 1 {
		k.t.Errorf("lost %d times, want once", k.lost)
	}
	k.connect()
	if again := k.interval(); again < usual/2 {
		k.t.Errorf("messages come every %v, before the link was lost every %v: subscribed twice", again, usual)
	}
	if k.s.ReadOnly {
		return
	}
	k.expect(gatt.MachineRequest{Op: gatt.SetPower, Value: 150}, gatt.NotPermitted)
	k.expect(gatt.MachineRequest{Op: gatt.RequestControl}, gatt.Success)
	for _, e := range k.during(k.s.Quiet) {
		if k.is(sensor.Value, gatt.MachineControlPoint)(e) {
			k.t.Errorf("answered twice: % X", e.Bytes)
		}
	}
}

// interval is the mean time between messages of indoor bike data.
func (k *probe) interval() time.Duration {
	k.t.Helper()
	const messages = 4
	first, _ := k.until("indoor bike data", k.is(sensor.Value, gatt.IndoorBikeData))
	last := first
	for range messages {
		last, _ = k.until("indoor bike data", k.is(sensor.Value, gatt.IndoorBikeData))
	}
	return last.At.Sub(first.At) / messages
}

func disconnect(k *probe) {
	k.connect()
	k.Do(sensor.Request{Kind: sensor.Disconnect, Device: k.Device})
	k.until("the link to end", func(e sensor.Event) bool { return e.Device == k.Device && e.Kind == sensor.Lost })
	for _, e := range k.during(k.s.Quiet) {
		if e.Device == k.Device && e.Kind != sensor.Found {
			k.t.Errorf("after the link was ended: %+v", e)
		}
	}
	if k.lost != 1 {
		k.t.Errorf("lost %d times, want once", k.lost)
	}
	k.connect()
	k.until("indoor bike data", k.is(sensor.Value, gatt.IndoorBikeData))
}

func closing(k *probe) {
	k.Do(sensor.Request{Kind: sensor.ScanOn})
	k.connect()
	if err := k.Close(); err != nil {
		k.t.Errorf("close: %v", err)
	}
	for range 10_000 { // what was under way may still be there
		if _, ok := k.Next(k.s.Quiet); !ok {
			break
		}
	}
	if !k.Closed() {
		k.t.Errorf("closed, and the events do not end")
	}
	k.Do(sensor.Request{Kind: sensor.ScanOff}) // asks nobody, and does no harm
}
