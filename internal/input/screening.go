package input

import "chainline/capacity"

// ScreeningFile is a health screening as the rider answered it.
type ScreeningFile struct {
	Date string // ISO 8601, of the answers
	capacity.Screening
}

var noYes = []string{"no", "yes"}

var screeningFields = []field{
	{key: "date", form: date, needed: true},
	{key: "chest_pain", form: word, words: noYes},
	{key: "faintness", form: word, words: noYes},
	{key: "palpitations", form: word, words: noYes},
	{key: "unusual_breathlessness", form: word, words: noYes},
	{key: "heart_kidney_or_metabolic_disease", form: word, words: noYes},
	{key: "ill_now", form: word, words: noYes},
	{key: "medicine_lowers_heart_rate", form: word, words: noYes},
	{key: "pregnant", form: word, words: noYes},
	{key: "told_not_to", form: word, words: noYes},
	{key: "active", form: word, words: noYes},
	{key: "cleared_by_doctor", form: word, words: noYes},
}

func readScreening(o object) ScreeningFile {
	answer := func(key string) capacity.Answer {
		return map[string]capacity.Answer{"no": capacity.No, "yes": capacity.Yes}[o.word(key)]
	}
	return ScreeningFile{
		Date: o.date("date"),
		Screening: capacity.Screening{
			ChestPain:       answer("chest_pain"),
			Faintness:       answer("faintness"),
			Palpitations:    answer("palpitations"),
			Breathlessness:  answer("unusual_breathlessness"),
			Disease:         answer("heart_kidney_or_metabolic_disease"),
			Ill:             answer("ill_now"),
			LowersHeartRate: answer("medicine_lowers_heart_rate"),
			Pregnant:        answer("pregnant"),
			ToldNotTo:       answer("told_not_to"),
			Active:          answer("active"),
			ClearedByDoctor: answer("cleared_by_doctor"),
		}}
}

// screen reads the screening, which has the last word on what screened and
// heart_rate say.
func (rider *RiderFile) screen(o object) {
	c, ok := o.child("screening", screeningFields)
	if !ok {
		return
	}
	s := readScreening(c)
	if rider.Sex == "male" && s.Pregnant == capacity.NotAnswered {
		s.Pregnant = capacity.No
	}
	out := s.Outcome()
	rider.Screening, rider.Cautions, rider.EasyOnly = Some(s), out.Cautions, out.EasyOnly
	rider.HeartRateOff = rider.HeartRateOff || out.HeartRateOff
	rider.Screened = ""
	if out.Passed {
		rider.Screened = s.Date
	}
}
