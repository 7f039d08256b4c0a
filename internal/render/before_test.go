package render

import (
	"math"
	"strings"
	"testing"

	"chainline/brief"
)

// everyWarmUp are the warm-ups of all samples and some that crowd.
func everyWarmUp() map[string]brief.Brief {
	all := everyBrief()
	for name, n := range map[string]int{"40 steps": 40, "one step": 1, "ten sprints": 20} {
		b := racer()
		b.WarmUp.Steps = nil
		last := 1800 / float64(n)
		for i := range n {
			s := brief.WarmUpStep{StartS: -1800 + last*float64(i), DurationS: last, Watts: 90 + 37*float64(i%7), Name: "step of a long name", Exertion: 12}
			if name == "ten sprints" {
				s.Watts, s.Name = []float64{100, 500}[i%2], []string{"easy", "hard"}[i%2]
			}
			b.WarmUp.Steps = append(b.WarmUp.Steps, s)
			b.WarmUp.Timeline = append(b.WarmUp.Timeline, brief.Moment{AtS: s.StartS + 1, Clock: "19:00", What: "something"})
		}
		all[name] = b
	}
	return all
}

func TestWarmUpPictureKeepsClear(t *testing.T) {
	for name, b := range everyWarmUp() {
		w, ok := NewWarmUp(b)
		if !ok {
			if len(b.WarmUp.Steps) > 0 {
				t.Errorf("%s: no picture", name)
			}
			continue
		}
		last := math.Inf(-1)
		for _, l := range w.Labels {
			if l.X-l.Half < last-1e-9 || l.X+l.Half > w.Width+1e-9 || l.X-l.Half < -1e-9 {
				t.Errorf("%s: label %q %q collides or leaves the picture", name, l.Lead, l.Name)
			}
			last = l.X + l.Half
		}
		last = math.Inf(-1)
		for _, l := range w.Ticks {
			width := 6 * float64(len([]rune(l.Text)))
			left := map[string]float64{"start": l.X, "middle": l.X - width/2, "end": l.X - width}[l.Anchor]
			if left < last || left < -1e-9 || left+width > w.Width+1e-9 {
				t.Errorf("%s: time %q collides or leaves the picture", name, l.Text)
			}
			last = left + width
		}
		named := 0
		for i, b := range w.Beads {
			named += b.Last - b.First + 1
			if i > 0 && b.X-b.Half < w.Beads[i-1].X+w.Beads[i-1].Half-1e-9 {
				t.Errorf("%s: beads %s and %s overlap", name, w.Beads[i-1].Label, b.Label)
			}
		}
		if named != len(w.Marks) {
			t.Errorf("%s: beads name %d of %d moments", name, named, len(w.Marks))
		}
		for _, s := range w.Steps {
			if s.Upper < w.Top-20 || s.Lower > w.Base || s.Upper > s.Lower || s.FromX > s.ToX {
				t.Errorf("%s: step %v leaves its band", name, s)
			}
		}
	}
}

// TestCorridorHoldsTheTarget: the band is 5 W or 3 % around what is asked.
func TestCorridorHoldsTheTarget(t *testing.T) {
	b := racer()
	w, _ := NewWarmUp(b)
	unit := (w.Base - w.CriticalY) / b.Rider.CriticalPower.Mean // per watt
	for i, s := range b.WarmUp.Steps {
		half := math.Max(leastHalf, math.Max(5, .03*s.Watts)*unit)
		if s.Watts == 0 {
			half = 0
		}
		mid := (w.Steps[i].Upper + w.Steps[i].Lower) / 2
		if math.Abs(mid-(w.Base-s.Watts*unit)) > 1e-9 || math.Abs(w.Steps[i].Lower-w.Steps[i].Upper-2*half) > 1e-9 {
			t.Errorf("step %d: corridor %v, want %v W within %v units", i, w.Steps[i], s.Watts, half)
		}
	}
}

func TestWarmUpPictureSays(t *testing.T) {
	w, _ := NewWarmUp(racer())
	svg := spaces(w.SVG("x"))
	for _, want := range []string{"24 min to the gun", "6 min easy 110 W", "20 s hard 330 W", "3 min in the pen rest", ">2 × 330<", ">19:30 gun<", ">19:06<", "class=\"critical\"", ">100 between<"} {
		if !strings.Contains(svg, want) {
			t.Errorf("the picture does not say %q", want)
		}
	}
	plainRig, _ := NewWarmUp(newcomer())
	if svg := plainRig.SVG("x"); strings.Contains(svg, "70 W") || !strings.Contains(svg, ">effort 8<") {
		t.Error("a rig that shows no watts is asked for watts")
	}
}

func TestTimeOfDay(t *testing.T) {
	const gun = 19*3600 + 30*60
	for at, want := range map[float64]string{-1440: "19:06", -460: "19:22:20", 0: "19:30"} {
		if got := timeOfDay(at, gun, true); got != want {
			t.Errorf("%v s: %q, want %q", at, got, want)
		}
	}
	if got := timeOfDay(-400, 0, false); got != "−6:40" {
		t.Errorf("without a clock: %q, want −6:40", got)
	}
	if got := timeOfDay(-1800, 600, true); got != "23:40" {
		t.Errorf("before midnight: %q, want 23:40", got)
	}
	b := racer()
	if s, ok := gunClock(b); !ok || s != gun {
		t.Errorf("the gun is at %v, want 19:30 by the moments", s)
	}
	b.WarmUp.Timeline = nil
	if s, ok := gunClock(b); !ok || s != gun {
		t.Errorf("the gun is at %v, want 19:30 by the start", s)
	}
	b.When = ""
	if _, ok := gunClock(b); ok {
		t.Error("a start without a time of day has a clock")
	}
}

func TestBeforeTheGunIsTold(t *testing.T) {
	text := spaces(textOf(t, racer(), TextOptions{}))
	page := spaces(htmlOf(t, racer()))
	for _, want := range []string{"Warm up from 19:06", "97 % of what you can spend is there at the gun", "ends 7 min before it", "10 min easy at 95 W",
		"One small bottle is plenty", "0.8–1.4 l/h", "24 °C, 66 %", "790 W", "21 °C and 55 % humidity", "one pedestal fan", "Seconds surer", "seconds lost without",
		"Zero offset", "would narrow your threshold"} {
		flat := strings.ToLower(strings.Join(strings.Fields(text), " "))
		if !strings.Contains(flat, strings.ToLower(want)) {
			t.Errorf("the text does not say %q", want)
		}
		if want = strings.ToLower(want); !strings.Contains(strings.ToLower(plainText(t, page)), want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	for _, want := range []string{"19:22:20   100 W    0:40  easy, effort 8", "      49  Ride these cues instead of an even effort (38 to 61)."} {
		if !strings.Contains(text, want) {
			t.Errorf("the text has no line %q", want)
		}
	}
	for b, want := range map[string]bool{"racer": false, "newcomer": true} { // a sentence with the numbers says them once
		if strings.Contains(textOf(t, samples()[b], TextOptions{}), "Doubt about your threshold") != want {
			t.Errorf("%s: the doubt beside the sentence: want %v", b, want)
		}
	}
	b := racer()
	b.Room, b.WarmUp, b.Worth, b.NextTest = brief.RoomSheet{}, brief.WarmUpSheet{}, nil, brief.NextTest{}
	for _, face := range []string{textOf(t, b, TextOptions{}), htmlOf(t, b)} {
		for _, gone := range []string{"Warm up from", ">The room<", "\nThe room\n", "Worth doing"} {
			if strings.Contains(face, gone) {
				t.Errorf("nothing is known and yet it says %q", gone)
			}
		}
	}
}

// plainText is all text of a page, spaces as one.
func plainText(t *testing.T, page string) string {
	t.Helper()
	return strings.Join(strings.Fields(elements(t, page)[0].text), " ")
}

// TestCautionsAreSaidOnceAndWhereTheyBelong holds the words brief uses.
func TestCautionsAreSaidOnceAndWhereTheyBelong(t *testing.T) {
	all := []string{"A hard effort. Not for anyone with chest pain.", "Ask a doctor before going hard.", "Some medicines lower the heart rate; then the bands do not hold.",
		"Put a fan on before the start. Keep leads and sockets dry.", "Chainline estimates; it does not examine you and is no medical device.", "Something new.",
		"This effort in this room could make you dangerously hot; ask a doctor.", "Never drink more than you lose."}
	plan, room, foot := placeCautions(all, true)
	if len(plan) != 3 || len(room) != 3 || len(foot) != 2 || room[0] != all[3] {
		t.Errorf("plan %q, room %q, foot %q", plan, room, foot)
	}
	if _, room, foot := placeCautions(all, false); len(room) != 0 || len(foot) != 5 {
		t.Error("without a room its caution is not at the foot")
	}
	b := racer()
	b.Cautions = all
	page, text := plainText(t, htmlOf(t, b)), strings.Join(strings.Fields(textOf(t, b, TextOptions{})), " ")
	for _, c := range all {
		if strings.Count(page, c) != 1 || strings.Count(text, c) != 1 {
			t.Errorf("%q is said %d times on the page and %d in the text, want once", c, strings.Count(page, c), strings.Count(text, c))
		}
	}
}

func TestEqualNeighbouringRulesAreOne(t *testing.T) {
	r := func(from, to, watts, share float64, name string) brief.Rule {
		return brief.Rule{FromGradient: from, ToGradient: to, Watts: watts, ShareOfTime: share, Name: name, Exertion: 13, Feel: "firm"}
	}
	inf := math.Inf(1)
	got := joined([]brief.Rule{r(.05, inf, 240, .1, "steep"), r(.02, .05, 240.2, .2, "uphill"), r(-.02, .02, 200, .5, "level"), r(-inf, -.02, 240, .2, "downhill")})
	if len(got) != 3 || got[0].FromGradient != .02 || !math.IsInf(got[0].ToGradient, 1) || math.Abs(got[0].ShareOfTime-.3) > 1e-12 || got[0].Name != "steep or uphill" {
		t.Errorf("got %+v", got)
	}
	apart := joined([]brief.Rule{r(.05, inf, 240, .1, "steep"), r(-.02, .02, 240, .5, "level")})
	if len(apart) != 2 {
		t.Error("rules that do not meet were joined")
	}
}

func TestNumbersAreSaidRightly(t *testing.T) {
	b := racer()
	b.Rig.Accuracy = .015
	page := spaces(plainText(t, htmlOf(t, b)))
	if !strings.Contains(page, "watts from hub, ± 1.5 % (sd)") {
		t.Error("accuracy is not the sd that was typed")
	}
	if strings.Contains(page, "77.1 kg as typed") || !strings.Contains(page, "68.5 + 8.6") {
		t.Error("the mass claims to be typed")
	}
}
