package input

import (
	"fmt"
	"slices"
	"strings"

	"chainline/capacity"
)

// EvidenceFile is one thing known about the rider's power. What its kind has
// no use for is zero, empty or not known.
type EvidenceFile struct {
	Kind            string            // "test", "best", "ride", "threshold", "hill", "heart_rate", "talk"
	Duration        float64           // s, of a test or best, up a hill, or that an easy load was held; else 0
	Watts           float64           // mean displayed watts; a threshold already factored; 0 for a hill
	HeartRate       float64           // bpm at the end of an easy load; else 0
	Length          float64           // m of road up a hill; else 0
	Ascent          float64           // m up a hill; else 0
	BikeMass        Optional[float64] // kg, on the hill
	Mass            Optional[float64] // kg, of the rider on the hill
	CdA             Optional[float64] // m², on the hill
	Harder          string            // "no", "little", "much": could it have been harder
	From            string            // what a threshold was taken from, in free words
	Date            string            // ISO 8601
	Source          string            // name or kind of the power source
	Where           string            // "indoor", "outdoor"
	AccuracyPercent Optional[float64] // sd of that source's scale, %
	LeftOut         bool              // kept in the file, but not to be used
	Line            int               // where it stands in the file
}

var evidenceFields = []field{
	{key: "kind", form: word, words: []string{"test", "best", "ride", "threshold", "hill", "heart_rate", "talk"}, needed: true},
	{key: "duration_s", unit: "s", low: 1, high: 36000, hint: "Is it in minutes? One minute is 60 s."},
	{key: "watts", unit: "W", low: 10, high: 3000},
	{key: "heart_rate_bpm", unit: "bpm", low: 40, high: 230},
	{key: "length_m", unit: "m", low: 100, high: 100000, hint: "Is it in kilometres? 1 km is 1000 m."},
	{key: "ascent_m", unit: "m", low: 1, high: 5000, hint: "The ascent is what the road rises from bottom to top."},
	{key: "bike_mass_kg", unit: "kg", low: 3, high: 50, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "mass_kg", unit: "kg", low: 20, high: 250, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "cda_m2", unit: "m2", low: 0.05, high: 1.5},
	{key: "harder", form: word, words: []string{"no", "little", "much"}},
	{key: "from", form: text},
	{key: "date", form: date},
	{key: "source", form: text},
	{key: "where", form: word, words: []string{"indoor", "outdoor"}},
	{key: "accuracy_percent", unit: "%", low: 0.1, high: 30},
	{key: "use", form: word, words: []string{"yes", "no"}},
}

// need is a key that a kind of evidence cannot do without, in words.
type need struct{ key, what string }

// evidenceKinds says which keys belong to which kind of evidence, beside kind,
// date and use, which belong to all.
var evidenceKinds = map[string]struct {
	needs []need
	may   []string
}{
	"test": {[]need{{"duration_s", "how long the test lasted"}, {"watts", "its mean displayed watts"}},
		[]string{"harder", "source", "where", "accuracy_percent"}},
	"best": {[]need{{"duration_s", "over how long it was ridden"}, {"watts", "its mean displayed watts"}},
		[]string{"harder", "source", "where", "accuracy_percent"}},
	"ride": {[]need{{"duration_s", "over how long the ride came nearest to your limit"}, {"watts", "its mean displayed watts"}},
		[]string{"harder", "source", "where", "accuracy_percent"}},
	"threshold": {[]need{{"watts", "the threshold"}},
		[]string{"from", "source", "where", "accuracy_percent"}},
	"hill": {[]need{{"duration_s", "the time taken up the hill"}, {"length_m", "how long its road is"}, {"ascent_m", "how much it rises"}},
		[]string{"bike_mass_kg", "mass_kg", "cda_m2", "harder", "where"}},
	"heart_rate": {[]need{{"duration_s", "how long the load was held"}, {"watts", "the steady displayed watts"}, {"heart_rate_bpm", "the heart rate at its end"}},
		[]string{"source", "where", "accuracy_percent"}},
	"talk": {[]need{{"watts", "the displayed watts where speaking in sentences just stops being comfortable"}},
		[]string{"source", "where", "accuracy_percent"}},
}

// misplaced says more about keys that people put beside the wrong kind.
var misplaced = map[string]string{
	"threshold duration_s": "A threshold is not ridden over a duration; say what it was taken from: from: 20-minute test.",
	"test from":            "Only a threshold is taken from something; a test is its own watts and duration.",
	"hill watts":           "The time up the hill stands in for the watts; with a power meter it is kind: best.",
	"ride from":            "Only a threshold is taken from something; a ride is its own watts and duration.",
	"best from":            "Only a threshold is taken from something; a best is its own watts and duration.",
}

const maxEvidence = 200

func readEvidence(o object) EvidenceFile {
	kind := o.word("kind")
	if o.f.err == nil {
		o.fits(kind)
	}
	e := EvidenceFile{
		Kind:            kind,
		Duration:        o.number("duration_s").Value,
		Watts:           o.number("watts").Value,
		HeartRate:       o.number("heart_rate_bpm").Value,
		Length:          o.number("length_m").Value,
		Ascent:          o.number("ascent_m").Value,
		BikeMass:        o.number("bike_mass_kg"),
		Mass:            o.number("mass_kg"),
		CdA:             o.number("cda_m2"),
		Harder:          o.word("harder"),
		From:            o.text("from"),
		Date:            o.date("date"),
		Source:          o.text("source"),
		Where:           o.word("where"),
		AccuracyPercent: o.number("accuracy_percent"),
		LeftOut:         o.word("use") == "no",
		Line:            o.at.Line,
	}
	if kind == "hill" && o.f.err == nil {
		o.checkHill(e)
	}
	return e
}

// fits checks that the keys are those of the kind of evidence: none that does
// not belong to it, in file order, and none missing.
func (o object) fits(kind string) {
	known := evidenceKinds[kind]
	allowed := []string{"kind"}
	for _, n := range known.needs {
		allowed = append(allowed, n.key)
	}
	allowed = append(append(allowed, known.may...), "date", "use")
	for i := 0; i+1 < len(o.at.Content); i += 2 {
		key := o.at.Content[i].Value
		if o.has(key) && !slices.Contains(allowed, key) {
			o.f.fail(o.at.Content[i], o.name(key), "not a key of kind "+kind, "only "+strings.Join(allowed, ", "), misplaced[kind+" "+key])
			return
		}
	}
	for _, n := range known.needs {
		if f := o.fields[n.key]; o.has(n.key) {
			f.needed = true // so that no message offers 'unknown'
			o.fields[n.key] = f
			continue
		}
		at, wrong := o.at, "missing"
		if written := o.keys[n.key]; written != nil {
			at, wrong = written, "this one must be known"
		}
		o.f.fail(at, o.name(n.key), wrong, n.what+", "+o.fields[n.key].what(), "")
	}
}

// What a hill on a bicycle can be like: no steeper than the steepest paved
// streets, and no slower or faster than a bicycle is ridden. Our judgement.
const (
	steepestHill             = 0.35     // ascent over length
	slowestHill, fastestHill = 0.5, 25. // m/s
)

func (o object) checkHill(e EvidenceFile) {
	if gradient := e.Ascent / e.Length; gradient > steepestHill {
		o.refuse("ascent_m", fmt.Sprintf("%g m up in %g m of road is %.0f %%", e.Ascent, e.Length, 100*gradient),
			fmt.Sprintf("a hill of at most %.0f %%", 100*steepestHill), "The ascent is what the road rises, not the height of the top above the sea.")
		return
	}
	if speed := e.Length / e.Duration; speed < slowestHill || speed > fastestHill {
		hint := "The length is of the road from bottom to top, in metres; the time is in seconds."
		if speed > fastestHill {
			hint = "Is it in minutes? One minute is 60 s."
		}
		o.refuse("duration_s", fmt.Sprintf("%g m in %g s is %.1f km/h", e.Length, e.Duration, 3.6*speed),
			fmt.Sprintf("a time that makes %g to %g km/h", 3.6*slowestHill, 3.6*fastestHill), hint)
		return
	}
	if e.Where == "indoor" {
		o.refuse("where", "a known hill is climbed on the road", "outdoor, or kind: best with the watts displayed indoors", "")
	}
}

// checkHeart holds an easy heart rate against what the rider file says of the
// heart. Heart rates of before a medicine are kept, but not used with it.
func (o object) checkHeart(e *EvidenceFile, rider RiderFile) {
	if e.Kind == "heart_rate" && rider.Screening.Value.LowersHeartRate == capacity.Yes {
		e.LeftOut = true
	}
	switch {
	case e.Kind != "heart_rate" || e.LeftOut:
	case rider.HeartRateOff:
		o.refuse("kind", "heart_rate is off for this rider", "another kind of evidence, or heart_rate: on", "")
	case rider.MaxHeartRate.Known && e.HeartRate >= rider.MaxHeartRate.Value:
		o.refuse("heart_rate_bpm", fmt.Sprintf("%g is not below max_heart_rate_bpm, %g", e.HeartRate, rider.MaxHeartRate.Value),
			"the heart rate of an easy load, below the maximum", "")
	case rider.RestingHeartRate.Known && e.HeartRate <= rider.RestingHeartRate.Value:
		o.refuse("heart_rate_bpm", fmt.Sprintf("%g is not above resting_heart_rate_bpm, %g", e.HeartRate, rider.RestingHeartRate.Value),
			"the heart rate of an easy load, above that at rest", "")
	}
}
