package recording

// Company is what riding in a live group did to a ride: shelter by riders near,
// and what its host gave.
type Company struct {
	Seconds   float64 `json:"seconds"`              // in the group, riding
	Shelter   float64 `json:"shelter"`              // mean share of own air drag left by riders near
	HelpedS   float64 `json:"helped_s,omitempty"`   // s with the host's help
	HelpShare float64 `json:"help_share,omitempty"` // mean share of air drag left by it, of these
	BroughtM  float64 `json:"brought_up_m,omitempty"`
}

// helped is the share of drag below which a second counts as helped: what is
// left while help fades in and out is not.
const helped = 0.99

// Company tells what a live group did to this ride; false: it was ridden alone,
// or on another program.
func (r *Recording) Company() (Company, bool) {
	shelter, there := r.Signal(Shelter, "")
	if !there || len(shelter.Values) == 0 {
		return Company{}, false
	}
	c := Company{Seconds: float64(len(shelter.Values))} // it is recorded once a second
	for _, v := range shelter.Values {
		c.Shelter += v
	}
	c.Shelter /= c.Seconds
	help, _ := r.Signal(Help, "")
	for _, v := range help.Values {
		if v < helped {
			c.HelpedS++
			c.HelpShare += v
		}
	}
	if c.HelpedS > 0 {
		c.HelpShare /= c.HelpedS
	}
	if brought, _ := r.Signal(Brought, ""); len(brought.Values) > 0 {
		c.BroughtM = brought.Values[len(brought.Values)-1]
	}
	return c, true
}
