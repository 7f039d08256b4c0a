package session_test

import (
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"chainline/capacity"
	"chainline/session"
)

// recovery is the default form with the spread the observations call for.
func recovery(form capacity.Recovery) session.Recovery {
	median, sd := capacity.RecoverySpread(form)
	return session.Recovery{Form: form, SpeedMedian: median, SpeedLogSD: sd}
}

// riders are four invented starts.
func riders() map[string]session.Request {
	trainer := session.Rig{Controllable: true, Fan: true, HeartStrap: true, FloorW: 50, CeilingW: 1500}
	both := trainer
	both.PowerMeter = true
	return map[string]session.Request{
		"racer": {Kind: session.MassStart, PenS: 300, Level: capacity.Racer, Age: 31, Screened: true,
			Capacity: capacity.Fixed(320, 22000, 1200), Recovery: recovery(capacity.Differential), Rig: both,
			RideS: 2700, FirstWatts: 380, FirstS: 180, HasClock: true, StartClock: 15},
		"club": {Kind: session.TimeTrial, Level: capacity.Club, Age: 44, Screened: true,
			Capacity: capacity.Fixed(260, 18000, 900), Recovery: recovery(capacity.Differential), Rig: trainer, RideS: 1500},
		"new": {Kind: session.GroupRide, PenS: 600, Level: capacity.New, Age: 52,
			Capacity: capacity.Fixed(150, 12000, 600), Recovery: recovery(capacity.Differential), Rig: session.Rig{Rollers: true, Controllable: true}, RideS: 3600},
		"junior": {Kind: session.MassStart, PenS: 900, Pen: session.PenEasy, Level: capacity.Regular, Age: 16, Screened: true,
			Capacity: capacity.Fixed(210, 15000, 800), Recovery: recovery(capacity.Differential), Rig: session.Rig{PowerMeter: true},
			RideS: 2400, FirstWatts: 240, FirstS: 120},
	}
}

func plan(t *testing.T, q session.Request) session.WarmUp {
	t.Helper()
	w, err := session.PlanWarmUp(q)
	if err != nil {
		t.Fatal(err)
	}
	return w
}

// sheet is a warm-up as text.
func sheet(w session.WarmUp) string {
	var s strings.Builder
	for _, x := range w.Steps {
		fmt.Fprintf(&s, "%.0f %.0f s %.0f W %d %s\n", x.StartS, x.DurationS, x.Watts, x.Exertion, x.Name)
	}
	for _, m := range w.Timeline {
		fmt.Fprintf(&s, "%.0f %s: %s\n", m.AtS, m.Clock, m.What)
	}
	return s.String()
}

var goldens = map[string]string{
	"racer": `-1980 480 s 145 W 10 easy
-1500 300 s 210 W 11 steady
-1200 120 s 110 W 9 soft pedal
-1080 360 s 280 W 13 firm
-720 120 s 145 W 10 easy
-600 20 s 380 W 16 short and hard
-580 60 s 145 W 10 easy
-520 20 s 380 W 16 short and hard
-500 60 s 145 W 10 easy
-440 20 s 380 W 16 short and hard
-420 120 s 130 W 9 easing
-300 300 s 110 W 9 in the pen
-2880 23:27: bottles filled and within reach, towel on the bars, mat under the bike
-2580 23:32: last visit to the toilet
-2220 23:38: heart-rate strap on, screen set so that it stays on
-1980 23:42: fan on; start riding, easily
-1200 23:55: spin-down, now that the trainer is warm; then zero offset, now that the meter is warm: stop pedalling, feet still
-420 0:08: the last hard effort is over: easy from here
-300 0:10: be in the pen
`,
	"club": `-1800 420 s 115 W 10 easy
-1380 300 s 170 W 11 steady
-1080 120 s 90 W 9 soft pedal
-960 360 s 230 W 13 firm
-600 120 s 115 W 10 easy
-480 30 s 285 W 15 short and hard
-450 60 s 115 W 10 easy
-390 30 s 285 W 15 short and hard
-360 360 s 105 W 9 easing
-2700 : bottles filled and within reach, towel on the bars, mat under the bike
-2400 : last visit to the toilet
-2040 : heart-rate strap on, screen set so that it stays on
-1800 : fan on; start riding, easily
-1080 : spin-down, now that the trainer is warm
-360 : the last hard effort is over: easy from here
`,
	"new": `-660 300 s 70 W 10 easy
-360 240 s 90 W 11 steady, in the pen
-120 120 s 60 W 9 easing, in the pen
-1560 : bottles filled and within reach, towel on the bars, mat under the bike
-1260 : last visit to the toilet
-900 : screen set so that it stays on
-660 : start riding, easily
-600 : be in the pen; the warm-up is ridden there
`,
	"junior": `-1980 390 s 95 W 10 easy
-1590 240 s 135 W 11 steady
-1350 120 s 75 W 9 soft pedal
-1230 300 s 185 W 13 firm
-930 30 s 85 W 9 easing
-900 900 s 75 W 9 in the pen
-2880 : bottles filled and within reach, towel on the bars, mat under the bike
-2580 : last visit to the toilet
-2220 : screen set so that it stays on
-1980 : start riding, easily
-1350 : zero offset, now that the meter is warm: stop pedalling, feet still
-930 : the last hard effort is over: easy from here
-900 : be in the pen
`,
}

// Four starts step by step, read through and found sensible.
func TestFourStarts(t *testing.T) {
	for name, q := range riders() {
		if got := sheet(plan(t, q)); got != goldens[name] {
			t.Errorf("%s:\n%swant\n%s", name, got, goldens[name])
		}
	}
}

func TestWhyOfFourStarts(t *testing.T) {
	for name, want := range map[string]string{
		"racer":  "A rising 33 minutes: firm ones to wake the legs, then three short hard efforts, over 7 min before the gun so that W′ is back.",
		"club":   "A rising 30 minutes: firm ones to wake the legs, then two short hard efforts, over 6 min before the gun so that W′ is back.",
		"new":    "11 gentle minutes are enough: nothing in them is hard, and you should reach the start fresh.",
		"junior": "A rising 18 minutes with 5 min of firm riding below critical power, over 15:30 min before the gun.",
	} {
		if got := plan(t, riders()[name]).Why; got != want {
			t.Errorf("%s: %s", name, got)
		}
	}
}

// What is held back is said, with its reason.
func TestHeldBack(t *testing.T) {
	for want, change := range map[string]func(*session.Request){
		"under 18":               func(q *session.Request) { q.Age = 17 },
		"no health screening":    func(q *session.Request) { q.Screened = false },
		"new to this":            func(q *session.Request) { q.Level = capacity.New },
		"level is not known":     func(q *session.Request) { q.Level = capacity.LevelUnknown },
		"rig does not go there":  func(q *session.Request) { q.Rig.CeilingW = 300 },
		"might not be back":      func(q *session.Request) { q.Recovery.SpeedMedian = 90 },
		"does not go below 150 ": func(q *session.Request) { q.Rig.FloorW = 150 },
	} {
		q := riders()["racer"]
		change(&q)
		w := plan(t, q)
		if !strings.Contains(strings.Join(w.Lines, " "), want) {
			t.Errorf("%s: %q", want, w.Lines)
		}
	}
}

// A critical power hardly known keeps the firm minutes below the one the rider
// has with 90 % probability.
func TestFirmBelowADoubtfulThreshold(t *testing.T) {
	q := riders()["racer"]
	q.Screened = false
	q.Capacity.Exact = false
	q.Capacity.Sigma[0][0] = 0.15 * 320
	for _, s := range plan(t, q).Steps {
		if s.Watts > 320-1.2815*48 {
			t.Errorf("%s at %.0f W, critical power 320 ± 48 W", s.Name, s.Watts)
		}
	}
}

// Long rides need less, and what is left no longer counts as heavy; what a
// group ride gains in time nobody measured.
func TestLongAndGroupRides(t *testing.T) {
	q := riders()["racer"]
	if w := plan(t, q); w.Prior != session.Heavy || w.Gain.Mean <= 0 {
		t.Errorf("three quarters of an hour: prior %d, gain %+v", w.Prior, w.Gain)
	}
	q.RideS = 3 * 3600
	if w := plan(t, q); w.Prior != session.Moderate {
		t.Errorf("three hours: prior %d", w.Prior)
	}
	q.Kind = session.GroupRide
	if w := plan(t, q); w.Gain.Mean != 0 || w.Gain.SD != 0 || w.Gain.Origin == "" {
		t.Errorf("group ride: gain %+v", w.Gain)
	}
}

// random is a request of any kind; most are plausible, all are in range.
func random(r *rand.Rand) session.Request {
	cp := 60 + 380*r.Float64()
	c := capacity.Capacity{CriticalPower: cp, WPrime: 4000 + 26000*r.Float64(), MaxPower: cp * (2 + 3*r.Float64())}
	c.Sigma[0][0] = cp * 0.15 * r.Float64()
	q := session.Request{
		Kind: session.Kind(r.IntN(5)), Pen: session.Pen(r.IntN(3)), Level: capacity.Level(r.IntN(5)),
		Screened: r.IntN(2) == 0, Capacity: c, Recovery: recovery(capacity.Recovery(r.IntN(3))),
		RideS: math.Exp(5.5 + 4.5*r.Float64()),
		Rig:   session.Rig{PowerMeter: r.IntN(2) == 0, Controllable: r.IntN(2) == 0, Rollers: r.IntN(3) == 0, Fan: r.IntN(2) == 0, HeartStrap: r.IntN(2) == 0},
	}
	if r.IntN(4) > 0 {
		q.PenS = 30 * math.Round(60*r.Float64()*r.Float64())
	}
	if r.IntN(2) == 0 {
		q.HasClock, q.StartClock = true, r.IntN(1440)
	}
	if r.IntN(4) > 0 {
		q.Age = 12 + 60*r.Float64()
	}
	if r.IntN(2) == 0 {
		q.FirstWatts, q.FirstS = cp*(0.6+0.9*r.Float64()), 20+300*r.Float64()
	}
	if r.IntN(2) == 0 {
		q.Rig.FloorW, q.Rig.CeilingW = cp*0.5*r.Float64(), cp*(0.9+r.Float64())
	}
	return q
}

func TestEveryWarmUpKeepsTheRules(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	primed, hard := 0, 0
	for i := range 4000 {
		q := random(r)
		w, err := session.PlanWarmUp(q)
		if err != nil {
			t.Fatalf("%d: %v: %+v", i, err, q)
		}
		if fault := firstFault(q, w); fault != "" {
			t.Fatalf("%d: %s\n%+v\n%s", i, fault, q, sheet(w))
		}
		if w.LastHardS > 0 {
			hard++
		}
		if w.BalanceAtGun < 1 {
			primed++
		}
	}
	if hard < 1000 || primed < 300 {
		t.Errorf("only %d of 4000 have a hard effort and %d one above critical power: the rules were hardly tried", hard, primed)
	}
}

// firstFault is the first rule that a warm-up breaks.
func firstFault(q session.Request, w session.WarmUp) string {
	at, waiting, lastHard, most := w.Steps[0].StartS, 0.0, 0.0, 0.0
	cp := q.Capacity.CriticalPower
	for _, s := range w.Steps {
		if math.Abs(s.StartS-at) > 1e-9 || s.DurationS <= 0 {
			return "a gap or an empty step at " + s.Name
		}
		at = s.StartS + s.DurationS
		if still := q.Pen == session.PenStill && s.StartS >= -q.PenS && q.PenS > 0; still != (s.Watts == 0) {
			return "rests outside the pen or rides in it: " + s.Name
		}
		if s.Watts > 0 && (s.Watts < q.Rig.FloorW || q.Rig.CeilingW > 0 && s.Watts > q.Rig.CeilingW || math.Mod(s.Watts, 5) != 0) {
			return "watts outside the rig or not in steps of 5"
		}
		if strings.HasPrefix(s.Name, "firm") || strings.HasPrefix(s.Name, "short") {
			lastHard = -at
		}
		if inPen := q.PenS > 0 && s.StartS >= -q.PenS; inPen != strings.Contains(s.Name, "in the pen") {
			return "says wrongly whether it is in the pen: " + s.Name
		}
		if s.StartS >= -q.PenS && q.Pen != session.PenFree {
			waiting += s.DurationS
			if s.Watts > math.Max(0.4*cp, q.Rig.FloorW+5) {
				return "hard in a pen where only easy pedalling is possible"
			}
		}
		most = math.Max(most, s.Watts)
	}
	length := -w.Steps[0].StartS
	careful := q.Level == capacity.New || q.Level == capacity.LevelUnknown || !q.Screened || q.Age > 0 && q.Age < 18
	switch {
	case math.Abs(at) > 1e-9:
		return "does not end at the gun"
	case math.Abs(waiting-min(q.PenS, length)) > 1e-9 && q.Pen != session.PenFree:
		return "does not wait in the pen"
	case careful && most > cp:
		return "above critical power for a rider who must not"
	case q.Level == capacity.New && (lastHard > 0 || most > 0.75*cp):
		return "hard for a new rider"
	case most > 1.2*cp+2.5:
		return "far above critical power"
	case lastHard != w.LastHardS:
		return fmt.Sprintf("last hard effort ends %g s before the gun, not %g", lastHard, w.LastHardS)
	case lastHard > 0 && lastHard < 300:
		return "hard too late"
	case lastHard > 480 && (q.Pen == session.PenFree || q.PenS <= 480):
		return "hard too early"
	case lastHard > 480 && lastHard != q.PenS+30:
		return "hard effort not just before the pen"
	case w.BalanceSlow < 0.95 || w.BalanceAtGun < w.BalanceSlow-1e-9 || w.BalanceAtGun > 1+1e-12:
		return fmt.Sprintf("balance %g, slow %g", w.BalanceAtGun, w.BalanceSlow)
	case length > 35*60 && length-waiting > 35*60-480+60 || length < 8*60:
		return fmt.Sprintf("%g s long, %g of them waiting", length, waiting)
	}
	return timelineFault(q, w)
}

// timelineFault is the first rule that a timeline or a cool-down breaks.
func timelineFault(q session.Request, w session.WarmUp) string {
	zero, spin, pen, seen := false, false, q.PenS == 0, math.Inf(-1)
	for i, m := range w.Timeline {
		if i < 3 && m.AtS > math.Min(w.Steps[0].StartS, -q.PenS)-120 {
			return "in the saddle or in the pen before things are ready"
		}
		if second := (q.StartClock+2*1440)*60 + int(m.AtS); q.HasClock && m.Clock != fmt.Sprintf("%d:%02d", second/3600%24, second/60%60) {
			return fmt.Sprintf("clock %s at %g s before minute %d", m.Clock, m.AtS, q.StartClock)
		}
		if m.AtS < seen || m.AtS >= 0 || (m.Clock != "") != q.HasClock {
			return "timeline out of order"
		}
		seen = m.AtS
		if strings.Contains(m.What, "zero offset") || strings.Contains(m.What, "spin-down") {
			zero, spin = strings.Contains(m.What, "zero offset"), strings.Contains(m.What, "spin-down")
			if m.AtS < w.Steps[0].StartS+600 || m.AtS > -w.LastHardS {
				return "zero offset while cold or after the hard efforts"
			}
			for _, s := range w.Steps {
				if s.StartS < m.AtS && s.Watts > 0.75*q.Capacity.CriticalPower {
					return "hard effort before the zero offset"
				}
				if s.StartS == m.AtS && !strings.HasPrefix(s.Name, "soft pedal") {
					return "no soft pedalling for the zero offset"
				}
			}
		}
		pen = pen || strings.HasPrefix(m.What, "be in the pen") && m.AtS == -q.PenS
		if strings.Contains(m.What, "fan") && !q.Rig.Fan || strings.Contains(m.What, "strap") && !q.Rig.HeartStrap {
			return "something this rig does not have: " + m.What
		}
	}
	cool := 0.0
	for _, s := range w.CoolDown {
		if s.StartS != cool || s.Watts > math.Max(0.5*q.Capacity.CriticalPower, q.Rig.FloorW+5) {
			return "cool-down"
		}
		cool += s.DurationS
	}
	switch {
	case !pen:
		return "nobody says when to be in the pen"
	case zero != q.Rig.PowerMeter || spin != (q.Rig.Controllable && !q.Rig.Rollers):
		return "zero offset or spin-down does not fit the rig"
	case cool < 300 || cool > 900:
		return "cool-down too short or long"
	case w.Why == "" || len(w.Lines) == 0:
		return "no words"
	}
	return ""
}

// A shorter and harder event gets a longer warm-up, a gentler rider a shorter.
func TestWhoGetsMore(t *testing.T) {
	length := func(change func(*session.Request)) float64 {
		q := riders()["racer"]
		q.PenS = 0
		change(&q)
		return -plan(t, q).Steps[0].StartS
	}
	racer := length(func(*session.Request) {})
	for name, shorter := range map[string]float64{
		"long group ride": length(func(q *session.Request) { q.Kind, q.RideS, q.FirstWatts = session.GroupRide, 3*3600, 150 }),
		"new":             length(func(q *session.Request) { q.Level = capacity.New }),
		"club":            length(func(q *session.Request) { q.Level = capacity.Club }),
		"not screened":    length(func(q *session.Request) { q.Screened = false }),
		"private, easy":   length(func(q *session.Request) { q.Kind, q.FirstWatts = session.Private, 200 }),
		"long mass start": length(func(q *session.Request) { q.RideS, q.FirstWatts = 3*3600, 250 }),
	} {
		if shorter >= racer {
			t.Errorf("%s: %g s, the racer %g", name, shorter, racer)
		}
	}
}

// The pen: ridden in if it can be, else the hard effort comes before it and
// the sheet says so and what it costs.
func TestLongPen(t *testing.T) {
	q := riders()["club"]
	q.PenS = 900
	free := plan(t, q)
	q.Pen = session.PenStill
	still := plan(t, q)
	if free.LastHardS > 480 || still.LastHardS != 930 {
		t.Errorf("last hard effort %g and %g s before the gun", free.LastHardS, still.LastHardS)
	}
	if !strings.Contains(strings.Join(free.Lines, " "), "ride the hard part of the warm-up there") ||
		!strings.Contains(strings.Join(still.Lines, " "), "instead of five to eight") {
		t.Errorf("nothing said of the pen: %q %q", free.Lines, still.Lines)
	}
	q.PenS = 3300
	cold := plan(t, q)
	if !strings.Contains(strings.Join(cold.Lines, " "), "that wait costs about 2.") || cold.Gain.Mean > 0.5*free.Gain.Mean {
		t.Errorf("55 min in the pen: %q, gain %+v against %+v", cold.Lines, cold.Gain, free.Gain)
	}
}

func TestParseKind(t *testing.T) {
	for _, k := range []session.Kind{session.Private, session.TimeTrial, session.MassStart, session.Handicap, session.GroupRide} {
		if got, ok := session.ParseKind(" " + strings.ToUpper(k.String())); !ok || got != k {
			t.Errorf("%s is read as %s, %v", k, got, ok)
		}
	}
	if k, ok := session.ParseKind(""); !ok || k != session.Private {
		t.Error("nothing is no private ride")
	}
	if _, ok := session.ParseKind("relay"); ok {
		t.Error("an unknown kind is read")
	}
}

func TestRequestsThatCannotBeMet(t *testing.T) {
	for want, change := range map[string]func(*session.Request){
		"critical power": func(q *session.Request) { q.Capacity.CriticalPower = math.NaN() },
		"W′":             func(q *session.Request) { q.Capacity.WPrime = 0 },
		"maximal power":  func(q *session.Request) { q.Capacity.MaxPower = 100 },
		"pen":            func(q *session.Request) { q.PenS = 3601 },
		"duration":       func(q *session.Request) { q.RideS = 0 },
		"cannot go":      func(q *session.Request) { q.Rig.FloorW = 250 },
		"no power":       func(q *session.Request) { q.Rig.FloorW, q.Rig.CeilingW = 52, 54 },
		"clock":          func(q *session.Request) { q.StartClock = 1440 },
		"spread":         func(q *session.Request) { q.Recovery.SpeedLogSD = math.Inf(1) },
	} {
		q := riders()["racer"]
		change(&q)
		if _, err := session.PlanWarmUp(q); err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%s: %v", want, err)
		}
	}
}
