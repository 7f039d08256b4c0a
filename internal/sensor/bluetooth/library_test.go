package bluetooth

import (
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"chainline/internal/sensor"
	"chainline/internal/sensor/gatt"
)

var quick = times{connect: 5 * time.Second, ask: 3 * time.Second, end: time.Second, retry: 20 * time.Millisecond, busy: 5 * time.Millisecond}

// fakeStack is a library that is not there: blocking calls, callbacks from
// any thread.
type fakeStack struct {
	mu       sync.Mutex
	broken   error // of enable
	dropped  func(string)
	found    func(string, sensor.Advert)
	stop     chan struct{}
	scanErr  error
	refuse   map[uint16]error
	hang     chan struct{} // connect waits for it, if there
	listen   map[uint16]func([]byte)
	listened []uint16
	onWrite  func(b []byte) error
	ended    int
}

func (s *fakeStack) enable(dropped func(string)) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.dropped = dropped
	return s.broken
}

func (s *fakeStack) scan(found func(string, sensor.Advert)) error {
	s.mu.Lock()
	if s.scanErr != nil {
		defer s.mu.Unlock()
		return s.scanErr
	}
	stop := make(chan struct{})
	s.found, s.stop = found, stop
	s.mu.Unlock()
	<-stop
	return nil
}

func (s *fakeStack) stopScan() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.stop == nil {
		return errors.New("no scan")
	}
	close(s.stop)
	s.stop, s.found = nil, nil
	return nil
}

func (s *fakeStack) connect(string) (peer, error) {
	s.mu.Lock()
	hang := s.hang
	s.listen, s.listened = map[uint16]func([]byte){}, nil
	s.mu.Unlock()
	if hang != nil {
		<-hang
	}
	return s, nil
}

func (s *fakeStack) disconnect() error {
	s.mu.Lock()
	defer s.mu.Unlock()
	s.ended++
	return nil
}

func (s *fakeStack) characteristics() ([]remote, error) {
	var all []remote
	for _, n := range []uint16{gatt.FitnessMachineFeature, gatt.IndoorBikeData, gatt.MachineControlPoint, gatt.MachineControlPoint} {
		all = append(all, fakeRemote{s, n})
	}
	return all, nil
}

type fakeRemote struct {
	s *fakeStack
	n uint16
}

func (r fakeRemote) number() uint16 { return r.n }
func (r fakeRemote) listen(f func([]byte)) error {
	r.s.mu.Lock()
	defer r.s.mu.Unlock()
	if err := r.s.refuse[r.n]; err != nil {
		return err
	}
	r.s.listen[r.n] = f
	r.s.listened = append(r.s.listened, r.n)
	f([]byte{0}) // some devices tell a value at once
	return nil
}
func (r fakeRemote) read() ([]byte, error) { return []byte{byte(r.n)}, nil }
func (r fakeRemote) write(b []byte) error  { return r.s.written()(b) }
func (s *fakeStack) written() func([]byte) error {
	s.mu.Lock()
	defer s.mu.Unlock()
	if s.onWrite == nil {
		return func([]byte) error { return nil }
	}
	return s.onWrite
}

func (s *fakeStack) say(n uint16, b ...byte) {
	s.mu.Lock()
	f := s.listen[n]
	s.mu.Unlock()
	f(b)
}

func eventOf(t *testing.T, b *library, want sensor.EventKind) sensor.Event {
	t.Helper()
	select {
	case e, ok := <-b.Events():
		if !ok || e.Kind != want {
			t.Fatalf("%+v (%v), want kind %d", e, ok, want)
		}
		return e
	case <-time.After(5 * time.Second):
		t.Fatalf("kind %d did not come", want)
	}
	return sensor.Event{}
}

func openFake(t *testing.T, s *fakeStack) (*library, func(kind sensor.RequestKind, char uint16, bytes ...byte)) {
	b := openLibrary(t.Context(), s, quick)
	return b, func(kind sensor.RequestKind, char uint16, bytes ...byte) {
		b.Do(sensor.Request{Kind: kind, Device: "d", Char: char, Bytes: bytes})
	}
}

func TestLibraryPort(t *testing.T) {
	s := &fakeStack{}
	b, ask := openFake(t, s)
	ask(sensor.Connect, 0)
	ask(sensor.Connect, 0) // twice, up once
	e := eventOf(t, b, sensor.Up)
	if !slices.Equal(e.Chars, []uint16{gatt.FitnessMachineFeature, gatt.IndoorBikeData, gatt.MachineControlPoint}) || !slices.Equal(s.listened, []uint16{gatt.MachineControlPoint, gatt.IndoorBikeData}) {
		t.Errorf("up with %04X, listened to %04X", e.Chars, s.listened)
	}
	eventOf(t, b, sensor.Value) // what came before Up, after it
	eventOf(t, b, sensor.Value)
	ask(sensor.Read, gatt.FitnessMachineFeature)
	if e := eventOf(t, b, sensor.Answer); e.Err != nil || e.Bytes[0] != 0xCC {
		t.Errorf("read %+v", e)
	}
	s.mu.Lock()
	s.onWrite = func(v []byte) error { s.say(gatt.MachineControlPoint, 0x80, v[0]); return nil }
	s.mu.Unlock()
	for range 50 { // the answer overtakes the acknowledgement, and is held
		ask(sensor.Write, gatt.MachineControlPoint, 5)
		eventOf(t, b, sensor.Wrote)
		eventOf(t, b, sensor.Value)
	}
	ask(sensor.Write, 0x2AFE, 5)
	if e := eventOf(t, b, sensor.Wrote); e.Err == nil {
		t.Error("written to a characteristic that is not there")
	}
	if err := b.Close(); err != nil {
		t.Error(err)
	}
	if _, open := <-b.Events(); open {
		t.Error("closed, and an event came")
	}
	ask(sensor.Connect, 0)
}

func TestLibraryDrops(t *testing.T) {
	s := &fakeStack{}
	b, ask := openFake(t, s)
	defer func() { _ = b.Close() }()
	ask(sensor.Connect, 0)
	eventOf(t, b, sensor.Up)
	eventOf(t, b, sensor.Value)
	eventOf(t, b, sensor.Value)
	hang := make(chan struct{})
	s.mu.Lock()
	s.onWrite = func([]byte) error { <-hang; return nil }
	s.mu.Unlock()
	ask(sensor.Write, gatt.MachineControlPoint, 1)
	wait(t, "the write to be under way", func() bool {
		b.mu.Lock()
		defer b.mu.Unlock()
		return b.up["d"].writing != 0
	})
	ask(sensor.Read, gatt.FitnessMachineFeature)
	s.dropped("d")
	for _, kind := range []sensor.EventKind{sensor.Wrote, sensor.Answer, sensor.Lost} {
		if e := eventOf(t, b, kind); e.Err == nil {
			t.Errorf("%+v without a reason", e)
		}
	}
	s.dropped("d")
	s.say(gatt.IndoorBikeData, 1) // an old link's
	close(hang)
	ask(sensor.Read, gatt.FitnessMachineFeature)
	if e := eventOf(t, b, sensor.Answer); e.Err == nil {
		t.Error("read without a link")
	}
	s.mu.Lock()
	s.refuse = map[uint16]error{gatt.MachineControlPoint: errors.New("no")}
	s.mu.Unlock()
	ask(sensor.Connect, 0)
	if e := eventOf(t, b, sensor.Up); slices.Contains(e.Chars, gatt.MachineControlPoint) {
		t.Errorf("up with %04X", e.Chars)
	}
	eventOf(t, b, sensor.Value)
	ask(sensor.Disconnect, 0)
	eventOf(t, b, sensor.Lost)
	wait(t, "the link's end", func() bool { s.mu.Lock(); defer s.mu.Unlock(); return s.ended == 1 })
}

func TestLibraryTimesOut(t *testing.T) {
	s := &fakeStack{hang: make(chan struct{})}
	short := quick
	short.connect, short.ask = 50*time.Millisecond, 50*time.Millisecond
	b := openLibrary(t.Context(), s, short)
	defer func() { _ = b.Close() }()
	b.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	if e := eventOf(t, b, sensor.Lost); !errors.Is(e.Err, errSilent) {
		t.Errorf("lost because %v", e.Err)
	}
	b.Do(sensor.Request{Kind: sensor.Connect, Device: "e"})
	b.Do(sensor.Request{Kind: sensor.Disconnect, Device: "e"}) // while it is tried
	if e := eventOf(t, b, sensor.Lost); e.Device != "e" || e.Err != errEnded {
		t.Errorf("lost because %v", e.Err)
	}
	close(s.hang) // it connects after all, and is let go
	wait(t, "the late link's end", func() bool { s.mu.Lock(); defer s.mu.Unlock(); return s.ended == 2 })
	b.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	for kind := range []int{0, 1, 2} {
		eventOf(t, b, []sensor.EventKind{sensor.Up, sensor.Value, sensor.Value}[kind])
	}
	hang := make(chan struct{})
	defer close(hang)
	s.mu.Lock()
	s.onWrite = func([]byte) error { <-hang; return nil }
	s.mu.Unlock()
	b.Do(sensor.Request{Kind: sensor.Write, Device: "d", Char: gatt.MachineControlPoint})
	if e := eventOf(t, b, sensor.Wrote); !errors.Is(e.Err, errSilent) {
		t.Errorf("wrote: %v", e.Err)
	}
	eventOf(t, b, sensor.Lost) // nothing can be asked beside a call that hangs
}

func TestLibraryRadio(t *testing.T) {
	s := &fakeStack{broken: errors.New("0x8007048F")}
	b := openLibrary(t.Context(), s, quick)
	defer func() { _ = b.Close() }()
	if e := eventOf(t, b, sensor.RadioOff); e.Err == nil || e.Err.Error() != "the Bluetooth radio cannot be used" {
		t.Errorf("off because %v", e.Err)
	}
	b.Do(sensor.Request{Kind: sensor.Connect, Device: "d"})
	eventOf(t, b, sensor.Lost)
	b.Do(sensor.Request{Kind: sensor.ScanOn})
	eventOf(t, b, sensor.RadioOff)
	s.mu.Lock()
	s.broken = nil
	s.mu.Unlock()
	eventOf(t, b, sensor.RadioOn)
	scans := func() bool { s.mu.Lock(); defer s.mu.Unlock(); return s.found != nil }
	wait(t, "the scan", scans)
	s.found("d", sensor.Advert{Name: "x"})
	if e := eventOf(t, b, sensor.Found); e.Advert.Name != "x" || e.Device != "d" {
		t.Errorf("found %+v", e)
	}
	b.Do(sensor.Request{Kind: sensor.ScanOff})
	wait(t, "the scan's end", func() bool { return !scans() })
	b.Do(sensor.Request{Kind: sensor.ScanOn})
	wait(t, "the scan again", scans)
	_ = s.stopScan() // by itself
	wait(t, "the scan to go on", scans)
}

// wait polls until something is so.
func wait(t *testing.T, what string, so func() bool) {
	t.Helper()
	limit := time.Now().Add(5 * time.Second)
	for !so() {
		if time.Now().After(limit) {
			t.Fatalf("waited for %s in vain", what)
		}
		time.Sleep(time.Millisecond)
	}
}
