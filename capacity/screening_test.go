package capacity

import "testing"

// Of 2^11 ways to answer, none with an unclear answer passes without a doctor.
func TestScreeningNeverPassesUnclear(t *testing.T) {
	for bits := range 1 << 11 {
		b := func(i int) Answer { return No + Answer(bits>>i&1) }
		s := Screening{b(0), b(1), b(2), b(3), b(4), b(5), b(6), b(7), b(8), b(9), b(10)}
		out := s.Outcome()
		unclear := bits&0b111111111 != 0
		if unclear && s.ClearedByDoctor != Yes && out.Passed || out.Passed && out.EasyOnly {
			t.Fatalf("%+v passed: %+v", s, out)
		}
		if !out.Passed && len(out.Cautions) == 0 {
			t.Fatalf("%+v is not told why it did not pass", s)
		}
		if (s.Ill == Yes || s.Pregnant == Yes || s.ToldNotTo == Yes) && !out.EasyOnly {
			t.Fatalf("%+v may ride hard", s)
		}
	}
}
