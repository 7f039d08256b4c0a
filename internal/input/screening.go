package input

// ScreeningFile is a health screening for hard exercise as the rider answered
// it. What is not known was not answered.
type ScreeningFile struct {
	Date            string // ISO 8601, of the answers
	ChestPain       Optional[bool]
	Faintness       Optional[bool]
	Palpitations    Optional[bool]
	Breathlessness  Optional[bool] // more than the effort explains
	Disease         Optional[bool] // of heart, kidneys or metabolism, known
	Ill             Optional[bool] // now: fever, infection, not yet over one
	LowersHeartRate Optional[bool] // a medicine that does
	Pregnant        Optional[bool]
	ToldNotTo       Optional[bool] // by a doctor: not to exercise hard
	Active          Optional[bool] // exercises on three days a week or more, for three months
	ClearedByDoctor Optional[bool] // for hard exercise, knowing all this
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
	answer := func(key string) Optional[bool] {
		word := o.word(key)
		return Optional[bool]{Value: word == "yes", Known: word != ""}
	}
	return ScreeningFile{
		Date:            o.date("date"),
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
	}
}

// Screened is what follows from a screening.
type Screened struct {
	Passed       bool     // hard efforts and maximal tests may be suggested
	HeartRateOff bool     // heart rates mean nothing
	EasyOnly     bool     // neither maximal tests nor hard efforts for now
	Cautions     []string // sentences for the rider
}

// Outcome is what a screening allows. It follows Riebe et al. 2015 (Med Sci
// Sports Exerc 47:2473, abstract only), who screen by three things: how active
// somebody is, signs or symptoms or known cardiovascular, metabolic or renal
// disease, and how hard the exercise is meant to be; those with symptoms or
// disease need a doctor's clearance before, and inactive people begin lightly.
// What it is screened for here is hard: races and maximal tests. Our judgement,
// and the more careful way each time: a question not answered counts as not
// passed; a medicine that lowers the heart rate asks for the doctor's clearance
// too; a doctor's advice against it, illness and pregnancy are not outweighed
// by a clearance. It is no medical advice and replaces no doctor.
func (s ScreeningFile) Outcome() Screened {
	symptoms := anyYes(s.ChestPain, s.Faintness, s.Palpitations, s.Breathlessness)
	cleared := s.ClearedByDoctor.Value
	out := Screened{HeartRateOff: s.LowersHeartRate.Value}
	say := func(sentence string) { out.Cautions = append(out.Cautions, sentence) }
	if s.ToldNotTo.Value {
		out.EasyOnly = true
		say("A doctor advised you against hard exercise: that stands until the doctor says otherwise.")
	}
	if symptoms && !cleared {
		out.EasyOnly = true
		say("Chest pain, faintness, palpitations or unusual breathlessness: see a doctor before you ride hard. If one of them comes while riding, stop and get help.")
	}
	if s.Ill.Value {
		out.EasyOnly = true
		say("You are ill: rest until you are well, then begin easily. No hard efforts and no tests.")
	}
	if s.Pregnant.Value {
		out.EasyOnly = true
		say("Pregnant: ask whoever looks after you what is right for you. No hard efforts and no maximal tests here, keep cool, drink, and stop at any warning sign.")
	}
	if s.Disease.Value && !cleared {
		out.EasyOnly = true
		say("A known disease of heart, kidneys or metabolism: ask a doctor before you ride hard.")
	}
	if s.LowersHeartRate.Value {
		say("Your medicine lowers the heart rate, so heart rates are not used here; go by feel.")
		if !cleared {
			say("Ask the doctor who gave you that medicine before you ride hard.")
		}
	}
	if !out.EasyOnly && isNo(s.Active) {
		say("You are not used to regular exercise: some weeks of easy rides come before hard ones.")
	}
	out.Passed = !out.EasyOnly && !isNo(s.Active) && (cleared || s.nothingFound())
	if !out.Passed && len(out.Cautions) == 0 {
		say("The health questions are not all answered: until they are, no maximal test is suggested.")
	}
	return out
}

// nothingFound tells whether everything a doctor would have to be asked about
// was answered with no.
func (s ScreeningFile) nothingFound() bool {
	for _, a := range []Optional[bool]{s.ChestPain, s.Faintness, s.Palpitations, s.Breathlessness, s.Disease, s.Ill, s.LowersHeartRate, s.Pregnant, s.ToldNotTo} {
		if !isNo(a) {
			return false
		}
	}
	return true
}

func isNo(a Optional[bool]) bool { return a.Known && !a.Value }

func anyYes(answers ...Optional[bool]) bool {
	for _, a := range answers {
		if a.Value {
			return true
		}
	}
	return false
}

// screen reads the screening, which has the last word on what screened and
// heart_rate say.
func (rider *RiderFile) screen(o object) {
	c, ok := o.child("screening", screeningFields)
	if !ok {
		return
	}
	s := readScreening(c)
	if rider.Sex == "male" && !s.Pregnant.Known {
		s.Pregnant = Some(false)
	}
	out := s.Outcome()
	rider.Screening, rider.Cautions, rider.EasyOnly = Some(s), out.Cautions, out.EasyOnly
	rider.HeartRateOff = rider.HeartRateOff || out.HeartRateOff
	rider.Screened = ""
	if out.Passed {
		rider.Screened = s.Date
	}
}
