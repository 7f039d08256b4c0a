package web

import (
	"strings"
	"testing"
	"time"

	"chainline/internal/ride"
	"chainline/session"
)

// guideOf is a guide in a check, and the index of its first leg of a part.
func guideOf(t *testing.T, part string) (*checkGuide, int, float64) {
	t.Helper()
	x, _ := session.Find(session.RigCheckID)
	scaled, _, err := session.Scale(x.Session(), session.View{ThresholdW: 240, CriticalPowerW: 250, WPrimeJ: 15000, MaxPowerW: 900, HoldsPower: true})
	if err != nil {
		t.Fatal(err)
	}
	g := newCheckGuide(ride.Setup{Session: &scaled})
	for i, p := range g.parts {
		if p == part {
			return g, i, scaled.Legs[i].PlanS
		}
	}
	t.Fatalf("no part %s", part)
	return nil, 0, 0
}

// ridden lets a leg pass, four instants a second, and says after how many
// seconds the guide went on; 0 never.
func (g *checkGuide) ridden(leg int, length float64, at func(into float64) ride.Snapshot) float64 {
	begun := time.Unix(1000, 0)
	for into := 0.0; into < length; into += 0.25 {
		s := at(into)
		s.At, s.Step = begun.Add(time.Duration(into*float64(time.Second))), &ride.Progress{Index: leg, IntoS: into, LengthS: length}
		if s.Stage == "" {
			s.Stage = ride.Riding
		}
		if _, next := g.take(s); next {
			return into
		}
	}
	return 0
}

func watts(w float64) ride.Snapshot {
	return ride.Snapshot{You: ride.You{Watts: w, State: ride.Measured}}
}

// An even step is done after half a minute; an uneven one takes all its time; one
// that was uneven at first takes longer.
func TestGuideNoticesAnEvenStep(t *testing.T) {
	g, leg, length := guideOf(t, "steps")
	if at := g.ridden(leg, length, func(float64) ride.Snapshot { return watts(150) }); at < 29 || at > 31 {
		t.Errorf("an even step is done after %.1f s", at)
	}
	g, leg, length = guideOf(t, "steps")
	if at := g.ridden(leg, length, func(into float64) ride.Snapshot { return watts(150 + 60*float64(int(into/5)%2)) }); at != 0 {
		t.Errorf("an uneven step is done after %.1f s", at)
	}
	g, leg, length = guideOf(t, "steps")
	at := g.ridden(leg, length, func(into float64) ride.Snapshot {
		if into < 10 {
			return watts(150 + 90*float64(int(into/4)%2))
		}
		return watts(150)
	})
	if at < 31 || at > 39.9 {
		t.Errorf("a step that became even is done after %.1f s", at)
	}
}

// Nothing goes on while the rider stands, and nothing is pressed twice.
func TestGuideWaits(t *testing.T) {
	g, leg, length := guideOf(t, "cadences")
	paused := func(float64) ride.Snapshot { s := watts(0); s.Stage = ride.Paused; return s }
	if at := g.ridden(leg, length, paused); at != 0 {
		t.Errorf("it went on while nobody pedalled, after %.1f s", at)
	}
	g, leg, length = guideOf(t, "steps")
	first := g.ridden(leg, length, func(float64) ride.Snapshot { return watts(150) })
	again := g.ridden(leg, length, func(float64) ride.Snapshot { return watts(150) })
	if first == 0 || again != 0 {
		t.Errorf("pressed after %.1f s and again after %.1f s", first, again)
	}
}

// A coast-down is done when the wheel has stood for a while, a zero when the
// device has answered.
func TestGuideNoticesRest(t *testing.T) {
	g, leg, length := guideOf(t, "coast-down")
	at := g.ridden(leg, length, func(into float64) ride.Snapshot {
		v := max(0, 7-0.5*into)
		s := watts(0)
		s.You.WheelMS = &v
		return s
	})
	if at < 20 || at > 24 { // it stands after 14 s
		t.Errorf("the coast-down is done after %.1f s", at)
	}
	g, leg, length = guideOf(t, "zero")
	at = g.ridden(leg, length, func(into float64) ride.Snapshot {
		s := watts(0)
		if into > 12 {
			s.Notices = []ride.Notice{{At: time.Unix(1012, 0), Kind: ride.AboutSensor, Words: "The zero offset of Crank meter is set; its raw value is 12."}}
		}
		return s
	})
	if at < 15 || at > 18 {
		t.Errorf("the zero is done after %.1f s", at)
	}
	g, leg, length = guideOf(t, "zero")
	if at := g.ridden(leg, length, func(float64) ride.Snapshot {
		s := watts(0)
		s.Notices = []ride.Notice{{At: time.Unix(1001, 0), Kind: ride.AboutSensor, Words: "The zero offset of Crank meter was not set: it moved."}}
		return s
	}); at != 0 {
		t.Errorf("nothing answered, and it went on after %.1f s", at)
	}
	if now, _ := g.take(ride.Snapshot{Stage: ride.Waiting}); now != (CheckGuide{}) || !strings.Contains(partWords["zero"], "Zero") {
		t.Errorf("before it begins: %+v", now)
	}
}

// A step that its rider lengthened is not ended by the guide, even as it is.
func TestGuideLeavesALengthenedStep(t *testing.T) {
	g, leg, length := guideOf(t, "steps")
	if at := g.ridden(leg, length+60, func(float64) ride.Snapshot { return watts(150) }); at != 0 {
		t.Errorf("a lengthened step was ended after %.1f s", at)
	}
	now, _ := g.take(ride.Snapshot{Stage: ride.Riding, At: time.Unix(2000, 0), Step: &ride.Progress{Index: leg, IntoS: 50, LengthS: length + 60}})
	if !strings.HasPrefix(now.Words, "Lengthened") || now.Share <= 0 || now.Share >= 1 {
		t.Errorf("it says %+v", now)
	}
}

// Cranks turned backwards are counted, and a zero that was set in the step
// before does not end this one.
func TestGuideCountsCranksTurnedBackwards(t *testing.T) {
	turning := func(rpm float64) func(float64) ride.Snapshot {
		return func(float64) ride.Snapshot {
			s := watts(0)
			s.You.Cadence = &rpm
			s.Notices = []ride.Notice{{At: time.Unix(995, 0), Kind: ride.AboutSensor, Words: "The zero offset of Crank meter is set."}}
			return s
		}
	}
	g, leg, length := guideOf(t, "zero")
	if at := g.ridden(leg+1, length, turning(60)); at < 23 || at > 25 {
		t.Errorf("done after %.1f s", at)
	}
	g, leg, length = guideOf(t, "zero")
	if at := g.ridden(leg+1, length, turning(0)); at != 0 {
		t.Errorf("done after %.1f s with still cranks", at)
	}
}
