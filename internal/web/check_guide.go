package web

import (
	"fmt"
	"math"
	"strings"
	"time"

	"chainline/internal/live"
	"chainline/internal/ride"
	"chainline/session"
)

// The guide of a check: it watches the ride and goes on by itself when a step
// has shown what it should.

// How long a step must be ridden, and evenly, before it is done, and how far
// from even counts. Our judgement: the fault matrix is ridden with steps of so
// many seconds (internal/checksim), of which a brake takes the first ten.
const (
	guideStep   = 30.0 // s of a step of power
	guideCad    = 45.0 // s of a cadence
	guideEven   = 18.0 // s within guideAround of their own mean
	guideAround = 0.10
	guideStill  = 8.0  // s that a wheel must have stood
	guideZeroed = 4.0  // s after a zero offset was set
	guideTurned = 18.0 // s of cranks turned backwards
	guideBack   = 24.0 // s into that step: a cadence sensor needs some seconds to tell
)

// CheckGuide is how far a step is, for the page.
type CheckGuide struct {
	Words string  `json:"words"` // "even for 23 of 40 s"
	Share float64 `json:"share"` // of the step that is done, 0 to 1
}

// checkGuide is what is remembered from snapshot to snapshot.
type checkGuide struct {
	parts   []string
	lengths []float64 // s of each step as planned; 0 not by time
	step    int
	even    float64 // s
	mean    float64 // W, of the last seconds
	still   float64 // s
	zeroed  time.Time
	at      time.Time
	pressed int // step that was ended by the guide
}

func newCheckGuide(set ride.Setup) *checkGuide {
	g := &checkGuide{step: -1, pressed: -1}
	if set.Session != nil {
		g.parts = session.CheckParts(set.Session.Legs)
		for _, l := range set.Session.Legs {
			g.lengths = append(g.lengths, l.End.Seconds)
		}
	}
	return g
}

// take looks at one instant. next tells that the step has shown what it
// should.
func (g *checkGuide) take(s ride.Snapshot) (now CheckGuide, next bool) {
	if s.Step == nil || s.Stage != ride.Riding && s.Stage != ride.Paused {
		return CheckGuide{}, false
	}
	dt := s.At.Sub(g.at).Seconds()
	if g.at = s.At; dt < 0 || dt > 2 {
		dt = 0
	}
	if s.Step.Index != g.step {
		g.step, g.even, g.still, g.mean, g.zeroed = s.Step.Index, 0, 0, s.You.Watts, time.Time{}
	}
	part := ""
	if g.step < len(g.parts) {
		part = g.parts[g.step]
	}
	into := s.Step.IntoS
	switch part {
	case "steps", "cadences":
		now, next = g.steady(s, part, into, dt)
	case "zero":
		if g.step > 0 && g.parts[g.step-1] == "zero" {
			now, next = g.backwards(s, into, dt)
		} else {
			now, next = g.zero(s, into)
		}
	case "coast-down":
		now, next = g.coast(s, into, dt)
	default:
		now = CheckGuide{Share: share(into, s.Step.LengthS)}
	}
	if g.step < len(g.lengths) && s.Step.LengthS > g.lengths[g.step]+0.5 && g.lengths[g.step] > 0 { // the rider wants it longer
		now.Words, now.Share, next = "Lengthened: it goes on when the time is over, or when you say so.", share(into, s.Step.LengthS), false
	}
	if next {
		next = g.pressed != g.step
		g.pressed = g.step
	}
	return now, next
}

func share(into, length float64) float64 {
	if length <= 0 {
		return 0
	}
	return math.Max(0, math.Min(1, into/length))
}

// steady counts the seconds whose watts stay near their own mean.
func (g *checkGuide) steady(s ride.Snapshot, part string, into, dt float64) (CheckGuide, bool) {
	if s.Stage != ride.Riding {
		return CheckGuide{Words: "It goes on when you pedal."}, false
	}
	least := guideStep
	if part == "cadences" {
		least = guideCad
	}
	if s.You.State != ride.Measured && s.You.State != ride.Carried { // no watts: time alone
		return CheckGuide{Share: share(into, s.Step.LengthS)}, false
	}
	g.mean += (s.You.Watts - g.mean) * -math.Expm1(-dt/8)
	switch off := math.Abs(s.You.Watts - g.mean); {
	case into < 10: // the brake settles
		g.even = 0
	case off <= math.Max(10, guideAround*g.mean):
		g.even += dt
	default:
		g.even = math.Max(0, g.even-dt)
	}
	done := math.Min(g.even/guideEven, into/least)
	words := fmt.Sprintf("Even for %.0f of %.0f s.", math.Min(guideEven, math.Floor(g.even)), guideEven)
	if g.even < 3 && into > 20 {
		words = "Uneven so far: hold it steady, whatever it reads."
	}
	if done >= 1 {
		words = "Done."
	}
	return CheckGuide{words, math.Max(0, math.Min(1, done))}, done >= 1
}

// zero is over soon after a device said that its zero was set.
func (g *checkGuide) zero(s ride.Snapshot, into float64) (CheckGuide, bool) {
	for _, n := range s.Notices {
		if _, well := calibrated(n); well && s.At.Sub(n.At) < 30*time.Second && g.zeroed.IsZero() {
			g.zeroed = n.At
		}
	}
	if g.zeroed.IsZero() {
		return CheckGuide{"Keep feet off; it goes on by itself, or when you say so.", share(into, s.Step.LengthS)}, false
	}
	return CheckGuide{"The device has answered.", 1}, s.Stage == ride.Riding && s.At.Sub(g.zeroed).Seconds() > guideZeroed
}

// backwards is done when the cranks have been turned for long enough without a
// push; what a device answered to the step before does not end it.
func (g *checkGuide) backwards(s ride.Snapshot, into, dt float64) (CheckGuide, bool) {
	if s.You.Cadence == nil { // nothing tells whether they turn
		return CheckGuide{Share: share(into, s.Step.LengthS)}, false
	}
	if *s.You.Cadence > 20 {
		g.even += dt
	}
	done := math.Min(g.even/guideTurned, into/guideBack)
	words := fmt.Sprintf("Turned for %.0f of %.0f s.", math.Min(guideTurned, math.Floor(g.even)), guideTurned)
	if g.even == 0 && into > 8 {
		words = "The cranks do not turn yet, as far as the cadence tells."
	}
	return CheckGuide{words, math.Min(1, done)}, done >= 1
}

// calibrated tells whether a notice ends a calibration, and whether well.
func calibrated(n ride.Notice) (over, well bool) {
	if n.Kind != ride.AboutSensor {
		return false, false
	}
	well = strings.HasPrefix(n.Words, "The zero offset of ") && strings.Contains(n.Words, " is set") ||
		strings.HasPrefix(n.Words, "The spin-down of ") && strings.HasSuffix(n.Words, " is done.")
	over = well || strings.Contains(n.Words, "was not set") || strings.Contains(n.Words, "no zero offset") ||
		strings.Contains(n.Words, "spin-down") && (strings.HasSuffix(n.Words, " failed.") || strings.Contains(n.Words, "does not begin"))
	return over, well
}

// coast is over when the wheel has stood for a while.
func (g *checkGuide) coast(s ride.Snapshot, into, dt float64) (CheckGuide, bool) {
	stands := s.You.Watts < 5 && (s.You.WheelMS == nil || *s.You.WheelMS < 0.3) && (s.You.Cadence == nil || *s.You.Cadence == 0)
	if g.still += dt; !stands {
		g.still = 0
	}
	if s.You.WheelMS == nil { // nothing tells when it stands
		return CheckGuide{Share: share(into, s.Step.LengthS)}, false
	}
	if !stands {
		return CheckGuide{fmt.Sprintf("The wheel still runs, at %.0f km/h.", 3.6**s.You.WheelMS), share(into, s.Step.LengthS)}, false
	}
	return CheckGuide{"The wheel stands.", 1}, g.still >= guideStill
}

// guideCheck watches a check until it has ended, once, and gives its tape. It
// goes on with the next step when one is done.
func (s *Server) guideCheck(x *live.Ride) *checkTape {
	made, there := s.checkTapes.LoadOrStore(x.ID, &checkTape{})
	tape := made.(*checkTape) //nolint:forcetypeassert // nothing else is stored
	if there {
		return tape
	}
	snapshots, stop := x.Engine.Watch()
	g := newCheckGuide(x.Riding.Setup)
	go func() {
		defer stop()
		for {
			select {
			case snap := <-snapshots:
				_, next := g.take(snap)
				if next {
					x.Engine.Key(ride.Key{Kind: ride.KeyNext})
				}
				if snap.Stage == ride.Riding {
					tape.add(snap.ClockS, snap.Now.Watts, sourcesOf(x))
				}
			case <-x.Settled():
				s.checkTapes.Delete(x.ID)
				return
			}
		}
	}()
	return tape
}
