package ride

// setWheel tells the hub how far a turn of this rig's wheel goes, so that a
// sensor that counts turns has a speed. A sensor may have been on another rig
// before: this ride's rig counts.
func (c *Core) setWheel(device string) {
	if c.setup.Rig.Circumference <= 0 {
		return
	}
	for _, s := range c.hub.Settings() {
		if s.Device == device && s.Circumference != c.setup.Rig.Circumference {
			s.Circumference = c.setup.Rig.Circumference
			c.hub.Configure(s)
		}
	}
}
