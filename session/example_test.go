package session_test

import (
	"fmt"
	"testing"

	"chainline/capacity"
	"chainline/session"
)

// recovery is the default form with the spread the observations call for.
func recovery() session.Recovery {
	median, sd := capacity.RecoverySpread(capacity.Differential)
	return session.Recovery{Form: capacity.Differential, SpeedMedian: median, SpeedLogSD: sd}
}

// riders are four invented starts.
func riders() map[string]session.Request {
	trainer := session.Rig{Controllable: true, Fan: true, HeartStrap: true, FloorW: 50, CeilingW: 1500}
	both := trainer
	both.PowerMeter = true
	return map[string]session.Request{
		"racer": {Kind: session.MassStart, PenS: 300, Level: capacity.Racer, Age: 31, Screened: true,
			Capacity: capacity.Fixed(320, 22000, 1200), Recovery: recovery(), Rig: both,
			RideS: 2700, FirstWatts: 380, FirstS: 180, HasClock: true, StartClock: 19*60 + 30},
		"club": {Kind: session.TimeTrial, Level: capacity.Club, Age: 44, Screened: true,
			Capacity: capacity.Fixed(260, 18000, 900), Recovery: recovery(), Rig: trainer, RideS: 1500},
		"new": {Kind: session.GroupRide, PenS: 600, Level: capacity.New, Age: 52,
			Capacity: capacity.Fixed(150, 12000, 600), Recovery: recovery(), Rig: session.Rig{Rollers: true}, RideS: 3600},
		"junior": {Kind: session.MassStart, PenS: 900, Pen: session.PenEasy, Level: capacity.Regular, Age: 16, Screened: true,
			Capacity: capacity.Fixed(210, 15000, 800), Recovery: recovery(), Rig: session.Rig{PowerMeter: true}, RideS: 2400, FirstWatts: 240, FirstS: 120},
	}
}

func TestPrint(t *testing.T) {
	for name, q := range riders() {
		w, err := session.PlanWarmUp(q)
		if err != nil {
			t.Fatal(err)
		}
		fmt.Println("==", name, w.BalanceAtGun, w.BalanceSlow, w.LastHardS, w.Gain)
		for _, s := range w.Steps {
			fmt.Printf("%7.0f %5.0f s %4.0f W  %2d %s\n", s.StartS, s.DurationS, s.Watts, s.Exertion, s.Name)
		}
		for _, m := range w.Timeline {
			fmt.Printf("  %7.0f %s %s\n", m.AtS, m.Clock, m.What)
		}
		fmt.Println(" ", w.CoolDown)
		fmt.Println(" ", w.Why)
		for _, l := range w.Lines {
			fmt.Println("   -", l)
		}
	}
}
