package render

import (
	"cmp"
	"math"
	"slices"
	"strconv"
	"strings"
	"unicode/utf8"

	"chainline/brief"
)

// WarmUp is the warm-up as a picture, laid out: a corridor to ride in along
// time, the gun at its right end, critical power dotted, and the chainline
// with a lettered bead for each thing to do. X grows with time, Y downwards.
//
// What drops first as the room shrinks: times at the foot; the names of the
// steps, longest first; then what the shortest steps ask for. Never dropped: the corridor,
// the gun, the chainline, and a bead that names every moment.
type WarmUp struct {
	Width, Height float64
	Steps         []WarmUpBand
	CriticalY     float64 // 0 when it is not drawn
	Base          float64 // y of rest
	Top           float64
	Chain         float64 // 0 without moments
	Marks         []float64
	Beads         []Bead
	Labels        []WarmUpLabel
	Ticks         []Label
	Clocked       bool // Ticks are times of day
	GunX          float64
	Title, Desc   string
}

// WarmUpBand is one step's stretch of the corridor, between Upper and Lower.
type WarmUpBand struct{ FromX, ToX, Upper, Lower float64 }

// WarmUpLabel is what a step asks for, or a repeated effort, joined to each
// place it is about by a leader. Half is half its width.
type WarmUpLabel struct {
	X, Half    float64
	At         []Point
	Lead, Name string
}

// The corridor's half width, and the least it is drawn with. Our judgement: as
// close as one can hold it.
const (
	holdWatts    = 5.0
	holdShare    = 0.03
	leastHalf    = 1.7 // units
	warmUpWidth  = 360.0
	leadFoot     = 18.0 // below the first line of a label
	labelsFoot   = 34.0 // below both
	corridorTop  = 48.0
	corridorBase = 122.0
	chainGap     = 20.0
	labelNudge   = 90.0 // units a label may stand off its step
)

// NewWarmUp lays the warm-up of a brief out; ok is false without one.
func NewWarmUp(b brief.Brief) (w WarmUp, ok bool) {
	steps := soundSteps(b.WarmUp.Steps)
	if len(steps) == 0 {
		return WarmUp{}, false
	}
	w = WarmUp{Width: warmUpWidth, Base: corridorBase, Top: corridorTop, GunX: warmUpWidth - 6}
	moments := soundMoments(b.WarmUp.Timeline)
	first := steps[0].StartS
	for _, s := range steps {
		first = math.Min(first, s.StartS)
	}
	if len(moments) > 0 { // earlier moments lengthen the picture by a quarter at most
		first = math.Max(math.Min(first, moments[0].AtS), 1.25*first)
	}
	first = math.Min(first, -1)
	x := func(at float64) float64 { return min(max((1-at/first)*w.GunX, 0), w.GunX) }
	w.corridor(steps, b.Rider.CriticalPower.Mean, x)
	w.label(steps, b.Rig.Speaks)
	foot := w.Base
	if len(moments) > 0 {
		w.Chain = w.Base + chainGap
		foot = w.Chain + 8
		numbers := make([]int, len(moments))
		for i, m := range moments {
			numbers[i] = i
			w.Marks = append(w.Marks, x(m.AtS))
		}
		l := layout{bead: 9.5, digit: 7, gap: 2, nudge: 40}
		w.Beads = placeBeads(numbers, w.Marks, letter, w.GunX, l)
	}
	gun, clocked := gunClock(b)
	w.Clocked = clocked
	w.ticks(steps, gun, clocked, foot+18, x)
	w.Height = foot + 24
	w.words(b, steps)
	return w, true
}

func (w *WarmUp) corridor(steps []brief.WarmUpStep, cp float64, x func(float64) float64) {
	most := math.Max(cp*1.1, 1)
	if !finite(most) {
		most = 1
	}
	for _, s := range steps {
		most = math.Max(most, s.Watts)
	}
	unit := (w.Base - w.Top) / most
	for _, s := range steps {
		y := w.Base - math.Max(s.Watts, 0)*unit
		half := 0.0
		if s.Watts >= 1 {
			half = math.Max(leastHalf, math.Max(holdWatts, holdShare*s.Watts)*unit)
		}
		w.Steps = append(w.Steps, WarmUpBand{FromX: x(s.StartS), ToX: x(s.StartS + s.DurationS), Upper: y - half, Lower: math.Min(y+half, w.Base)})
	}
	if cp > 0 && finite(cp) {
		w.CriticalY = w.Base - cp*unit
	}
}

// ask is what one label of the picture says: of a step, or of a short effort
// that is repeated with the same rest between.
type ask struct {
	steps     []int // of the efforts
	lasts     float64
	lead, say string
}

// asks are the labels wanted, in the order of the steps.
func asks(steps []brief.WarmUpStep, speaks string) []ask {
	var out []ask
	for i := 0; i < len(steps); i++ {
		s := steps[i]
		lead, unit := stepLead(speaks, s)
		a := ask{steps: []int{i}, lasts: s.DurationS, lead: lead, say: cut(clean(s.Name), 18)}
		if unit == "effort" {
			a.lead = unit + " " + lead
		}
		for i+2 < len(steps) && alike(steps[i+2], s) && steps[i+1].Watts < s.Watts && steps[i+1].DurationS < longRest &&
			(len(a.steps) == 1 || alike(steps[i+1], steps[i-1])) {
			i += 2
			a.steps = append(a.steps, i)
		}
		if n := len(a.steps); n > 1 {
			between, _ := stepLead(speaks, steps[i-1])
			a.lead, a.say, a.lasts = strconv.Itoa(n)+" × "+a.lead, between+" between", float64(n)*s.DurationS
		}
		out = append(out, a)
	}
	return out
}

// longRest is the rest, in s, from which efforts have labels of their own.
const longRest = 180

func alike(a, b brief.WarmUpStep) bool {
	return a.Watts == b.Watts && a.DurationS == b.DurationS && a.Name == b.Name
}

// label writes over each step what it asks for, and what it is called where
// there is room.
func (w *WarmUp) label(steps []brief.WarmUpStep, speaks string) {
	all := asks(steps, speaks)
	order := make([]int, len(all)) // indices, longest first
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(a, b int) int { return cmp.Compare(all[b].lasts, all[a].lasts) })
	for keep := len(all); keep > 0; {
		shown := append([]int{}, order[:keep]...)
		slices.Sort(shown)
		labels := make([]WarmUpLabel, len(shown))
		beads := make([]Bead, len(shown))
		for k, i := range shown {
			l := WarmUpLabel{Lead: all[i].lead}
			for _, n := range all[i].steps {
				band := w.Steps[n]
				l.At = append(l.At, Point{(band.FromX + band.ToX) / 2, band.Upper})
			}
			l.Name = all[i].say
			l.Half = math.Max(4*float64(utf8.RuneCountInString(l.Lead)), 3.1*float64(utf8.RuneCountInString(l.Name)))
			middle := (l.At[0].X + l.At[len(l.At)-1].X) / 2
			labels[k], beads[k] = l, Bead{X: middle, Half: l.Half}
		}
		if settle(beads, w.Width, 7) <= labelNudge || keep == 1 {
			for k := range labels {
				labels[k].X = beads[k].X
			}
			w.Labels = labels
			return
		}
		if !forgetWidest(all) {
			keep--
		}
	}
}

// forgetWidest takes the longest name away; false if there was none.
func forgetWidest(all []ask) bool {
	widest := 0
	for i := range all {
		if utf8.RuneCountInString(all[i].say) > utf8.RuneCountInString(all[widest].say) {
			widest = i
		}
	}
	had := all[widest].say != ""
	all[widest].say = ""
	return had
}

// ticks are times where steps begin: the gun, the start, then the longest
// steps first; then round times; each only where it keeps clear of those
// before.
func (w *WarmUp) ticks(steps []brief.WarmUpStep, gun float64, clocked bool, y float64, x func(float64) float64) {
	order := append([]brief.WarmUpStep{}, steps...)
	slices.SortStableFunc(order[1:], func(a, b brief.WarmUpStep) int {
		return cmp.Compare(b.DurationS, a.DurationS)
	})
	const char, gap = 6.4, 10.0
	type span struct{ from, to float64 }
	var taken []span
	put := func(at float64, text string) {
		width := char * float64(utf8.RuneCountInString(text))
		l := Label{x(at), y, text, "middle"}
		s := span{l.X - width/2, l.X + width/2}
		switch {
		case s.to > w.Width:
			l.X, l.Anchor, s = w.Width, "end", span{w.Width - width, w.Width}
		case s.from < 0:
			l.X, l.Anchor, s = 0, "start", span{0, width}
		}
		for _, t := range taken {
			if s.from < t.to+gap && t.from < s.to+gap {
				return
			}
		}
		taken = append(taken, s)
		w.Ticks = append(w.Ticks, l)
	}
	name := timeOfDay(0, gun, clocked) + " gun"
	if !clocked {
		name = "gun"
	}
	put(0, name)
	for _, s := range order {
		if text := timeOfDay(s.StartS, gun, clocked); !clocked || strings.Count(text, ":") == 1 {
			put(s.StartS, text)
		}
	}
	for _, round := range []float64{600, 300} {
		for t := math.Ceil((gun+steps[0].StartS)/round) * round; clocked && t < gun; t += round {
			put(t-gun, timeOfDay(t-gun, gun, true))
		}
	}
	slices.SortFunc(w.Ticks, func(a, b Label) int { return cmp.Compare(a.X, b.X) })
}

// words is the picture for those who cannot see it.
func (w *WarmUp) words(b brief.Brief, steps []brief.WarmUpStep) {
	w.Title = "The warm-up, " + lapse(-steps[0].StartS) + " to the gun"
	var said []string
	for _, s := range steps {
		lead, unit := stepLead(b.Rig.Speaks, s)
		if unit == "effort" {
			lead, unit = unit, lead
		}
		said = append(said, join([]string{lapse(s.DurationS), s.Name, lead, unit}, " "))
	}
	w.Desc = sentence(strings.Join(said, ", ")) + " The list has the times."
}

// edges are the corridor's two lines: where the effort jumps, the upper and
// the lower line turn a little apart, so that the corridor keeps its width.
func (w WarmUp) edges() (upper, lower []Point) {
	for i, b := range w.Steps {
		from, to := [2]float64{b.FromX, b.FromX}, [2]float64{b.ToX, b.ToX} // upper, lower
		turn := func(a, c WarmUpBand) float64 {
			d := min(leastHalf, (a.ToX-a.FromX)/2, (c.ToX-c.FromX)/2)
			if c.Upper+c.Lower < a.Upper+a.Lower { // rises: the upper line turns first
				return -d
			}
			return d
		}
		if i > 0 {
			d := turn(w.Steps[i-1], b)
			from[0], from[1] = b.FromX+d, b.FromX-d
		}
		if i+1 < len(w.Steps) {
			d := turn(b, w.Steps[i+1])
			to[0], to[1] = b.ToX+d, b.ToX-d
		}
		upper = append(upper, Point{from[0], b.Upper}, Point{to[0], b.Upper})
		lower = append(lower, Point{from[1], b.Lower}, Point{to[1], b.Lower})
	}
	return upper, lower
}

// SVG draws the warm-up; page.css knows the classes inside.
func (w WarmUp) SVG(class string) string {
	var d drawing
	d.open(class, w.Width, w.Height, w.Title, w.Desc)
	d.f(`<path class="ground" d="M0 %sH%s"/>`, at(w.Base), at(w.GunX))
	if w.CriticalY > 0 {
		d.f(`<path class="critical" d="M0 %sH%s"/>`, at(w.CriticalY), at(w.GunX))
	}
	for _, l := range w.Labels {
		for _, p := range l.At {
			foot := labelsFoot
			if l.Name == "" {
				foot = leadFoot
			}
			d.f(`<path class="leader" d="M%s %sV%sL%s %sV%s"/>`, at(l.X), at(foot), at(labelsFoot), at(p.X), at(w.Top-4), at(p.Y-1))
		}
	}
	upper, lower := w.edges()
	slices.Reverse(lower)
	d.f(`<path class="corridor" d="%sZ"/>`, path(append(upper, lower...)))
	d.f(`<path class="gun" d="M%s %sV%s"/>`, at(w.GunX), at(w.Top-8), at(max(w.Base, w.Chain)+8))
	for _, l := range w.Labels {
		d.text("target", Label{l.X, 14, l.Lead, "middle"})
		if l.Name != "" {
			d.text("tick", Label{l.X, 29, l.Name, "middle"})
		}
	}
	if w.Chain > 0 {
		d.f(`<path class="chain" d="M0 %sH%s"/>`, at(w.Chain), at(w.GunX))
		for _, b := range w.Beads {
			for i := b.First; i <= b.Last; i++ {
				d.f(`<path class="mark" d="M%s %sL%s %s"/>`, at(w.Marks[i]), at(w.Base), at(b.X), at(w.Chain))
			}
		}
		for _, b := range w.Beads {
			const r = 9.5
			d.f(`<rect class="bead" x="%s" y="%s" width="%s" height="%s" rx="%s"/>`, at(b.X-b.Half), at(w.Chain-r), at(2*b.Half), at(2*r), at(r))
			d.text("number", Label{b.X, w.Chain + 4.6, b.Label, "middle"})
		}
	}
	ticks := "tick"
	if w.Clocked {
		ticks = "tick clock"
	}
	for _, l := range w.Ticks {
		d.text(ticks, l)
	}
	d.f(`</svg>`)
	return d.String()
}
