package capacity

// The health screening: who may be asked for hard efforts.

// MaybeMinor tells whether somebody of an age (years, 0 unknown) may be under
// 18. Ages go by the year of birth alone: whoever turns 18 this year may still
// be 17.
func MaybeMinor(age float64) bool { return age > 0 && age <= 18 }

// Answer to a question of the screening.
type Answer int

const (
	NotAnswered Answer = iota
	No
	Yes
)

// Screening is what a rider answered before hard exercise.
type Screening struct {
	ChestPain, Faintness, Palpitations Answer
	Breathlessness                     Answer // more than the effort explains
	Disease                            Answer // of heart, kidneys or metabolism, known
	Ill                                Answer // now: fever, infection, not yet over one
	LowersHeartRate                    Answer // a medicine that does
	Pregnant                           Answer
	ToldNotTo                          Answer // by a doctor: not to exercise hard
	Active                             Answer // exercises on three days a week or more, for three months
	ClearedByDoctor                    Answer // for hard exercise, knowing all this
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
func (s Screening) Outcome() Screened {
	symptoms := anyYes(s.ChestPain, s.Faintness, s.Palpitations, s.Breathlessness)
	cleared := s.ClearedByDoctor == Yes
	out := Screened{HeartRateOff: s.LowersHeartRate == Yes}
	say := func(sentence string) { out.Cautions = append(out.Cautions, sentence) }
	if s.ToldNotTo == Yes {
		out.EasyOnly = true
		say("A doctor advised you against hard exercise: that stands until the doctor says otherwise.")
	}
	if symptoms && !cleared {
		out.EasyOnly = true
		say("Chest pain, faintness, palpitations or unusual breathlessness: see a doctor before you ride hard. If one of them comes while riding, stop and get help.")
	}
	if s.Ill == Yes {
		out.EasyOnly = true
		say("You are ill: rest until you are well, then begin easily. No hard efforts and no tests.")
	}
	if s.Pregnant == Yes {
		out.EasyOnly = true
		say("Pregnant: ask whoever looks after you what is right for you. No hard efforts and no maximal tests here, keep cool, drink, and stop at any warning sign.")
	}
	if s.Disease == Yes && !cleared {
		out.EasyOnly = true
		say("A known disease of heart, kidneys or metabolism: ask a doctor before you ride hard.")
	}
	if s.LowersHeartRate == Yes {
		say("Your medicine lowers the heart rate, so heart rates are not used here; go by feel.")
		if !cleared {
			say("Ask the doctor who gave you that medicine before you ride hard.")
		}
	}
	if !out.EasyOnly && s.Active == No {
		say("You are not used to regular exercise: some weeks of easy rides come before hard ones.")
	}
	out.Passed = !out.EasyOnly && s.Active != No && (cleared || s.nothingFound())
	if !out.Passed && len(out.Cautions) == 0 {
		say("The health questions are not all answered: until they are, no maximal test is suggested.")
	}
	return out
}

// nothingFound tells whether everything a doctor would have to be asked about
// was answered with no.
func (s Screening) nothingFound() bool {
	for _, a := range []Answer{s.ChestPain, s.Faintness, s.Palpitations, s.Breathlessness, s.Disease, s.Ill, s.LowersHeartRate, s.Pregnant, s.ToldNotTo} {
		if a != No {
			return false
		}
	}
	return true
}

func anyYes(answers ...Answer) bool {
	for _, a := range answers {
		if a == Yes {
			return true
		}
	}
	return false
}
