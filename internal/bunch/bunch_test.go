package bunch

import (
	"bytes"
	"encoding/json"
	"fmt"
	"math"
	"math/rand/v2"
	"strings"
	"testing"
	"time"
	"unicode"
)

const secret = "00112233445566778899aabbccddeeff"

// TestAnalyticReckon: the closed form against a fine integration of a speed
// whose change dies out, and that nobody goes back or beyond fifteen seconds.
func TestAnalyticReckon(t *testing.T) {
	for _, s := range []Sample{
		{M: 100, SpeedMS: 8, AccelMS2: 0, Stage: Riding}, {M: 100, SpeedMS: 8, AccelMS2: 0.5, Stage: Riding},
		{M: 100, SpeedMS: 8, AccelMS2: -0.5, Stage: Riding}, {M: 100, SpeedMS: 0.6, AccelMS2: -2, Stage: Riding}, {M: 100, SpeedMS: 0, AccelMS2: -1, Stage: Riding},
	} {
		x, v, a := s.M, s.SpeedMS, s.AccelMS2
		const h = 1e-4
		before := s.M
		for i := range 200000 {
			at := float64(i) * h
			if i%2500 == 0 {
				got, speed := Reckon(s, int64(math.Round(at*1e6)))
				if want := x; at <= ReckonS && math.Abs(got-want) > 0.01 {
					t.Errorf("%+v after %.2f s: %.3f m, want %.3f m", s, at, got, want)
				}
				if at <= ReckonS && math.Abs(speed-v) > 0.01 {
					t.Errorf("%+v after %.2f s: %.3f m/s, want %.3f m/s", s, at, speed, v)
				}
				if got < before-1e-9 || math.IsNaN(got) {
					t.Errorf("%+v goes back to %.3f m", s, got)
				}
				before = got
			}
			x += v * h
			if v += a * h; v <= 0 {
				v, a = 0, 0
			}
			a -= a / accelDies * h
		}
		end, _ := Reckon(s, 15_000_000)
		if later, _ := Reckon(s, 900_000_000); later != end {
			t.Errorf("%+v is reckoned on after fifteen seconds: %.1f m, %.1f m", s, end, later)
		}
	}
	if m, v := Reckon(Sample{M: 40, SpeedMS: 9, Stage: Home}, 5e6); m != 40 || v != 0 {
		t.Errorf("somebody who is home rides on: %v m, %v m/s", m, v)
	}
}

// TestClock: over a way of 150 ± 30 ms each way, clocks off by seconds and
// drifting 50 ppm, the host's clock is known within 30 ms all the time; and a
// clock that is set anew is noticed.
func TestClock(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	base := time.Unix(1_800_000_000, 0)
	host := func(at float64) int64 { return base.UnixMicro() + int64(at*1e6) }
	var c Clock
	if c.Known() || c.Host(base) != 0 || !c.Own(5).IsZero() {
		t.Error("a clock that heard nothing knows something")
	}
	worst := 0.0
	run := func(own func(float64) time.Time, from, to float64) {
		for at := from; at < to; at += 0.25 {
			out, back := 0.150+0.03*(2*r.Float64()-1), 0.150+0.03*(2*r.Float64()-1)
			c.Heard(own(at), own(at+out+back), host(at+out))
			if at > from+10 {
				off := float64(c.Host(own(at+0.3))-host(at+0.3)) / 1e6
				worst = math.Max(worst, math.Abs(off))
				if round := c.Own(c.Host(own(at))).Sub(own(at)); round.Abs() > 10*time.Microsecond {
					t.Fatalf("there and back differ by %v", round)
				}
			}
		}
	}
	run(func(at float64) time.Time { return base.Add(time.Duration((at*(1+50e-6) - 2.7) * 1e9)) }, 0, 1200)
	if worst > 0.030 {
		t.Errorf("the host's clock is off by up to %.1f ms", 1000*worst)
	}
	t.Logf("worst %.1f ms", 1000*worst)
	worst = 0
	run(func(at float64) time.Time { return base.Add(time.Duration((at + 40) * 1e9)) }, 1200, 1260)
	if worst > 0.030 {
		t.Errorf("after the own clock was set, the host's is off by up to %.1f ms", 1000*worst)
	}
}

func TestSecondsBetween(t *testing.T) {
	tr := &track{}
	at := func(s float64) int64 { return 1e15 + int64(s*1e6) }
	for s := 0.0; s <= 100; s += 0.25 {
		tr.take(Sample{AtUS: at(s), M: 8 * s, SpeedMS: 8, Stage: Riding, BegunUS: at(0)})
	}
	for _, m := range []float64{0.5, 8, 333.3, 799, 803} {
		us, ok := tr.passed(m, at(101), 808)
		if !ok || math.Abs(float64(us-at(m/8)))/1e6 > 0.01 {
			t.Errorf("passed %.1f m at %.3f s (%v), want %.3f s", m, float64(us-at(0))/1e6, ok, m/8)
		}
	}
	if _, ok := tr.passed(2000, at(101), 808); ok {
		t.Error("a place nobody passed has a time")
	}
	if tr.take(Sample{AtUS: at(50), M: 1, Stage: Riding}); tr.last.M != 800 {
		t.Error("an older report replaced a newer one")
	}
	// Not heard of for a minute: nobody knows when they passed what lies between.
	tr.take(Sample{AtUS: at(160), M: 1280, SpeedMS: 8, Stage: Riding})
	if _, ok := tr.passed(1000, at(161), 1288); ok {
		t.Error("a time is known from within a silence of a minute")
	}
	if us, ok := tr.passed(1285, at(161), 1288); !ok || us < at(160) {
		t.Error("after it, none is known")
	}
	for s := 161.0; s < 20000; s++ {
		tr.take(Sample{AtUS: at(s), M: 8 * s, SpeedMS: 8, Stage: Riding})
	}
	if n := len(tr.points); n > mostPasses {
		t.Errorf("%d passings are kept", n)
	}
	if us, ok := tr.passed(8*5000, at(20000), 160000); !ok || math.Abs(float64(us-at(5000))) > 1e4 {
		t.Error("thinning lost the past")
	}
}

// TestHost: who may do what to a group, and what is remembered.
func TestHost(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	h := NewHost(Wish{Group: "g", Title: "T", Strength: 0.75}, now)
	ask := func(i int, s Sample) Ask {
		return Ask{Version: Version, Member: fmt.Sprintf("%032x", i), Name: fmt.Sprintf("Rider %d", i), Sample: s}
	}
	for i := range MostMembers {
		if _, err := h.Exchange(now, ask(i, Sample{AtUS: h.us(now), Stage: Waiting})); err != nil {
			t.Fatal(err)
		}
	}
	if _, err := h.Exchange(now, ask(99, Sample{Stage: Waiting})); err == nil {
		t.Error("a sixty-first member was let in")
	}
	if s := NewNear(h, fmt.Sprintf("%032x", 98), "Late").Meet(now, Me{Stage: Waiting}); !strings.Contains(s.Refused, "full") {
		t.Errorf("they are told %q", s.Refused)
	}
	if a, err := h.Exchange(now, Ask{Version: Version}); err != nil || len(a.Members) != MostMembers {
		t.Errorf("an onlooker sees %d, %v", len(a.Members), err)
	}
	now = now.Add(3 * time.Minute) // those who never began are forgotten
	a, err := h.Exchange(now, ask(1, Sample{AtUS: h.us(now), M: 100, SpeedMS: 8, Stage: Riding}))
	if err != nil || len(a.Members) != 1 {
		t.Fatalf("%d members, %v", len(a.Members), err)
	}
	key1 := KeyOf(ask(1, Sample{}).Member)
	future := Sample{AtUS: h.us(now.Add(time.Hour)), BegunUS: h.us(now.Add(time.Hour)), M: 120, SpeedMS: 8, Stage: Riding}
	a, _ = h.Exchange(now, ask(1, future))
	if s := a.Members[0].Sample; s.AtUS > h.us(now) || s.BegunUS > h.us(now) {
		t.Error("a report from the future was believed")
	}
	// Said once, and not again within two seconds; repeats are no new phrases.
	said := ask(1, Sample{AtUS: h.us(now), M: 120, Stage: Riding})
	for n := range 5 {
		said.Phrase = &Phrase{N: uint64(10 + n/3), Index: n / 3}
		a, _ = h.Exchange(now, said)
	}
	if len(a.Phrases) != 1 || a.Heard != 11 {
		t.Errorf("%d phrases, heard %d", len(a.Phrases), a.Heard)
	}
	if a, _ = h.Exchange(now.Add(time.Minute), Ask{Version: Version}); len(a.Phrases) != 0 {
		t.Error("a phrase stands for a minute")
	}
	if err := h.BringUp(now, key1); err == nil {
		t.Error("somebody alone was brought up")
	}
	if _, err := h.Exchange(now, ask(2, Sample{AtUS: h.us(now), M: 900, SpeedMS: 8, Stage: Riding})); err != nil {
		t.Fatal(err)
	}
	if err := h.BringUp(now, KeyOf(ask(2, Sample{}).Member)); err == nil {
		t.Error("the first was brought up to the last")
	}
	if err := h.BringUp(now, key1); err != nil {
		t.Fatal(err)
	}
	a, _ = h.Exchange(now, ask(1, Sample{AtUS: h.us(now), M: 121, Stage: Riding}))
	if a.BringUp.N == 0 || math.Abs(a.BringUp.ToM-900) > 10 {
		t.Errorf("order %+v", a.BringUp)
	}
	a, _ = h.Exchange(now, ask(1, Sample{AtUS: h.us(now), M: 900, Stage: Riding, Brought: a.BringUp.N}))
	if a.BringUp.N != 0 {
		t.Error("the order stands although it was done")
	}
	if !h.Count(now, 10*time.Second) || !h.Count(now.Add(5*time.Second), 10*time.Second) {
		t.Error("the gun cannot be set anew before it has gone")
	}
	if h.Count(now.Add(time.Minute), 10*time.Second) {
		t.Error("the gun was set anew after it had gone")
	}
}

// TestOneCannotSpeakForAnother: what everybody is told of a member does not let
// them report as that member.
func TestOneCannotSpeakForAnother(t *testing.T) {
	now := time.Unix(1_800_000_000, 0)
	h := NewHost(Wish{Strength: 0.5}, now)
	victim := Ask{Version: Version, Member: secret, Name: "Ada", Sample: Sample{AtUS: h.us(now), M: 500, Stage: Riding}}
	a, _ := h.Exchange(now, victim)
	b, _ := json.Marshal(a)
	if bytes.Contains(b, []byte(secret)) {
		t.Error("an answer tells a member's secret")
	}
	key := a.Members[0].Key
	bad := Ask{Version: Version, Member: strings.Repeat(key, 4)[:32], Name: "Ada", Sample: Sample{AtUS: h.us(now.Add(time.Second)), M: 1, Stage: Gone}}
	a, _ = h.Exchange(now.Add(time.Second), bad)
	for _, m := range a.Members {
		if m.Key == key && m.Sample.M != 500 {
			t.Error("somebody else moved Ada")
		}
	}
}

func TestNames(t *testing.T) {
	for in, want := range map[string]string{
		"  Ada  Lovely\n": "Ada Lovely", "": "Rider", "\x00\x07": "Rider", "a\u202eb\u2066c": "abc", "<b>Bo</b>": "<b>Bo</b>",
		strings.Repeat("é", 60): strings.Repeat("é", 39) + "…", "bad\xff": "bad�",
	} {
		if got := Name(in); got != want {
			t.Errorf("%q is shown as %q, want %q", in, got, want)
		}
	}
}

// FuzzAsk: whatever comes from a network is refused or bounded.
func FuzzAsk(f *testing.F) {
	good, _ := json.Marshal(Ask{Version: 1, Member: secret, Name: "Ada", Sequence: 4, Since: 2, Phrase: &Phrase{3, 1},
		Sample: Sample{AtUS: 1, M: 12.5, SpeedMS: 8, AccelMS2: 0.1, Stage: Riding, BegunUS: 1}})
	f.Add(good)
	for _, s := range []string{"", "{", `{"version":1}`, `{"version":1,"member":"` + secret + `","sample":{"stage":"riding","m":1e308,"m_s":-1,"m_s2":9e99}}`,
		`{"version":1,"member":"` + secret + `","name":"\u202e\u0000\n","sample":{"stage":"home","at_us":-9223372036854775808}}`, `[[[[[[`, `{"version":1,"sequence":-1}`, `{"version":1}{"version":1}`,
		`{"version":1,"member":"` + secret + `","phrase":{"n":18446744073709551615,"index":9223372036854775807},"sample":{"stage":"waiting"}}`} {
		f.Add([]byte(s))
	}
	now := time.Unix(1_800_000_000, 0)
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := ReadAsk(bytes.NewReader(b))
		if err != nil {
			if strings.ContainsAny(Line(err.Error(), 200), "\n\r\x00") {
				t.Errorf("an error of several lines: %q", err)
			}
			return
		}
		s := a.Sample
		if !(s.M >= 0 && s.M <= mostPlace && s.SpeedMS >= 0 && s.SpeedMS <= mostSpeed && math.Abs(s.AccelMS2) <= mostAccel) {
			t.Fatalf("believed: %+v", s)
		}
		if n := []rune(a.Name); len(n) > mostName || strings.ContainsFunc(a.Name, unicode.IsControl) {
			t.Fatalf("name %q", a.Name)
		}
		h := NewHost(Wish{Strength: 0.5}, now)
		out, err := h.Exchange(now, a)
		if err != nil {
			t.Fatal(err)
		}
		j, err := json.Marshal(out)
		if err != nil {
			t.Fatalf("no answer can be written: %v", err)
		}
		if _, err := ReadAnswer(bytes.NewReader(j)); err != nil {
			t.Fatalf("the answer cannot be read: %v", err)
		}
		n := NewNear(h, strings.Repeat("ab", 16), "Bo")
		for _, d := range n.Meet(now.Add(time.Second), Me{M: 3, SpeedMS: 5, Stage: Riding}).Dots {
			if math.IsNaN(d.AtM) || math.IsInf(d.AtM, 0) || d.AtM < 0 || math.IsNaN(d.BehindS) {
				t.Fatalf("shown: %+v", d)
			}
		}
	})
}

// FuzzAnswer: a host is believed no more than it must be.
func FuzzAnswer(f *testing.F) {
	good, _ := json.Marshal(Answer{Version: 1, Group: "g", Title: "T", ClockUS: 1e15, Members: []Member{{"k", "Ada", Sample{AtUS: 1e15, M: 5, Stage: Riding}}}, GunUS: 1e15,
		Words: Words{1, 1e15, "hello"}, Strength: 0.7, Phrases: []Said{{1, "k", 1e15, 2}}, BringUp: Order{3, 10}})
	f.Add(good)
	for _, s := range []string{"", "null", `{"version":1,"clock_us":1,"strength":2}`, `{"version":1,"clock_us":9223372036854775807,"gun_us":9223372036854775807,"members":[{"key":"k","sample":{"stage":"riding","at_us":9223372036854775807,"begun":1}}]}`} {
		f.Add([]byte(s))
	}
	now := time.Unix(1_800_000_000, 0)
	f.Fuzz(func(t *testing.T, b []byte) {
		a, err := ReadAnswer(bytes.NewReader(b))
		if err != nil {
			return
		}
		s := newSeat(secret, "Bo", false)
		s.take(a, now, now.Add(300*time.Millisecond))
		me := Me{M: 3, SpeedMS: 5, Stage: Riding, Begun: now}
		for range 2 {
			for _, d := range s.scene(now.Add(time.Second), &me, Well).Dots {
				if math.IsNaN(d.AtM) || math.IsInf(d.AtM, 0) || d.AtM < 0 || math.IsNaN(d.BehindS) || len([]rune(d.Name)) > mostName {
					t.Fatalf("shown: %+v", d)
				}
			}
			s.take(a, now.Add(2*time.Second), now.Add(2300*time.Millisecond))
		}
	})
}

// BenchmarkMeet is what a tick of a ride costs in a full group hosted here.
func BenchmarkMeet(b *testing.B) {
	now := time.Unix(1_800_000_000, 0)
	h := NewHost(Wish{Strength: 0.75}, now)
	for i := range MostMembers - 1 {
		s := Sample{AtUS: h.us(now), M: float64(1000 + 3*i), SpeedMS: 9, Stage: Riding, BegunUS: h.us(now)}
		if _, err := h.Exchange(now, Ask{Version: Version, Member: fmt.Sprintf("%032x", i), Name: "Rider", Sample: s}); err != nil {
			b.Fatal(err)
		}
	}
	n := NewNear(h, secret, "Me")
	at := now
	for b.Loop() {
		at = at.Add(250 * time.Millisecond)
		n.Meet(at, Me{M: 1100, SpeedMS: 9, Stage: Riding, Begun: now})
	}
}
