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
	Screened         string            // ISO 8601 date of a health screening for hard exercise that was passed; empty if none
	Screening        Optional[ScreeningFile]
	Cautions         []string       // what follows from the screening, in sentences
	EasyOnly         bool           // no hard efforts at all for now
	Acclimatised     Optional[bool] // used to riding in the heat
	Evidence         []EvidenceFile
	Weighed          []WeighingFile // before and after rides, for the sweat rate
	FirstRides       FirstRides
}

// FirstRides are the days, ISO 8601, on which a newcomer says to have ridden
// what no recording shows; empty: not said.
type FirstRides struct{ Easy, Test, Group string }

var firstRideFields = []field{{key: "easy", form: date}, {key: "test", form: date}, {key: "group", form: date}}

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
	{key: "screening", form: group, keys: screeningFields},
	{key: "acclimatised", form: word, words: []string{"yes", "no"}},
	{key: "evidence", form: list, keys: evidenceFields, most: maxEvidence},
	{key: "weighed", form: list, keys: weighedFields, most: maxWeighed},
	{key: "first_rides", form: group, keys: firstRideFields},
}

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
	rider.screen(o)
	if used := o.word("acclimatised"); used != "" {
		rider.Acclimatised = Some(used == "yes")
	}
	for i, n := range o.items("evidence", "what is known of the rider's power", 0, maxEvidence) {
		entry := f.open(n, o.entry("evidence", i), evidenceFields, "", nil)
		e := readEvidence(entry)
		entry.checkHeart(&e, rider)
		rider.Evidence = append(rider.Evidence, e)
	}
	for i, n := range o.items("weighed", "weighings before and after a ride", 0, maxWeighed) {
		rider.Weighed = append(rider.Weighed, readWeighing(f.open(n, o.entry("weighed", i), weighedFields, "", nil), rider.Mass))
	}
	if days, ok := o.child("first_rides", firstRideFields); ok {
		rider.FirstRides = FirstRides{days.date("easy"), days.date("test"), days.date("group")}
	}
	if f.err != nil {
		return RiderFile{}, f.err
	}
	return rider, nil
}
