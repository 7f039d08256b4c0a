package session_test

import (
	"errors"
	"reflect"
	"strings"
	"testing"

	"chainline/session"
)

// one is the only stage of a text.
func one(t *testing.T, text string) session.Stage {
	t.Helper()
	s, err := session.Parse(text)
	if err != nil {
		t.Fatalf("%s: %v", text, err)
	}
	if len(s.Blocks) != 1 || s.Blocks[0].Times != 0 {
		t.Fatalf("%s: %d blocks", text, len(s.Blocks))
	}
	return s.Blocks[0].Stage
}

func minutes(m float64) session.End { return session.End{Seconds: 60 * m} }

func TestParseSentences(t *testing.T) {
	of := func(r session.Reference, from, to float64) session.Target {
		return session.Target{Of: r, From: from, To: to}
	}
	for text, want := range map[string]session.Stage{
		"ride 5 min at 80 % of threshold":                            {End: minutes(5), Target: of(session.OfThreshold, 0.8, 0.8)},
		"Ride five minutes at 80% of FTP.":                           {End: minutes(5), Target: of(session.OfThreshold, 0.8, 0.8)},
		"ride for half an hour at threshold":                         {End: minutes(30), Target: of(session.OfThreshold, 1, 1)},
		"ride an hour and thirty minutes at sixty-five % of CP":      {End: minutes(90), Target: of(session.OfCritical, 0.65, 0.65)},
		"ride at 80 % of threshold, at 85 rpm, for 5min":             {End: minutes(5), Target: of(session.OfThreshold, 0.8, 0.8), CadenceLow: 85, CadenceHigh: 85},
		"warm up 10 min from 50 to 70 % of threshold":                {Kind: session.Warm, End: minutes(10), Target: session.Target{Of: session.OfThreshold, From: 0.5, To: 0.7, Ramp: true}},
		"ride 2 km at 95 % of critical power at 90 to 100 rpm":       {End: session.End{Kind: session.AfterDistance, Metres: 2000}, Target: of(session.OfCritical, 0.95, 0.95), CadenceLow: 90, CadenceHigh: 100},
		"ride two miles at 200 to 210 watts":                         {End: session.End{Kind: session.AfterDistance, Metres: 3219}, Target: of(session.OfWatts, 200, 210)},
		"ride 5 min at 70–80 % of threshold at 85-95 rpm, say “Now”": {End: minutes(5), Target: of(session.OfThreshold, 0.7, 0.8), CadenceLow: 85, CadenceHigh: 95, Say: "Now"},
		"easy 5 min": {Kind: session.Easy, End: minutes(5)},
		"ride 20 min with the heart at 70 to 80 % of its maximum": {End: minutes(20), Target: of(session.OfHeartMax, 0.7, 0.8)},
		"ride 20 min with the heart at 130 to 140 bpm":            {End: minutes(20), Target: of(session.OfHeart, 130, 140)},
		"ride 3 min so that only a few words come":                {End: minutes(3), Target: of(session.OfFeel, 16, 16)},
		"sprint 10 s": {Kind: session.Sprint, End: session.End{Seconds: 10}, Target: session.Target{Of: session.OfAllOut}},
		"ride 3 min at exertion 13 to 15, say \"round # circles\" #":           {End: minutes(3), Target: of(session.OfFeel, 13, 15), Say: "round # circles"},
		"ride 3 min as you would breathing hard but able to speak a few words": {End: minutes(3), Target: of(session.OfFeel, 16, 16)},
		"ride until 30 % is left, at least 2 min, at most 8 min, at 120 % of critical power": {
			End: session.End{Kind: session.AtBalance, Left: 0.3, LeastS: 120, MostS: 480}, Target: of(session.OfCritical, 1.2, 1.2)},
		"easy until 80 % of W' is back, at least 1 min, at most 10 min": {Kind: session.Easy,
			End: session.End{Kind: session.AtBalance, Left: 0.8, Back: true, LeastS: 60, MostS: 600}},
		"test until you cannot go on, at most 25 min, from 45 to 170 % of threshold": {Kind: session.Test,
			End: session.End{Kind: session.WhenSpent, MostS: 1500}, Target: session.Target{Of: session.OfThreshold, From: 0.45, To: 1.7, Ramp: true}},
		"ride until you say so, at most an hour, as you like": {End: session.End{Kind: session.AtWord, MostS: 3600}},
		"rest 2 min": {Kind: session.Off, End: minutes(2)},
	} {
		if got := one(t, text); got != want {
			t.Errorf("%s\n got %+v\nwant %+v", text, got, want)
		}
	}
}

func TestParseGroups(t *testing.T) {
	s, err := session.Parse(`session: Over and under
purpose: To learn how it feels: hard
for: riders who know their threshold
caution: not when ill
caution: nor when tired

# a comment
warm up 10 min from 50 to 70 % of threshold
twice:   # two sets
  three times:
    ride 2 min at 90 % of threshold
    ride 1 min at 110 % of threshold
  end
  easy 5 min
end
13 times:
sprint 10 s
easy 1 min
end.
`)
	if err != nil {
		t.Fatal(err)
	}
	if s.Name != "Over and under" || s.Purpose != "To learn how it feels: hard" || len(s.Cautions) != 2 {
		t.Errorf("headers %+v", s)
	}
	if len(s.Blocks) != 3 || s.Blocks[1].Times != 2 || s.Blocks[1].Blocks[0].Times != 3 || len(s.Blocks[1].Blocks[0].Blocks) != 2 || s.Blocks[2].Times != 13 {
		t.Errorf("blocks %+v", s.Blocks)
	}
	again, err := session.Parse(session.Print(s))
	if err != nil || !reflect.DeepEqual(s, again) {
		t.Errorf("printed and read again: %v\n%s", err, session.Print(s))
	}
}

// Each text has one fault; the error points at it and says what was expected.
func TestParseErrors(t *testing.T) {
	for text, want := range map[string]string{
		"":                                                     "line 1, column 1: there is nothing to ride; expected a line such as",
		"rid 5 min at 80 % of threshold":                       `line 1, column 1: found "rid"; expected ride, warm up, easy, cool down, sprint, test, rest, a number of times with a colon, or end; did you mean "ride"?`,
		"\nride 5 min at 80 % of tresholt":                     `line 2, column 23: found "tresholt"; expected threshold or critical power; did you mean "threshold"?`,
		"ride 5 mim at 80 % of threshold":                      `did you mean "min"?`,
		"ride 5:30 min at threshold":                           `line 1, column 7: found ":"; expected minutes and seconds with their units, such as 5 min 30 s`,
		"ride 2,5 km at threshold":                             "column 7: found a comma within a number",
		"ride 5 m at threshold":                                "column 6: a length of 5 metres; expected 100 m to 500 km (minutes are written min)",
		"ride 5 min":                                           `column 11: nothing says how hard; expected`,
		"test 5 min":                                           "column 11: nothing says how hard the test is",
		"ride at threshold":                                    "column 18: the stage has no length",
		"ride 5 min 6 min at threshold":                        "a smaller unit after a larger one",
		"ride 5 min at threshold, at 200 W":                    "column 26: the effort is said a second time",
		"ride 5 min at threshold at 90 to 80 rpm":              "a cadence from 90 to 80; expected 20 to 220 rpm, the lower number first",
		"ride 5 min at 80 to 70 % of threshold":                "the higher number comes first; expected the lower first, or from … to …",
		"ride 5 min at 400 % of threshold":                     "an effort out of range; expected 5 to 300 % of threshold",
		"ride until 30 % is left at threshold, at most 8 min":  "nothing says how long at least",
		"ride until 30 % is left at threshold, at least 1 min": "nothing says how long at most",
		"ride until 30 % is left, at least 9 min, at most 8 min at threshold": "at least 9 min and at most 8 min",
		"ride 5 min at threshold, at most 8 min":                              "a most time here",
		"rest 5 min at threshold":                                             "rest has an effort",
		"three times:\nride 5 min at threshold":                               `line 1, column 1: this group has no end`,
		"three times\nride 5 min at threshold":                                `line 1, column 12: the line ends here; expected ":" after the number of times`,
		"three times:\nend":                                                   "this group is empty",
		"ride 5 min at threshold\nend":                                        `line 2, column 1: "end" without a group`,
		"2.5 times:\nend":                                                     "expected a whole number from 1 to 200",
		"ride 5 min at threshold\npurpose: late":                              "stands after the first stage",
		"purpose:\nride 5 min at threshold":                                   "nothing stands after",
		"ride 5 min at threshold, say \"oh":                                   "the text that begins here has no end",
		"ride 5 min at threshold; say no":                                     `found the character ';'`,
		"ride 5 min so that you speak in hole sentences":                      "expected one of: so that you could sing",
		"ride 5 min with the hart at 70 % of its maximum":                     `"the heart at 70 to 80 % of its maximum"`,
		"ride 5 min at threshold, say “so " + "\"called\"" + "”":              "characters that cannot be said",
		"ride 5 - 6 min at threshold":                                         `found "-"; expected a unit`,
		"ride 1.2.3 min at threshold":                                         `"1.2.3" is no number`,
		"200 times:\n200 times:\nride 1 s at threshold\nend\nend":             "too many stages",
	} {
		_, err := session.Parse(text)
		if err == nil || !strings.Contains(err.Error(), want) || strings.Contains(err.Error(), "\n") {
			t.Errorf("%q\n got %v\nwant %s", text, err, want)
		}
		if e := (*session.SyntaxError)(nil); err != nil && !errors.As(err, &e) {
			t.Errorf("%q: %T", text, err)
		}
	}
	if _, err := session.Parse(strings.Repeat("# long\n", session.MaxText/7+1)); err == nil {
		t.Error("a text over the limit is read")
	}
}

func FuzzParse(f *testing.F) {
	for _, s := range []string{
		"ride 5 min at 80 % of threshold", "three times:\n ride 2 km at 95 % of critical power at 90 to 100 rpm\n easy 2 min\nend",
		"ride until 30 % is left, at least 2 min, at most 8 min, at 120 % of critical power, say \"go\"",
		"session: A\ncaution: b\nride an hour and thirty minutes as you like", "test until you cannot go on, at most 25 min, from 45 to 170 % of threshold",
		"ride one hundred and five s at exertion 13", "twice:\ntwice:\nsprint 1 s\nend\nend", "ride 3 min so that only a few words come\xff", "ride \"", "1 times:\n",
	} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		s, err := session.Parse(text)
		if err != nil {
			if strings.ContainsAny(err.Error(), "\n\r") {
				t.Errorf("an error of more than a line: %q", err)
			}
			return
		}
		if err := s.Check(); err != nil {
			if strings.Contains(err.Error(), "too long") {
				return // shorthand may grow when written out
			}
			t.Fatalf("read, but: %v", err)
		}
		printed := session.Print(s)
		again, err := session.Parse(printed)
		if err != nil || !reflect.DeepEqual(s, again) {
			t.Fatalf("printed as\n%s\nwhich reads as %+v, %v", printed, again, err)
		}
	})
}

// made builds a session from bytes, mostly one that is valid.
type made struct{ data []byte }

func (m *made) n(most int) int {
	if len(m.data) == 0 {
		return 0
	}
	b := m.data[0]
	m.data = m.data[1:]
	if most > 255 && len(m.data) > 0 {
		v := (int(b)<<8 | int(m.data[0])) % most
		m.data = m.data[1:]
		return v
	}
	return int(b) % most
}

func (m *made) stage() session.Stage {
	s := session.Stage{Kind: session.StageKind(m.n(7)), End: session.End{Kind: session.EndKind(m.n(5))}}
	switch s.End.Kind {
	case session.AfterTime:
		s.End.Seconds = float64(1 + m.n(43200))
	case session.AfterDistance:
		s.End.Metres = float64(100 + 7*m.n(65000))
	default:
		s.End.MostS = float64(1 + m.n(43200))
	}
	if s.End.Kind == session.AtBalance {
		s.End.LeastS, s.End.Left, s.End.Back = float64(1+m.n(int(s.End.MostS))), float64(m.n(10001))/1e4, m.n(2) == 1
	}
	a, b := float64(m.n(25000)+500), float64(m.n(2000))
	switch s.Target.Of = session.Reference(m.n(8)); s.Target.Of {
	case session.OfThreshold, session.OfCritical:
		s.Target.From, s.Target.To, s.Target.Ramp = a/1e4, (a+b)/1e4, m.n(2) == 1
	case session.OfWatts:
		s.Target.From, s.Target.To, s.Target.Ramp = float64(int(a)/10), float64(int(a)/10+int(b)/10), m.n(2) == 1
	case session.OfHeartMax:
		s.Target.From, s.Target.To = (3000+b)/1e4, (5000+b)/1e4
	case session.OfHeart:
		s.Target.From, s.Target.To = float64(40+int(b)%90), float64(130+int(a)%90)
	case session.OfFeel:
		s.Target.From = float64(6 + int(a)%8)
		s.Target.To = s.Target.From + float64(int(b)%6)
	}
	if m.n(3) == 1 {
		s.CadenceLow = float64(20 + m.n(100))
		s.CadenceHigh = s.CadenceLow + float64(m.n(60))
	}
	if m.n(4) == 1 {
		s.Say = "spin # up: " + strings.Repeat("a", m.n(5))
	}
	return s
}

func (m *made) blocks(depth int) (out []session.Block) {
	for range 1 + m.n(4) {
		if depth < 5 && m.n(3) == 1 {
			out = append(out, session.Block{Times: 1 + m.n(14), Blocks: m.blocks(depth + 1)})
		} else {
			out = append(out, session.Block{Stage: m.stage()})
		}
	}
	return out
}

func FuzzPrint(f *testing.F) {
	f.Add([]byte("0123456789"))
	f.Add([]byte{3, 1, 2, 200, 4, 9, 8, 7, 120, 33, 61, 2, 5, 1, 1, 1, 0, 0, 90, 12, 14, 250, 3, 2, 1, 77, 31, 8, 2, 66, 5})
	f.Add([]byte{1, 0, 3, 2, 99, 99, 5, 5, 17, 40, 1, 6, 3, 3, 1, 70, 30, 1, 4})
	f.Fuzz(func(t *testing.T, data []byte) {
		m := &made{data}
		s := session.Session{Name: "Made", Blocks: m.blocks(0)}
		if s.Check() != nil {
			return
		}
		text := session.Print(s)
		again, err := session.Parse(text)
		if err != nil || !reflect.DeepEqual(s, again) {
			t.Fatalf("%v\n%s\n%+v\n%+v", err, text, s, again)
		}
		if session.Print(again) != text {
			t.Fatalf("printed twice, two texts:\n%s", text)
		}
	})
}
