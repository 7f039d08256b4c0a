package capacity

// Rider is a body and what is known about it.
type Rider struct {
	Name         string
	Mass         float64 // kg; 0 unknown
	Height       float64 // m; 0 unknown
	Age          float64 // years; 0 unknown
	Sex          Sex
	Level        Level
	MaxHeartRate float64 // bpm, measured; 0 unknown
	HeartRateOff bool    // the rider's heart rate is not to be used
	Screened     bool    // has been through a health screening for hard exercise
	Evidence     []Evidence
	Off          []TimeOff // stretches without riding, in the past or to today
}

// Kind of evidence.
type Kind int

const (
	// MaximalTest is a best mean power over a duration, ridden all out.
	MaximalTest Kind = iota
	// StatedThreshold is a threshold in watts, already factored.
	StatedThreshold
	// BestEffort is the best mean power over a duration in a ride: it may not
	// have been maximal.
	BestEffort
	// HillTime is the time taken up a known hill; no power was measured.
	HillTime
	// EasyHeartRate is the heart rate at one easy, steady load.
	EasyHeartRate
	// TalkTest is the power at which speaking in sentences just stops being
	// comfortable.
	TalkTest
	// RideEffort is the mean power over the duration of a ride that came
	// nearest to what was possible, with the answer given after it, if any.
	RideEffort
)

// Harder is the answer to 'could you have gone harder?'.
type Harder int

const (
	HarderUnknown Harder = iota
	HarderNo
	HarderLittle
	HarderMuch
)

// ParseHarder reads "no", "little", "much" or nothing.
func ParseHarder(s string) (Harder, bool) {
	switch s {
	case "":
		return HarderUnknown, true
	case "no":
		return HarderNo, true
	case "little":
		return HarderLittle, true
	case "much":
		return HarderMuch, true
	}
	return HarderUnknown, false
}

// Evidence is one thing known about a rider's capacity.
type Evidence struct {
	Kind            Kind
	Duration        float64 // s; of a test, best or hill; how long an easy load was held
	Watts           float64 // W, displayed by Source; not of a hill
	HeartRate       float64 // bpm, at the end of an easy load
	Length, Ascent  float64 // m, of a hill
	BikeMass        float64 // kg, on the hill; 0 unknown
	RiderMass       float64 // kg, on the hill; 0: as the rider's
	DragArea        float64 // m², on the hill; 0 unknown
	Harder          Harder
	From            string  // of a threshold: where it comes from, free words
	Date            string  // ISO 8601; empty if not known
	Age             float64 // days from Date to the ride; read only if Date is known
	Source          string  // name of the power source; may be empty
	Where           string  // "indoor", "outdoor"; empty if not known
	AccuracyPercent float64 // sd of the source's scale; 0 unknown
}

// Source is the power source of the ride: what shows its watts.
type Source struct {
	Name string
	SD   float64 // fraction, sd of its scale
}
