package capacity

import (
	"fmt"
	"slices"
)

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
	Kind            Kind    `json:"kind"`
	Duration        float64 `json:"duration_s,omitempty"`     // s; of a test, best or hill; how long an easy load was held
	Watts           float64 `json:"watts,omitempty"`          // W, displayed by Source; not of a hill
	HeartRate       float64 `json:"heart_rate_bpm,omitempty"` // bpm, at the end of an easy load
	Length          float64 `json:"length_m,omitempty"`       // m, of a hill
	Ascent          float64 `json:"ascent_m,omitempty"`       // m, of a hill
	BikeMass        float64 `json:"bike_mass_kg,omitempty"`   // kg, on the hill; 0 unknown
	RiderMass       float64 `json:"mass_kg,omitempty"`        // kg, on the hill; 0: as the rider's
	DragArea        float64 `json:"cda_m2,omitempty"`         // m², on the hill; 0 unknown
	Harder          Harder  `json:"harder,omitempty"`
	From            string  `json:"from,omitempty"`             // of a threshold: where it comes from, free words
	Date            string  `json:"date,omitempty"`             // ISO 8601; empty if not known
	Age             float64 `json:"-"`                          // days from Date to the ride; read only if Date is known
	Source          string  `json:"source,omitempty"`           // name of the power source; may be empty
	Where           string  `json:"where,omitempty"`            // "indoor", "outdoor"; empty if not known
	AccuracyPercent float64 `json:"accuracy_percent,omitempty"` // sd of the source's scale; 0 unknown
}

// kindWords and harderWords are the words of files (docs/formats.md).
var kindWords, harderWords = []string{"test", "threshold", "best", "hill", "heart_rate", "talk", "ride"}, []string{"", "no", "little", "much"}

// MarshalText is the word for the kind.
func (k Kind) MarshalText() ([]byte, error) { return wordOf(kindWords, int(k)) }

// UnmarshalText reads the word for a kind.
func (k *Kind) UnmarshalText(b []byte) (err error) { return readWord((*int)(k), kindWords, b) }

// MarshalText is the answer's word; empty if there is none.
func (h Harder) MarshalText() ([]byte, error) { return wordOf(harderWords, int(h)) }

// UnmarshalText reads the word for an answer.
func (h *Harder) UnmarshalText(b []byte) (err error) { return readWord((*int)(h), harderWords, b) }

func wordOf(words []string, i int) ([]byte, error) {
	if i < 0 || i >= len(words) {
		return nil, fmt.Errorf("there is no word for %d", i)
	}
	return []byte(words[i]), nil
}

func readWord(to *int, words []string, b []byte) error {
	i := slices.Index(words, string(b))
	if i < 0 {
		return fmt.Errorf("found %.40q; expected one of %q", b, words)
	}
	*to = i
	return nil
}

// Source is the power source of the ride: what shows its watts.
type Source struct {
	Name string
	SD   float64 // fraction, sd of its scale
}
