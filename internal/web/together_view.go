package web

import (
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"strings"

	"chainline/internal/form"
	"chainline/internal/ride"
	"chainline/internal/service"
)

// Company is everybody of a live group at one instant, in words and numbers as
// they are shown: the page is written from it, and the same is sent to it while
// it is open.
type Company struct {
	Clock  string `json:"clock"`  // of the group
	Gone   bool   `json:"gone"`   // the gun has gone
	Count  string `json:"count"`  // until the gun, large; empty when nothing counts
	Link   string `json:"link"`   // how the host is heard, in a sentence
	Silent bool   `json:"silent"` // the host is not heard

	Here      string `json:"here"`  // who waits at the line
	Ahead     string `json:"ahead"` // "4 s" to the next one ahead; "–" when there is nobody
	AheadWho  string `json:"ahead_who"`
	Behind    string `json:"behind"`
	BehindWho string `json:"behind_who"`
	Shelter   string `json:"shelter"` // "in the shelter of two, 31 % less air drag"
	Helped    string `json:"helped"`  // that and how much the host helps; empty when not
	Keep      bool   `json:"keep"`

	Dots    []CompanyDot   `json:"dots"` // front to back
	Left    []CompanyDot   `json:"left"` // who rides no more
	Phrases []CompanyWords `json:"phrases"`
}

// CompanyDot is one rider.
type CompanyDot struct {
	Key    string  `json:"key"`
	Name   string  `json:"name"`
	You    bool    `json:"you"`
	At     float64 `json:"at"`    // along the course, share
	S      float64 `json:"s"`     // seconds behind you, or behind the first where nobody is you; negative ahead
	Known  bool    `json:"known"` // whether S is
	Mark   string  `json:"mark"`  // how the dot is drawn: riding, late, waiting, silent, home, gone
	Helped bool    `json:"helped"`
	Gap    string  `json:"gap"`   // "4 s ahead", "12 s behind"
	Since  string  `json:"since"` // seconds to the one before them in the list; empty for the first
	Says   string  `json:"says"`  // state in words
	Bring  bool    `json:"bring"` // the host may bring them up
}

// Class is how the list draws the dot: what the shape says, and whether there
// are seconds before it.
func (d CompanyDot) Class() string {
	class := "is-" + d.Mark
	for _, more := range []struct {
		is   bool
		name string
	}{{d.You, "own"}, {d.Helped, "helped"}, {d.Since == "", "close"}} {
		if more.is {
			class += " " + more.name
		}
	}
	return class
}

// Nobody is the row that the page's script makes others from.
func (c *Company) Nobody() CompanyDot { return CompanyDot{} }

// CompanyWords is a phrase somebody said.
type CompanyWords struct {
	From  string `json:"from"`
	Words string `json:"words"`
}

// JSON is the company for the first paint.
func (c *Company) JSON() string {
	b, err := json.Marshal(c)
	if err != nil {
		return ""
	}
	return string(b)
}

// Lines are the dots in words, front to back, then who rides no more.
func (c *Company) Lines() []string {
	var out []string
	for _, d := range append(append([]CompanyDot(nil), c.Dots...), c.Left...) {
		words := d.Name
		if d.You {
			words += " (you)"
		}
		for _, more := range []string{d.Gap, d.Says} {
			if more != "" {
				words += ", " + more
			}
		}
		out = append(out, words)
	}
	return out
}

// NewCompany puts a group's sheet into words; lengthM is the course's.
func NewCompany(s ride.GroupSheet, lengthM float64, u form.Units) *Company {
	c := &Company{Clock: groupClock(s), Keep: s.Keep, Dots: []CompanyDot{}, Left: []CompanyDot{}, Phrases: []CompanyWords{}}
	c.Gone = s.GunSet && s.ClockS >= 0
	if s.GunSet && s.ClockS < 0 {
		c.Count = rideTime(math.Ceil(-s.ClockS))
	}
	me, last := -1, math.NaN()
	among := slices.ContainsFunc(s.Riders, func(r ride.GroupDot) bool { return r.You })
	var here []string
	for i, r := range s.Riders {
		d := companyDot(r, lengthM, among, u)
		if r.State == ride.DotGone {
			c.Left = append(c.Left, d)
			continue
		}
		if r.You {
			me = i
		}
		if d.Known && !math.IsNaN(last) && math.Abs(r.BehindS-last) >= closeS {
			d.Since = gapWords(r.BehindS - last)
		}
		if last = math.NaN(); d.Known {
			last = r.BehindS
		}
		d.Bring = s.Host && r.LateS > 0 && r.State == ride.DotRiding && len(c.Dots) > 0
		if r.State == ride.DotWaiting && !r.You {
			here = append(here, r.Name)
		}
		c.Dots = append(c.Dots, d)
	}
	if len(here) > 0 {
		c.Here = "At the line: " + strings.Join(here, ", ") + "."
	}
	c.Link, c.Silent = linkWords(s, me >= 0)
	if me >= 0 {
		c.around(s, me, u)
	}
	for _, p := range s.Phrases {
		c.Phrases = append(c.Phrases, CompanyWords{p.From, p.Words})
	}
	return c
}

// closeS is what stands in the list as riding together: no seconds between.
const closeS = 0.75

// gapWords are seconds as a calm page shows them: whole ones.
func gapWords(s float64) string {
	s = math.Abs(s)
	if s < 99.5 {
		return fmt.Sprintf("%.0f s", s)
	}
	return rideTime(s)
}

// companyDot is one rider; among is whether one of them is 'you'.
func companyDot(r ride.GroupDot, lengthM float64, among bool, u form.Units) CompanyDot {
	d := CompanyDot{Key: r.Key, Name: r.Name, You: r.You, S: r.BehindS, Known: r.Known, Helped: r.Extra, Mark: r.State}
	if lengthM > 0 {
		d.At = math.Max(0, math.Min(1, r.AtM/lengthM))
	}
	if r.State == ride.DotRiding && r.LateS > 0 {
		d.Mark = "late"
	}
	if r.State == ride.DotHome && r.BehindS == 0 { // all stand at the line: that says nothing of when they came
		d.Known = false
	}
	d.Says = dotWords(r, u)
	if d.Known && !r.You && among {
		switch s := math.Round(r.BehindS); {
		case s == 0:
			d.Gap = "beside you"
		case s < 0:
			d.Gap = gapWords(s) + " ahead"
		default:
			d.Gap = gapWords(s) + " behind"
		}
	}
	return d
}

// dotWords is how a rider is, in words: they say what the dot's shape says.
func dotWords(r ride.GroupDot, u form.Units) string {
	at, unit := r.AtM/1000, "km"
	if u == form.Imperial {
		at, unit = r.AtM/1609.344, "mi"
	}
	var words []string
	switch r.State {
	case ride.DotWaiting:
		words = append(words, "at the line")
	case ride.DotSilent:
		words = append(words, fmt.Sprintf("not heard for %s, drawn where last reckoned", gapWords(r.SilentS)))
	case ride.DotGone:
		words = append(words, fmt.Sprintf("ended at %.1f %s", at, unit))
	case ride.DotHome:
		words = append(words, "home")
	default:
		words = append(words, fmt.Sprintf("at %.1f %s", at, unit))
	}
	if r.LateS > 0 {
		words = append(words, "left the line "+rideTime(r.LateS)+" after the gun")
	}
	if r.Extra && r.State == ride.DotRiding {
		words = append(words, "helped by the host")
	}
	return strings.Join(words, ", ")
}

func groupClock(s ride.GroupSheet) string {
	switch {
	case !s.GunSet:
		return "The gun is not set yet"
	case s.ClockS < 0:
		return "The gun in " + rideTime(math.Ceil(-s.ClockS))
	}
	return rideTime(s.ClockS) + " since the gun"
}

// saySilentS is how long the host has to be silent before the pages say so.
const saySilentS = 5

// palesS is how long it has to be silent before the others are pale.
const palesS = 15

// linkWords say how the host is heard.
func linkWords(s ride.GroupSheet, rides bool) (words string, silent bool) {
	switch {
	case s.Link == ride.LinkSilent && s.SilentS == 0:
		return "The host has not been heard yet.", false
	case s.Link == ride.LinkSilent || s.SilentS >= saySilentS && s.Link != ride.LinkHere:
		words = "The host has not been heard for " + gapWords(s.SilentS) + "."
		if rides {
			words += " Your ride and its recording go on."
		}
		if s.SilentS >= palesS {
			words += " The others are drawn pale, where last reckoned."
		}
		return words, true
	case s.Link == ride.LinkSlow:
		return "The host is heard late: the others may be a little further than drawn.", false
	case s.Link == ride.LinkHere:
		return "Hosted by this machine.", false
	}
	return "The host is heard well.", false
}

// around fills in what matters to whoever rides: who is next, the shelter, the
// host's help. me is the index of the rider's own dot.
func (c *Company) around(s ride.GroupSheet, me int, u form.Units) {
	c.Ahead, c.AheadWho, c.Behind, c.BehindWho = "–", "nobody ahead", "–", "nobody behind"
	rides := func(r ride.GroupDot) bool { return r.State == ride.DotRiding || r.State == ride.DotSilent }
	gap := func(r ride.GroupDot) string { // by metres while the seconds are not known
		if !r.Known {
			return u.Distance(math.Abs(r.AtM - s.Riders[me].AtM))
		}
		return gapWords(r.BehindS)
	}
	for i := me - 1; i >= 0; i-- {
		if r := s.Riders[i]; rides(r) {
			c.Ahead, c.AheadWho = gap(r), "ahead, "+r.Name
			break
		}
	}
	for _, r := range s.Riders[me+1:] {
		if rides(r) {
			c.Behind, c.BehindWho = gap(r), "behind, "+r.Name
			break
		}
	}
	if s.Riders[me].State == ride.DotRiding {
		c.Shelter = shelterWords(s, me)
		if s.Riders[me].Extra || s.Extra < 0.995 && s.Extra > 0 {
			c.Helped = fmt.Sprintf("Helped by the host: %.0f %% less air drag until you are back. Your recording says so.", 100*(1-s.Extra))
		}
	}
}

// shelterWords say whose shelter one is in, and what it takes off.
func shelterWords(s ride.GroupSheet, me int) string {
	ahead, at, reach := 0, s.Riders[me].AtM, service.ShelterReachM()
	for i := me - 1; i >= 0; i-- {
		r := s.Riders[i]
		if r.State != ride.DotRiding {
			continue
		}
		if r.AtM-at >= reach {
			break
		}
		ahead, at = ahead+1, r.AtM
	}
	less := fmt.Sprintf("%.0f %% less air drag", 100*(1-s.Shelter))
	switch {
	case s.Shelter > 0.985 || s.Shelter <= 0:
		return "in the wind"
	case ahead == 0:
		return "in the wind, " + less + " by who is behind you"
	}
	return "in the shelter of " + few(ahead) + ", " + less
}

// few are small numbers in words.
func few(n int) string {
	words := []string{"nobody", "one", "two", "three", "four", "five", "six", "seven", "eight", "nine"}
	if n >= 0 && n < len(words) {
		return words[n]
	}
	return fmt.Sprint(n)
}
