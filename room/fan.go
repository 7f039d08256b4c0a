package room

// FanKind is a fan as people name it.
type FanKind int

// The kinds of fan.
const (
	Desk       FanKind = iota // on a table, about 30 cm across
	Pedestal                  // on a stand, about 40 cm
	Floor                     // a high-velocity fan on the floor, about 45 cm
	Industrial                // a drum or barrel fan, about 60 cm and more
)

// FanSetting is how hard it blows.
type FanSetting int

// The settings of a fan.
const (
	Low FanSetting = iota
	Medium
	High
)

// Fan is a fan, or several of the same kind side by side, blowing at the
// rider's chest and face.
type Fan struct {
	Count    int     // at least 1
	Kind     FanKind //
	Distance float64 // m from fan to rider
	Setting  FanSetting
}

// ParseFan reads a sentence such as "one pedestal fan, a metre away, high".
func ParseFan(sentence string) ([]Fan, error) { return nil, nil }
