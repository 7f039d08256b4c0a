package ride

import "time"

// SourceNow is what one source of watts said last, as displayed.
type SourceNow struct {
	Key    SourceKey
	Device string
	Watts  float64
	At     time.Time
}

// Sources are all that ever told watts in this ride, in the order they
// appeared.
func (c *Core) Sources() []SourceNow {
	out := make([]SourceNow, 0, len(c.power.list))
	for _, s := range c.power.list {
		out = append(out, SourceNow{s.key, s.device, s.watts, s.at})
	}
	return out
}
