package capacity

import (
	"math"
	"strings"
	"testing"

	"chainline/estimate"
)

// Whatever is suggested, a maximal test needs an adult and a screening, and
// who has never ridden hard is not sent to one first.
func TestNextIsSafe(t *testing.T) {
	evidence := [][]Evidence{nil, tests(180, 300), tests(180, 300, 1000, 250), tests(180, 300, 400, 270, 700, 256, 1000, 249), {{Kind: StatedThreshold, Watts: 240}},
		{{Kind: TalkTest, Watts: 140}}}
	for _, level := range []Level{LevelUnknown, New, Regular, Club, Racer} {
		for _, age := range []float64{0, 15, 17.9, 18, 19, 50} {
			for _, screened := range []bool{false, true} {
				for _, e := range evidence {
					r := Rider{Mass: 70, Level: level, Age: age, Screened: screened, Evidence: e}
					l, _ := infer(r)
					s := l.Next(r, 3600, true)
					minor := age > 0 && age <= 18 // by year of birth, so 18 may still be 17
					if s.Maximal && (!screened || minor || (level == New || level == LevelUnknown) && (e == nil || e[0].Kind == TalkTest)) {
						t.Errorf("%v of %g, screened %v, %d pieces: %q", level, age, screened, len(e), s.Sentence)
					}
					if minor && strings.Contains(s.Sentence, "aximal test") {
						t.Errorf("a minor reads %q", s.Sentence)
					}
					if !minor && !screened && s.Sentence != "" && !strings.Contains(s.Sentence, "only after a health screening") {
						t.Errorf("unscreened: %q", s.Sentence)
					}
					if s.What != "" && !(s.Then < s.Now && s.RideThen < s.RideNow) {
						t.Errorf("%q narrows nothing: %+v", s.What, s)
					}
				}
			}
		}
	}
}

// A test is recommended while the threshold's sd is above 6 %, and what is
// expected of it is what it brings on average.
func TestNextForetells(t *testing.T) {
	r := Rider{Mass: 70, Sex: Male, Level: Regular, Age: 30, Screened: true}
	l, _ := infer(r)
	s := l.Next(r, 3600, true)
	if !s.Recommended || !s.Maximal || !strings.Contains(s.What, "12 to 20") {
		t.Fatalf("a regular rider without evidence is told %+v", s)
	}
	got := 0.0
	const n = 24
	for i := range n {
		truth := l.Displayed.Draw(estimate.Stream(3, i))
		noise := repeatError * estimate.Stream(4, i).NormFloat64()
		q := r
		q.Evidence = tests(900, truth.Power(900)*math.Exp(noise))
		after, _ := infer(q)
		e := after.Displayed.ThresholdEstimate("")
		got += e.SD / e.Mean / n
	}
	want := s.Then / l.Displayed.Threshold()
	if math.Abs(got/want-1) > 0.2 {
		t.Errorf("expected %.3f of the threshold, came to %.3f", want, got)
	}
	known := r
	known.Evidence = tests(180, 330, 420, 280, 900, 258, 3600, 235)
	sure, _ := infer(known)
	if s := sure.Next(known, 3600, true); s.Recommended {
		t.Errorf("known from four tests and still told to test: %+v", s)
	}
}
