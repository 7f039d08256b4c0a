package input

import "io"

// RiderFile is a rider file in SI units. Empty strings and unknown options
// are what the file leaves out.
type RiderFile struct {
	Name             string
	Mass             float64           // kg, body mass
	Height           Optional[float64] // m
	BirthYear        Optional[int]
	Sex              string            // "female", "male"
	Level            string            // "new", "regular", "club", "racer"
	MaxHeartRate     Optional[float64] // bpm, measured
	RestingHeartRate Optional[float64] // bpm, measured
	HeartRateOff     bool              // heart rate shall not be used at all
	Screened         string            // ISO 8601 date of a health screening for hard exercise; empty if none
	Evidence         []EvidenceFile
}

// EvidenceFile is one thing known about the rider.
type EvidenceFile struct {
	Kind            string            // "test", "threshold"
	Duration        float64           // s, of a test; 0 for a threshold
	Watts           float64           // mean displayed watts of a test; a threshold already factored
	From            string            // what a threshold was taken from, in free words
	Date            string            // ISO 8601
	Source          string            // name or kind of the power source
	Where           string            // "indoor", "outdoor"
	AccuracyPercent Optional[float64] // sd of that source's scale, %
	Line            int               // where it stands in the file
}

var riderFields = []field{
	{key: "name", form: text},
	{key: "mass_kg", unit: "kg", low: 20, high: 250, needed: true, hint: "Is it in pounds? 1 lb is 0.4536 kg."},
	{key: "height_cm", unit: "cm", low: 100, high: 230, hint: "Is it in metres or inches? 1 in is 2.54 cm."},
	{key: "birth_year", form: whole, low: 1900, high: 2020},
	{key: "sex", form: word, words: []string{"female", "male"}},
	{key: "level", form: word, words: []string{"new", "regular", "club", "racer"}},
	{key: "max_heart_rate_bpm", unit: "bpm", low: 100, high: 240},
	{key: "resting_heart_rate_bpm", unit: "bpm", low: 25, high: 120},
	{key: "heart_rate", form: word, words: []string{"on", "off"}},
	{key: "screened", form: date},
	{key: "evidence", form: list},
}

var evidenceFields = []field{
	{key: "kind", form: word, words: []string{"test", "threshold"}, needed: true},
	{key: "duration_s", unit: "s", low: 1, high: 36000, hint: "Is it in minutes? One minute is 60 s."},
	{key: "watts", unit: "W", low: 10, high: 3000, needed: true},
	{key: "from", form: text},
	{key: "date", form: date},
	{key: "source", form: text},
	{key: "where", form: word, words: []string{"indoor", "outdoor"}},
	{key: "accuracy_percent", unit: "%", low: 0.1, high: 30},
}

const maxEvidence = 200

// ReadRider reads a rider file; name is what its errors call it.
func ReadRider(name string, r io.Reader) (RiderFile, error) {
	f := &file{name: name}
	top := f.document(r)
	if f.err != nil {
		return RiderFile{}, f.err
	}
	o := f.open(top, "", riderFields, "", nil)
	rider := RiderFile{
		Name:             o.text("name"),
		Mass:             o.number("mass_kg").Value,
		Height:           o.scaled("height_cm", 0.01),
		BirthYear:        o.whole("birth_year"),
		Sex:              o.word("sex"),
		Level:            o.word("level"),
		MaxHeartRate:     o.number("max_heart_rate_bpm"),
		RestingHeartRate: o.number("resting_heart_rate_bpm"),
		HeartRateOff:     o.word("heart_rate") == "off",
		Screened:         o.date("screened"),
	}
	if rider.MaxHeartRate.Known && rider.RestingHeartRate.Known && rider.RestingHeartRate.Value >= rider.MaxHeartRate.Value {
		o.refuse("resting_heart_rate_bpm", "not below max_heart_rate_bpm", "a resting heart rate below the maximum", "")
	}
	for i, n := range o.items("evidence", "tests and thresholds", 0, maxEvidence) {
		rider.Evidence = append(rider.Evidence, readEvidence(f.open(n, o.entry("evidence", i), evidenceFields, "", nil)))
	}
	if f.err != nil {
		return RiderFile{}, f.err
	}
	return rider, nil
}

func readEvidence(o object) EvidenceFile {
	e := EvidenceFile{
		Kind:            o.word("kind"),
		Duration:        o.number("duration_s").Value,
		Watts:           o.number("watts").Value,
		From:            o.text("from"),
		Date:            o.date("date"),
		Source:          o.text("source"),
		Where:           o.word("where"),
		AccuracyPercent: o.number("accuracy_percent"),
		Line:            o.at.Line,
	}
	switch {
	case e.Kind == "test" && !o.has("duration_s"):
		o.f.fail(o.at, o.name("duration_s"), "missing", "how long the test lasted, "+o.fields["duration_s"].what(), "")
	case e.Kind == "test" && e.From != "":
		o.refuse("from", "only a threshold is taken from something", "no from with kind test", "")
	case e.Kind == "threshold" && o.has("duration_s"):
		o.refuse("duration_s", "a threshold has no duration", "from: what it was taken from, or kind: test", "")
	}
	return e
}
