package input

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"chainline/internal/problem"
)

const allNo = "date: 2026-11-02, chest_pain: no, faintness: no, palpitations: no, unusual_breathlessness: no, heart_kidney_or_metabolic_disease: no, " +
	"ill_now: no, medicine_lowers_heart_rate: no, pregnant: no, told_not_to: no"

func screened(t *testing.T, before, answers string) RiderFile {
	t.Helper()
	r, err := ReadRider("r", strings.NewReader("mass_kg: 70\n"+before+"screening: {"+answers+"}\n"))
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// The rule of docs/formats.md, each question by itself.
func TestScreening(t *testing.T) {
	yes := func(key string) string { return strings.Replace(allNo, key+": no", key+": yes", 1) }
	const cleared = ", cleared_by_doctor: yes"
	for _, c := range []struct {
		what, before, answers        string
		passed, heartRateOff, easily bool
		caution                      string
	}{
		{"all no", "", allNo, true, false, false, ""},
		{"all no and active", "", allNo + ", active: yes", true, false, false, ""},
		{"not active", "", allNo + ", active: no", false, false, false, "easy rides come before hard ones"},
		{"not active, cleared", "", allNo + ", active: no" + cleared, false, false, false, "easy rides come before hard ones"},
		{"chest pain", "", yes("chest_pain"), false, false, true, "see a doctor"},
		{"faintness", "", yes("faintness"), false, false, true, "see a doctor"},
		{"palpitations", "", yes("palpitations"), false, false, true, "see a doctor"},
		{"breathless", "", yes("unusual_breathlessness"), false, false, true, "see a doctor"},
		{"chest pain, cleared", "", yes("chest_pain") + cleared, true, false, false, ""},
		{"disease", "", yes("heart_kidney_or_metabolic_disease"), false, false, true, "ask a doctor"},
		{"disease, cleared", "", yes("heart_kidney_or_metabolic_disease") + cleared, true, false, false, ""},
		{"ill", "", yes("ill_now"), false, false, true, "rest until you are well"},
		{"ill, cleared", "", yes("ill_now") + cleared, false, false, true, "rest until you are well"},
		{"pregnant", "", yes("pregnant") + cleared, false, false, true, "no maximal tests"},
		{"told not to", "", yes("told_not_to") + cleared, false, false, true, "until the doctor says otherwise"},
		{"medicine", "", yes("medicine_lowers_heart_rate"), false, true, false, "Ask the doctor"},
		{"medicine, cleared", "", yes("medicine_lowers_heart_rate") + cleared, true, true, false, "go by feel"},
		{"nothing answered", "", "date: 2026-11-02", false, false, false, "not all answered"},
		{"nothing answered, cleared", "", "date: 2026-11-02" + cleared, true, false, false, ""},
		{"one not answered", "", strings.Replace(allNo, "palpitations: no", "palpitations: unknown", 1), false, false, false, "not all answered"},
		{"a man is not asked whether he is pregnant", "sex: male\n", strings.Replace(allNo, "pregnant: no, ", "", 1), true, false, false, ""},
		{"a woman is", "sex: female\n", strings.Replace(allNo, "pregnant: no, ", "", 1), false, false, false, "not all answered"},
		{"the screening goes before a date", "screened: 2025-01-01\n", yes("ill_now"), false, false, true, "rest"},
		{"and before another date", "screened: 2025-01-01\n", allNo, true, false, false, ""},
	} {
		r := screened(t, c.before, c.answers)
		if (r.Screened == "2026-11-02") != c.passed || (r.Screened == "") == c.passed || r.HeartRateOff != c.heartRateOff || r.EasyOnly != c.easily {
			t.Errorf("%s: screened %q, heart rate off %v, easy only %v", c.what, r.Screened, r.HeartRateOff, r.EasyOnly)
		}
		said := strings.Join(r.Cautions, " ")
		if (said == "") != (c.caution == "") || !strings.Contains(said, c.caution) {
			t.Errorf("%s: cautions %q, want %q in them", c.what, said, c.caution)
		}
	}
}

// Heart rates of before a medicine stay in the file.
func TestMedicineLeavesHeartRatesOut(t *testing.T) {
	r := screened(t, "evidence:\n  - {kind: heart_rate, duration_s: 600, watts: 70, heart_rate_bpm: 120}\n  - {kind: talk, watts: 110}\n", "date: 2026-11-02, medicine_lowers_heart_rate: yes")
	if len(r.Evidence) != 2 || !r.Evidence[0].LeftOut || r.Evidence[1].LeftOut {
		t.Errorf("%+v", r.Evidence)
	}
}

func TestEvidenceLeftOut(t *testing.T) {
	r, err := ReadRider("r", strings.NewReader("mass_kg: 70\nheart_rate: off\nevidence:\n  - {kind: talk, watts: 110, use: no}\n  - {kind: talk, watts: 120, use: yes}\n"+
		"  - {kind: talk, watts: 120}\n  - {kind: heart_rate, duration_s: 600, watts: 70, heart_rate_bpm: 120, use: no}\n"))
	var out []bool
	for _, e := range r.Evidence {
		out = append(out, e.LeftOut)
	}
	if err != nil || !reflect.DeepEqual(out, []bool{true, false, false, true}) {
		t.Errorf("%v, %v", out, err)
	}
}

// An error about a field carries its path; one about the file has none.
func TestErrorsCarryThePath(t *testing.T) {
	for text, want := range map[string]string{
		"mass_kg: 70\nevidence:\n  - {kind: talk, watts: 110}\n  - {kind: talk, watts: 1}\n": "evidence[2].watts",
		"mass_kg: 700\n": "mass_kg", "name: Jo\n": "mass_kg", "": "", "mass_kg: [\n": "", "mass_kg: 70\nscreening: {date: x}\n": "screening.date",
	} {
		_, err := ReadRider("r", strings.NewReader(text))
		e, ok := errors.AsType[*problem.Error](err)
		if !ok || e.Path != want {
			t.Errorf("%q: %v has the path %q, want %q", text, err, e.Path, want)
		}
	}
}

var brokenScreenings = []brokenInput{
	{"rider", "mass_kg: 70\nscreening: {chest_pain: no}\n",
		"f:2:12: screening.date: missing; expected a date like 2026-10-31", ""},
	{"rider", "mass_kg: 70\nscreening: {date: 2026-11-02, chest_pain: sometimes}\n",
		"f:2:43: screening.chest_pain: found \"sometimes\"; expected one of no, yes, or unknown", ""},
	{"rider", "mass_kg: 70\nscreening: {date: 2026-11-02, fever: no}\n",
		"f:2:31: screening.fever: unknown key; expected one of date, chest_pain, faintness, palpitations, unusual_breathlessness, heart_kidney_or_metabolic_disease, ill_now, medicine_lowers_heart_rate, pregnant, told_not_to, active, cleared_by_doctor", "docs/formats.md lists every key."},
	{"rider", "mass_kg: 70\nscreening: 2026-11-02\n",
		"f:2:12: screening: found \"2026-11-02\"; expected keys with values: date, chest_pain, faintness, palpitations, unusual_breathlessness, heart_kidney_or_metabolic_disease, ill_now, medicine_lowers_heart_rate, pregnant, told_not_to, active, cleared_by_doctor", ""},
	{"rider", "mass_kg: 70\nevidence:\n  - {kind: talk, watts: 110, use: never}\n",
		"f:3:35: evidence[1].use: found \"never\"; expected one of yes, no, or unknown", ""},
}
