package ride

import (
	"fmt"
	"math"
	"time"

	"chainline/internal/sensor"
	"chainline/rig"
)

// Stage is where a ride is.
type Stage string

// The stages of a ride.
const (
	Waiting Stage = "waiting" // connected or not, nobody has begun
	Riding  Stage = "riding"
	Paused  Stage = "paused" // sessions and free rides only: a course's clock never stops
	Ending  Stage = "ending" // the trainer is being told 'easy'
	Ended   Stage = "ended"
)

// Effects are what a Core wants done after an event, a tick or a key.
type Effects struct {
	Requests []sensor.Request
	Records  [][]byte
	Notices  []Notice
	Replan   *Rest // the rest is to be made anew from here; at most one at a time is asked for
	Done     bool  // the ride has ended and everything is recorded
}

// Notice is something the rider should see or hear.
type Notice struct {
	At     time.Time  `json:"at"`
	Kind   NoticeKind `json:"kind"`
	Words  string     `json:"words"`
	Urgent bool       `json:"urgent,omitempty"` // shown large, with a sound
}

// NoticeKind says what a notice is about.
type NoticeKind string

// What notices are about.
const (
	AboutSensor NoticeKind = "sensor"
	AboutPower  NoticeKind = "power"
	AboutStop   NoticeKind = "stop" // stop pedalling, shift down
	AboutCue    NoticeKind = "cue"
	AboutHeart  NoticeKind = "heart"
	AboutDrink  NoticeKind = "drink"
	AboutFan    NoticeKind = "fan"
	AboutHost   NoticeKind = "host"
	AboutGroup  NoticeKind = "group"
	AboutRide   NoticeKind = "ride"
)

// Core is one ride. Make one with New or Resume; only one goroutine may use it.
type Core struct {
	setup Setup
	hub   *sensor.Hub
	gate  Gate

	stage   Stage
	by      string // who paused: "rider" by stopping, "key", "host"
	now     time.Time
	begun   time.Time // first pedal stroke, key or gun; zero while waiting
	active  float64   // s ridden without pauses
	power   *supply
	wheel   wheel
	trainer string // device that is told
	links   map[string]bool
	scanned time.Time // since when devices are looked for
	everUp  bool      // the trainer was linked once

	cadence, heart, wheelSpeed held
	balance                    float64 // J
	speed, at                  float64 // m/s and m, by our own physics
	work                       float64 // J displayed
	stillSince                 time.Time
	overs                      spent
	group                      *inGroup // nil for a ride alone
	brought                    float64  // m moved up by a group's host without riding

	follow  follow
	steer   steer
	watch   watch
	remind  remind
	replan  replanning
	trace   trace
	said    string // host's or session's words to show
	saidAt  time.Time
	endAt   time.Time
	left    bool // ending because the program closes, not the ride
	state   PowerState
	watts   float64 // that count, now
	noticed []Notice

	out      Effects
	lastRow  time.Time
	sequence uint64
}

// held is a value with its age.
type held struct {
	value float64
	at    time.Time
}

// fresh gives the value unless it is older than what is carried.
func (h held) fresh(now time.Time) (float64, bool) {
	return h.value, !h.at.IsZero() && now.Sub(h.at) <= carry
}

// spent says how the balance moves: for 'lasts 1:40 at this effort'.
type spent struct{ mean float64 }

// New begins a ride. The hub brings what is remembered of the devices.
func New(s Setup, hub *sensor.Hub) (*Core, error) {
	if err := s.Check(); err != nil {
		return nil, err
	}
	if s.Limits == (Limits{}) {
		s.Limits = DefaultLimits().ForRider(s.Rider.MaxPower, s.Rig.CeilingW)
	}
	c := &Core{setup: s, hub: hub, stage: Waiting, now: s.Begun, power: newSupply(s.Rig), links: map[string]bool{}, balance: s.Rider.Balance.WPrime}
	c.gate = Gate{Limits: s.Limits, Listening: s.Way != Controlling}
	c.trainer = s.Rig.Trainer
	c.wheel.mass = s.Rig.RollingMass
	if c.wheel.mass == 0 {
		c.wheel.mass = usualRollingMass
	}
	if len(s.Rig.CurvePoints) > 0 {
		curve, err := rig.NewPowerCurve(s.Rig.CurvePoints, s.Rig.CurveSD, "the rig's table")
		if err != nil {
			return nil, fmt.Errorf("the trainer's power curve: %w", err)
		}
		c.wheel.curve = curve
	} else {
		c.wheel.curve = rig.UnknownCurve()
	}
	if s.Course != nil {
		c.speed = 0
	}
	c.follow.begin(s)
	c.record(recordSetup(s))
	return c, nil
}

// Effects hands over what is to be done and forgets it.
func (c *Core) Effects() Effects {
	out := c.out
	c.out = Effects{}
	return out
}

// Event takes what a port saw.
func (c *Core) Event(e sensor.Event) {
	if e.At.After(c.now) {
		c.now = e.At
	}
	switch e.Kind {
	case sensor.Lost:
		if c.links[e.Device] {
			c.linkLost(e)
		}
		c.links[e.Device] = false
	case sensor.Up:
		c.links[e.Device] = true
		c.everUp = c.everUp || e.Device == c.trainer
		c.setWheel(e.Device)
	}
	c.take(c.hub.Handle(e))
	if e.Kind == sensor.Value && c.stage == Riding {
		c.command()
	}
}

// linkLost tells the rider of a trainer that can no longer be told anything.
func (c *Core) linkLost(e sensor.Event) {
	if e.Device != c.trainer || c.setup.Way != Controlling {
		return
	}
	_, _, told := c.gate.Told()
	c.gate.Forget()
	c.steer = steer{}
	if told && (c.stage == Riding || c.stage == Paused) {
		c.notice(AboutStop, true, "The trainer does not hear us. Stop pedalling and shift down; it may hold its last resistance.")
	}
}

func (c *Core) take(out sensor.Out) {
	c.out.Requests = append(c.out.Requests, out.Requests...)
	for _, r := range out.Readings {
		c.reading(r)
	}
	for _, n := range out.Notices {
		c.hubNotice(n)
	}
}

// reading puts one measured value where it belongs and records it.
func (c *Core) reading(r sensor.Reading) {
	fits := true
	if r.Quantity == sensor.Power {
		fits = c.heardPower(KeyOf(r.Device, r.By), r.Device, r.By, r.Value, r.At)
	}
	c.record(c.recordReading(r, fits))
	switch r.Quantity {
	case sensor.Cadence:
		c.cadence = held{r.Value, r.At}
	case sensor.HeartRate:
		c.heart = held{r.Value, r.At}
	case sensor.WheelSpeed:
		c.wheelSpeed = held{r.Value, r.At}
		if c.setup.Way != Controlling {
			turning, known := c.cadence.fresh(r.At)
			if w, ok := c.wheel.watts(r.Value, r.At, known && turning == 0); ok {
				c.heardPower(FromCurve, r.Device, 0, w, r.At)
				c.record(recordValue(c.seconds(r.At), "curve", "power", w))
			}
		}
	}
}

func (c *Core) heardPower(key SourceKey, device string, by sensor.Service, watts float64, at time.Time) (fits bool) {
	most := mostWatts
	if m := c.setup.Rider.MaxPower; m > 0 {
		most = math.Min(most, math.Max(600, mostOverMax*m))
	}
	fits, fresh := c.power.heard(key, device, by, watts, at, most)
	if !fits {
		c.mark("note", string(key), fmt.Sprintf("%.0f W cannot be right: recorded, not ridden by", watts))
		c.watch.spikes++
	}
	if fresh {
		c.mark("back", string(key), "first watts from here")
	}
	if c.trainer == "" && by == sensor.FitnessMachine {
		c.trainer, c.everUp = device, true
	}
	return fits
}

// Tick lets time pass. It should come four times a second.
func (c *Core) Tick(now time.Time) {
	before := c.now
	if now.Before(before) {
		now = before
	}
	last := c.lastTick()
	c.now = now
	c.take(c.hub.Tick(now))
	dt := 0.0
	if !last.IsZero() {
		dt = now.Sub(last).Seconds()
	}
	c.watch.tickedAt = now
	c.choosePower()
	c.takeGun()
	c.start()
	if c.stage == Riding || c.stage == Paused {
		c.move(dt)
		c.followOn(dt)
		c.watchOver(dt)
		c.replanIfDue()
	}
	c.command()
	c.finish()
	c.meet(dt)
	c.row()
}

func (c *Core) lastTick() time.Time { return c.watch.tickedAt }

// choosePower settles the watts that count and says when they come from
// elsewhere.
func (c *Core) choosePower() {
	s, switched := c.power.choose(c.now)
	was := c.state
	c.watts, c.state = c.power.now(c.now)
	if switched {
		c.mark("switched", string(s.key), "")
		c.notice(AboutPower, false, "Watts now come from "+c.sourceName(s)+".")
	}
	if c.state == was || was == "" {
		return
	}
	switch c.state {
	case Coasting:
		c.mark("assumed", string(c.power.used), "no watts heard: coasting")
		c.notice(AboutPower, true, "No watts are heard. The ride goes on as if you coasted.")
	case Carried:
		c.mark("assumed", string(c.power.used), "the last watts, for at most three seconds")
	case Measured:
		c.mark("measured", string(c.power.used), "")
		if was == Coasting {
			c.notice(AboutPower, false, "Watts are back.")
		}
	}
}

func (c *Core) sourceName(s *source) string {
	if s.key == FromCurve {
		return "the wheel's speed"
	}
	return c.deviceName(s.device)
}

func (c *Core) deviceName(id string) string {
	for _, d := range c.hub.Devices() {
		if d.ID == id && d.Name != "" {
			return d.Name
		}
	}
	return id
}

// start begins the ride: at the gun, by key, or with the first pedal stroke.
func (c *Core) start() {
	if c.stage != Waiting {
		return
	}
	at := c.setup.StartAt
	switch {
	case !at.IsZero():
		if c.now.Before(at) {
			return
		}
	case c.setup.WaitForKey || !c.pedalling():
		return
	}
	c.begin()
}

func (c *Core) begin() {
	c.stage, c.begun = Riding, c.now
	if s := c.setup.StartAt; !s.IsZero() && s.Before(c.now) && c.now.Sub(s) < time.Second {
		c.begun = s
	}
	if c.setup.Course != nil {
		c.speed = c.setup.Course.StartSpeed
	}
	c.mark("lap", "", c.follow.title(c))
	c.cueChanged()
}

// pedalling tells whether the legs turn, as far as anything says so.
func (c *Core) pedalling() bool {
	if rpm, ok := c.cadence.fresh(c.now); ok {
		return rpm > 0 || c.watts > 30 && c.state == Measured
	}
	return c.watts > 15 && (c.state == Measured || c.state == Carried)
}

// seconds of an instant since the recording began.
func (c *Core) seconds(at time.Time) float64 { return at.Sub(c.setup.Begun).Seconds() }

// clock is the ride's own time: of a course from its start, pauses or not;
// of a session what was ridden.
func (c *Core) clock() float64 {
	switch {
	case c.begun.IsZero():
		return 0
	case c.setup.Course != nil:
		return c.now.Sub(c.begun).Seconds()
	default:
		return c.active
	}
}

func (c *Core) notice(kind NoticeKind, urgent bool, words string) {
	n := Notice{c.now, kind, words, urgent}
	c.out.Notices = append(c.out.Notices, n)
	c.noticed = append(c.noticed, n)
	if len(c.noticed) > 20 {
		c.noticed = c.noticed[len(c.noticed)-20:]
	}
	c.mark("note", string(kind), words)
}

func (c *Core) hubNotice(n sensor.Notice) {
	urgent := false
	switch n.Kind {
	case sensor.LinkLost:
		c.mark("lost", n.Device, n.Words)
	case sensor.LinkUp:
		c.mark("back", n.Device, n.Words)
		return
	case sensor.ControlLost:
		c.gate.Forget()
		c.steer.held = false
		urgent = c.stage == Riding
	case sensor.ControlGained:
		c.mark("note", n.Device, n.Words)
		return
	}
	c.notice(AboutSensor, urgent, n.Words)
}

// finish says 'easy' to the trainer and ends when it had time to hear it.
func (c *Core) finish() {
	if c.stage != Ending || c.now.Before(c.endAt) {
		return
	}
	c.stage = Ended
	if !c.left {
		c.record(EndRecord(c.seconds(c.now)))
	}
	c.out.Done = true
}

// leave is the program being closed: the trainer hears 'easy', and the journal
// stays open to be gone on with.
func (c *Core) leave(now time.Time) {
	if c.stage == Ending || c.stage == Ended {
		return
	}
	c.left = true
	c.mark("note", "", "the program was closed")
	c.stage, c.endAt = Ending, now.Add(2500*time.Millisecond)
}

// end begins the orderly end.
func (c *Core) end(words string) {
	if c.stage == Ending || c.stage == Ended {
		return
	}
	if c.stage == Riding || c.stage == Paused {
		c.notice(AboutRide, false, words)
	}
	c.stage, c.endAt = Ending, c.now.Add(2500*time.Millisecond)
}

// Devices is what is to be remembered of the devices.
func (c *Core) Devices() []sensor.Setting { return c.hub.Settings() }

// ConnectAll connects to every device that was found, as a bench or a
// recording wants it.
func (c *Core) ConnectAll() {
	for _, d := range c.hub.Devices() {
		if !d.Saved && d.Link == sensor.NotConnected {
			c.take(c.hub.Connect(d.ID))
		}
	}
}

// ConnectKnown connects to devices that were connected on an earlier day, as
// soon as they are heard.
func (c *Core) ConnectKnown() {
	for _, d := range c.hub.Devices() {
		if d.Saved && d.Link == sensor.NotConnected && !d.Heard.IsZero() && c.now.Sub(d.Heard) < carry {
			c.take(c.hub.Connect(d.ID))
		}
	}
}

// Seen are the devices the port told of, connected or not.
func (c *Core) Seen() []sensor.Device { return c.hub.Devices() }

// Missing is the next thing to try for a sensor that does not appear.
func (c *Core) Missing(kind sensor.Wanted, id string, tried []sensor.Cause) (sensor.Step, bool) {
	l := c.hub.Looking(kind, id)
	l.Tried = tried
	l.Scanned = c.now.Sub(c.scanned)
	return sensor.Next(l)
}
