package web

import (
	"context"
	"encoding/json"
	"fmt"
	"html/template"
	"math"
	"net/http"
	"slices"
	"strings"
	"sync"
	"time"

	"chainline/internal/form"
	"chainline/internal/live"
	"chainline/internal/ride"
)

// The guided page: one instruction at a time, and the watts of every source.

// CheckRidePage is a check that is being ridden.
type CheckRidePage struct {
	Base
	ID       string
	Of       string
	Bench    bool
	Cautions []string
	V        CheckView
	Canned   bool // of the gallery: nothing is asked of the program
	Tape     template.HTML
	Most     string // the tape's upper edge, "250 W"
	Moments  string // the tape as JSON, for the script to go on with
	Ended    bool   // its report can be made
}

// CheckView is one instant of a check, as it is sent to the page.
type CheckView struct {
	Stage string `json:"stage"`
	Seq   uint64 `json:"seq"`
	Clock string `json:"clock"`
	Place string `json:"place"` // "step 3 of 17"
	Part  string `json:"part"`  // what it is for
	Do    string `json:"do"`    // the one instruction
	Big   string `json:"big"`
	Unit  string `json:"unit"`
	Extra string `json:"extra"`
	Time  string `json:"time"` // how long still at most
	Then  string `json:"then"`

	Guide   CheckGuide    `json:"guide"`
	Sources []CheckSource `json:"sources"`
	Cadence string        `json:"cadence"`
	Heart   string        `json:"heart"`
	Found   []RideSensor  `json:"found"`
	Zero    []RideSensor  `json:"zero"` // devices that can be calibrated now
	Quiet   string        `json:"quiet"`
	Stop    string        `json:"stop"`
	Says    string        `json:"says"` // the last notice
	Resting bool          `json:"resting"`
	Asked   float64       `json:"asked"` // W; 0 none
	T       float64       `json:"t"`     // s, any zero
}

// CheckMoment is one second of the tape: what each source said, −1 for
// nothing, and what was asked.
type CheckMoment struct {
	T float64   `json:"t"`
	W []float64 `json:"w"`
	A float64   `json:"a"`
}

// tapeFor is how much of the watts is drawn, s.
const tapeFor = 120.0

// checkTape is the last of what every source said.
type checkTape struct {
	mu   sync.Mutex
	last []CheckMoment
}

func (k *checkTape) add(t, asked float64, sources []CheckSource) {
	k.mu.Lock()
	defer k.mu.Unlock()
	if n := len(k.last); n > 0 && t-k.last[n-1].T < 0.9 {
		return
	}
	m := CheckMoment{T: t, A: asked}
	for _, s := range sources {
		w := s.Watts
		if s.Words == "–" {
			w = -1
		}
		m.W = append(m.W, w)
	}
	k.last = append(k.last, m)
	for len(k.last) > 0 && k.last[0].T < t-tapeFor {
		k.last = k.last[1:]
	}
}

func (k *checkTape) moments() []CheckMoment {
	k.mu.Lock()
	defer k.mu.Unlock()
	return slices.Clone(k.last)
}

// tapeTop is the tape's upper edge in W, a round number.
func tapeTop(all []CheckMoment) float64 {
	top := 100.0
	for _, m := range all {
		top = math.Max(top, m.A)
		for _, w := range m.W {
			top = math.Max(top, w)
		}
	}
	return 50 * math.Ceil(1.05*top/50)
}

// CheckTape draws the tape: what was asked, and a line for each source.
func CheckTape(all []CheckMoment) template.HTML {
	if len(all) == 0 {
		return ""
	}
	const wide, high = 800.0, 220.0
	end, top, sources := all[len(all)-1].T, tapeTop(all), 0
	for _, m := range all {
		sources = max(sources, len(m.W))
	}
	var b strings.Builder
	line := func(class string, of func(CheckMoment) float64) {
		fmt.Fprintf(&b, `<path class="%s" d="`, class)
		pen := false
		for _, m := range all {
			w := of(m)
			if w < 0 {
				pen = false
				continue
			}
			fmt.Fprintf(&b, "%s%.1f %.1f", map[bool]string{true: "L", false: "M"}[pen], wide*(m.T-end+tapeFor)/tapeFor, high-high*w/top)
			pen = true
		}
		b.WriteString(`"/>`)
	}
	line("asked", func(m CheckMoment) float64 {
		if m.A > 0 {
			return m.A
		}
		return -1
	})
	for i := range sources {
		line(fmt.Sprintf("s%d", i%4), func(m CheckMoment) float64 {
			if i < len(m.W) {
				return m.W[i]
			}
			return -1
		})
	}
	return template.HTML(b.String()) //nolint:gosec // numbers alone
}

// CheckSource is what one source of watts says now.
type CheckSource struct {
	Name  string  `json:"name"`
	Watts float64 `json:"watts"`
	Words string  `json:"words"` // "183", or a dash
}

// Template names the page's template.
func (*CheckRidePage) Template() string { return "check-ride.html" }

// partWords say what a part of the check is for.
var partWords = map[string]string{
	"easy":       "Warm up: meters and brakes drift while they are cold.",
	"zero":       "Zero: what is shown while nothing is pushed.",
	"steps":      "Steps of power: every error that depends on watts shows here.",
	"cadences":   "One power at several cadences: what depends on how fast you pedal shows here.",
	"sprint":     "A sprint: what is shown at the top.",
	"coast-down": "Coast-down: how the wheel runs by itself.",
	"quiet rest": "Quiet: what is shown while nothing moves.",
	"":           "Between two parts.",
}

// In is whether the check is in one of some stages.
func (v CheckView) In(stages ...string) bool {
	for _, s := range stages {
		if v.Stage == s {
			return true
		}
	}
	return false
}

// NewCheckView puts a snapshot of a check into words.
func NewCheckView(set ride.Setup, s ride.Snapshot, g CheckGuide, sources []CheckSource, u form.Units) CheckView {
	r := NewRideView(set, s, u)
	v := CheckView{Stage: r.Stage, Seq: r.Seq, Clock: r.Clock, Place: r.Place, Guide: g, Sources: sources, Cadence: r.Cadence, Heart: r.Heart,
		Found: r.Found, Quiet: r.Quiet, Stop: r.Stop, Big: r.Big, Unit: r.Unit, Time: r.Time}
	v.Do = s.Now.Say
	if v.Do == "" {
		v.Do = s.Now.Words
	}
	v.Do, v.Guide.Words = u.Words(v.Do), u.Words(v.Guide.Words)
	if set.Session != nil && s.Step != nil && s.Step.Index < len(set.Session.Legs) {
		part := newCheckGuide(set).parts[s.Step.Index]
		v.Part, v.Resting = partWords[part], part == "zero" || part == "quiet rest" || part == "coast-down"
	}
	if s.Now.CadenceLow > 0 {
		v.Extra = fmt.Sprintf("%.0f to %.0f rpm", s.Now.CadenceLow, s.Now.CadenceHigh)
		if s.Now.CadenceLow == s.Now.CadenceHigh {
			v.Extra = fmt.Sprintf("%.0f rpm", s.Now.CadenceLow)
		}
	}
	if v.Resting {
		v.Big, v.Unit = "", ""
	}
	if t := s.Then; t != nil {
		v.Then = u.Words(t.Words)
	}
	switch s.Stage {
	case ride.Waiting:
		v.Do, v.Part = "Connect every device that shows watts, speed, cadence or heart. Then begin to pedal.", "The check begins with your first pedal stroke."
		v.Big, v.Unit, v.Extra, v.Time = "", "", "", ""
	case ride.Ending:
		v.Do, v.Part, v.Big, v.Extra = "That was all. The report is being made.", "", "", ""
	}
	for _, d := range r.Sensors {
		if d.Offset || d.Spin {
			v.Zero = append(v.Zero, d)
		}
	}
	v.T = s.ClockS
	if s.Stage == ride.Riding && !v.Resting {
		v.Asked = s.Now.Watts
	}
	if n := r.Notices; len(n) > 0 {
		v.Says = n[len(n)-1].Words
	}
	return v
}

// sourcesOf are the watts of every source, as their devices said last.
func sourcesOf(x *live.Ride) []CheckSource {
	var out []CheckSource
	x.Engine.Do(func(c *ride.Core, now time.Time) string {
		names := map[string]string{}
		for _, d := range c.Seen() {
			names[d.ID] = d.Name
		}
		for _, p := range c.Sources() {
			name := names[p.Device]
			if p.Key == ride.FromCurve {
				name = "wheel speed and curve"
			} else if name == "" {
				name = p.Device
			}
			one := CheckSource{Name: name, Watts: p.Watts, Words: fmt.Sprintf("%.0f", p.Watts)}
			if now.Sub(p.At) > 3*time.Second {
				one.Watts, one.Words = 0, "–"
			}
			out = append(out, one)
		}
		return ""
	})
	return out
}

func (s *Server) checkRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	id := r.PathValue("id")
	x, ok := s.live.Ride(id)
	if ok && isCheck(x.Riding.Setup) {
		select {
		case <-x.Settled():
		default:
			units, err := s.units(r.Context())
			if err != nil {
				return err
			}
			p := NewCheckRidePage(x.Riding.Setup, NewCheckView(x.Riding.Setup, x.Engine.Snapshot(), CheckGuide{}, sourcesOf(x), units))
			p.Cautions = x.Riding.Warnings
			p.Draw(s.guideCheck(x).moments())
			return s.show(w, r, http.StatusOK, p)
		}
	}
	sum, err := s.live.Summary(id)
	if err != nil {
		return notFound("There is no such check.")
	}
	p := &CheckRidePage{Base: checkBase("Rig check"), ID: id, Of: sum.Rider, Bench: sum.Bench, Ended: true}
	p.V.Stage = string(ride.Ended)
	return s.show(w, r, http.StatusOK, p)
}

// NewCheckRidePage is the guided page at one instant.
func NewCheckRidePage(set ride.Setup, v CheckView) *CheckRidePage {
	p := &CheckRidePage{Base: checkBase("Rig check"), ID: set.ID, Of: set.Rider.Name, Bench: set.Bench, V: v}
	p.Dark = true
	return p
}

// Draw gives the page its tape.
func (p *CheckRidePage) Draw(all []CheckMoment) {
	p.Tape, p.Most = CheckTape(all), fmt.Sprintf("%.0f W", tapeTop(all))
	if b, err := json.Marshal(all); err == nil && len(all) > 0 {
		p.Moments = string(b)
	}
}

// checkLive sends the check while a page is open.
func (s *Server) checkLive(w http.ResponseWriter, r *http.Request) error {
	return s.whileOpen(w, r, func(x *live.Ride, units form.Units) func(ride.Snapshot) any {
		g := newCheckGuide(x.Riding.Setup) // the page's own: the one that presses keys goes on without any page
		return func(snap ride.Snapshot) any {
			now, _ := g.take(snap)
			return NewCheckView(x.Riding.Setup, snap, now, sourcesOf(x), units)
		}
	})
}

// checkKey does what a rider asks of a check. A calibration needs the ride to
// pause: that is done with it, and the ride goes on by itself.
func (s *Server) checkKey(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	k, why, err := typedKey(r)
	if err != nil {
		return err
	}
	switch {
	case why != "":
	case k.Kind == ride.KeyZeroOffset || k.Kind == ride.KeySpinDown:
		why = s.calibrate(x, k)
	default:
		why = x.Engine.Key(k)
	}
	if strings.Contains(r.Header.Get("Accept"), "application/json") {
		return answerJSON(w, map[string]string{"why": why})
	}
	return s.see(w, r, "/ride/"+x.ID+"/check", why)
}

// How long a ride stands at most for a device to answer: a zero offset takes
// seconds, a spin-down a ride up to speed and a wheel that runs down.
const (
	zeroFor     = 10 * time.Second
	spinDownFor = 2 * time.Minute
)

// calibrate has a device set its zero or spin down, while the ride stands.
func (s *Server) calibrate(x *live.Ride, k ride.Key) string {
	before := x.Engine.Snapshot()
	if before.Stage == ride.Riding {
		if why := x.Engine.Key(ride.Key{Kind: ride.KeyPause}); why != "" {
			return why
		}
	}
	snapshots, stop := x.Engine.Watch()
	if why := x.Engine.Key(k); why != "" || before.Stage != ride.Riding {
		stop()
		if why != "" && before.Stage == ride.Riding {
			x.Engine.Key(ride.Key{Kind: ride.KeyResume})
		}
		return why
	}
	limit := time.NewTimer(zeroFor)
	if k.Kind == ride.KeySpinDown {
		limit.Reset(spinDownFor)
	}
	go func() {
		defer stop()
		defer limit.Stop()
		for {
			select {
			case snap := <-snapshots:
				if !answered(snap, before.At) {
					continue
				}
			case <-limit.C:
			case <-x.Settled():
				return
			}
			x.Engine.Key(ride.Key{Kind: ride.KeyResume}) // if somebody went on meanwhile, that is all right
			return
		}
	}()
	return ""
}

// answered tells whether a calibration ended after an instant.
func answered(s ride.Snapshot, after time.Time) bool {
	for _, n := range s.Notices {
		if over, _ := calibrated(n); over && n.At.After(after) {
			return true
		}
	}
	return false
}

// askEndCheck asks once more, since what an ended check lacks cannot be judged.
func (s *Server) askEndCheck(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	return s.show(w, r, http.StatusOK, &DeletePage{Base: checkBase("End the check?"), Action: "/ride/" + x.ID + "/check/end", Keep: "/ride/" + x.ID + "/check",
		Button: "End the check", Stay: "Ride on", Says: "What was ridden is kept and looked at. What was not ridden cannot be judged, and the report says so."})
}

func (s *Server) endCheck(w http.ResponseWriter, r *http.Request) error {
	x, err := s.theRide(r)
	if err != nil {
		return err
	}
	return s.see(w, r, "/ride/"+x.ID+"/check", x.Engine.Key(ride.Key{Kind: ride.KeyEnd}))
}

// reportRide makes the report of a check that was ridden.
func (s *Server) reportRide(w http.ResponseWriter, r *http.Request) error {
	if s.live == nil {
		return errNoRides
	}
	id := r.PathValue("id")
	if x, ok := s.live.Ride(id); ok {
		select {
		case <-x.Settled():
		default:
			return refuse(http.StatusConflict, "The check is still being ridden; its report comes when it has ended.")
		}
	}
	a, err := s.askedOf(r.Context(), id)
	if err != nil {
		return err
	}
	made, err := s.store.RigChecks(r.Context(), a.Rig)
	if err != nil {
		return err
	}
	for _, c := range made { // sent twice, or by two pages
		if c.Ride == id && c.RiderID == a.Rider {
			return s.see(w, r, "/check/"+c.ID, "")
		}
	}
	parts, err := s.parts(r.Context(), briefAsk{Rider: a.Rider, Rig: a.Rig})
	if err != nil {
		return err
	}
	c, err := s.reportOf(r.Context(), a, parts, id)
	if err != nil {
		return err
	}
	return s.see(w, r, "/check/"+c.ID, "")
}

// askedOf is what a check was asked to be when it began.
func (s *Server) askedOf(ctx context.Context, id string) (checkAsk, error) {
	var a checkAsk
	text, err := s.store.Setting(ctx, settingCheck+id)
	if err != nil {
		return a, err
	}
	if json.Unmarshal([]byte(text), &a) != nil || a.Rider == "" {
		return a, refuse(http.StatusConflict, "For whom this check was ridden is not known any more. Choose rider and rig, and this ride, under ‘Look at a ride of this program’.")
	}
	return a, nil
}
