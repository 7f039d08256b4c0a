package bunch

import "math"

// How far ahead of its last report a rider is reckoned, and how fast an
// acceleration dies out meanwhile. Our judgement: after some seconds nobody
// knows what legs and road did.
const (
	ReckonS   = 15.0
	accelDies = 2.0 // s
)

// Reckon is where somebody is at an instant (µs of the host's clock) who was
// at s: place, and speed in m/s. With v and a at the report and τ = 2 s,
//
//	x(t) = x₀ + v·t + a·τ·(t − τ·(1−e^(−t/τ)))
//
// no further than 15 s, never backwards, and at rest once the speed would turn.
// Before the report it goes back in a straight line by at most a second.
func Reckon(s Sample, atUS int64) (m, speed float64) {
	if s.Stage != Riding {
		return s.M, 0
	}
	t := math.Min(ReckonS, float64(atUS-s.AtUS)/1e6)
	if t <= 0 {
		return math.Max(0, s.M+s.SpeedMS*math.Max(-1, t)), s.SpeedMS
	}
	gain := s.AccelMS2 * accelDies // m/s in the end
	if s.SpeedMS+gain*-math.Expm1(-t/accelDies) < 0 {
		t = -accelDies * math.Log1p(s.SpeedMS/gain) // when it comes to rest
		return s.M + s.SpeedMS*t + gain*(t+accelDies*math.Expm1(-t/accelDies)), 0
	}
	died := -math.Expm1(-t / accelDies)
	return s.M + s.SpeedMS*t + gain*(t-accelDies*died), s.SpeedMS + gain*died
}
