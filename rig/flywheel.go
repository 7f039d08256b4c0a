package rig

// withoutFlywheel takes out of a trainer's watts what its flywheel took or
// gave: watts of the legs are those of the brake and M·v·dv/dt, with M found
// from how watts and speed waver together. Without a speed the watts stay as
// they are.
func withoutFlywheel(c, speed *track, ridden []window) *track {
	if speed == nil || len(speed.t) < 60 {
		return c
	}
	reach := max(1.3, 1.6*speed.every)
	kinetic := &track{every: c.every} // watts a kg of flywheel takes
	shown := &track{every: c.every}
	for i, t := range c.t {
		if slope, mean, ok := speed.slopeAbout(t-c.every/2, reach); ok && mean > 2 {
			kinetic.t, kinetic.v = append(kinetic.t, t), append(kinetic.v, mean*slope)
			shown.t, shown.v = append(shown.t, t), append(shown.v, c.v[i])
		}
	}
	sxx, sxy := 0.0, 0.0
	for i, t := range kinetic.t {
		x, n := kinetic.mean(t-flywheelSpan, t+flywheelSpan)
		y, _ := shown.mean(t-flywheelSpan, t+flywheelSpan)
		if n < 5 || !within(ridden, t) || shown.v[i] < 20 {
			continue
		}
		sxx += (kinetic.v[i] - x) * (kinetic.v[i] - x)
		sxy += (kinetic.v[i] - x) * (shown.v[i] - y)
	}
	if sxx == 0 {
		return c
	}
	mass := min(max(0, sxy/sxx), mostFlywheel)
	for i := range shown.v {
		shown.v[i] -= mass * kinetic.v[i]
	}
	shown.source = c.source
	return shown
}

const (
	mostFlywheel = 80.0 // kg at the tyre that are believed, our judgement: a rider on the road
	flywheelSpan = 4.0  // s to each side, against which watts and speed waver
)

// slopeAbout is the slope and mean of the readings within reach of an instant.
func (c *track) slopeAbout(at, reach float64) (slope, mean float64, ok bool) {
	i, j := c.slice(at-reach, at+reach)
	if j-i < 3 {
		return 0, 0, false
	}
	mt, n := 0.0, float64(j-i)
	for k := i; k < j; k++ {
		mt += c.t[k] / n
		mean += c.v[k] / n
	}
	var stt, stv float64
	for k := i; k < j; k++ {
		stt += (c.t[k] - mt) * (c.t[k] - mt)
		stv += (c.t[k] - mt) * (c.v[k] - mean)
	}
	return stv / stt, mean, stt > 0
}
