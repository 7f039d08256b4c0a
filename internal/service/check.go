package service

import (
	"context"
	"fmt"
	"math"
	"path/filepath"
	"slices"
	"strings"
	"time"

	"chainline/internal/input"
	"chainline/internal/problem"
	"chainline/internal/ride"
	"chainline/recording"
	"chainline/rig"
	"chainline/session"
)

// CheckRequest is a rig check as a person asks for it: of a ride of this
// program, or of one or two recordings.
type CheckRequest struct {
	Brief   BriefRequest // rider, rig, Today, Open; the rest is not looked at
	Begun   time.Time    // when what is checked was ridden; zero: as the recording says
	Looks   []CheckLook  // one; or two that recorded the same ride
	RigName string       // empty: as its file is called
	From    []string     // what was looked at, in words
	Bench   bool         // the rig was simulated
	// Devices that were connected, for their names and firmware.
	Devices []CheckDevice
	Before  *CheckSheet // the last check of this rig; nil none

	Past   []CheckLook // earlier rides of this rider on this rig
	Rounds []rig.Round // see MeasureLink
	Host   string      // that was asked for Rounds
	// TrueCircumference is what a tape measured, m; 0 not measured.
	TrueCircumference float64

	Climbs                 []input.ClimbFile // ridden outdoors with one of the sources
	OneLeg                 []string          // sources that measure one leg and double it, as a person calls them
	FlywheelKg, FlywheelSD float64           // at the wheel's rim; 0 not known, an SD of 0 is read as a tenth
	// StrictNames makes an error of what was told about a source that is not
	// there; otherwise the report says so.
	StrictNames bool
}

// CheckDevice is a device as it was when a rig was checked.
type CheckDevice struct {
	ID       string `json:"id"`
	Name     string `json:"name"`
	Firmware string `json:"firmware,omitempty"`
}

// CheckLook is one recording of a ride.
type CheckLook struct {
	Recording *recording.Recording
	Legs      []session.Leg // of the session ridden; nil where it is not known
	Name      string        // of its file; empty for a ride of this program
}

// CheckOfRide is what a journal of this program holds, to be looked at.
func CheckOfRide(r ride.Read) CheckLook {
	rec := r.Recording
	look := CheckLook{Recording: &rec}
	if s := r.Setup.Session; s != nil {
		look.Legs = s.Legs
		if !session.IsRigCheck(s.Session) {
			look.Legs = nil
		}
	}
	return look
}

// CheckRig looks at what was recorded and says what is wrong with the rig.
// Errors are *problem.Error or ctx's; what cannot be judged is no error but
// stands in the sheet.
func CheckRig(ctx context.Context, q CheckRequest) (CheckSheet, error) {
	if n := len(q.Looks); n < 1 || n > 2 || q.Looks[0].Recording == nil {
		return CheckSheet{}, problem.Bad("a check looks at one recording, or at two of the same ride; found %d", n)
	}
	in, names, err := q.input()
	if err != nil {
		return CheckSheet{}, err
	}
	if err := ctx.Err(); err != nil {
		return CheckSheet{}, err
	}
	unsaid, err := q.told(&in, names)
	if err != nil {
		return CheckSheet{}, err
	}
	report := rig.Check(in)
	report.Unsaid = append(report.Unsaid, unsaid...)
	if err := ctx.Err(); err != nil {
		return CheckSheet{}, err
	}
	sheet := newCheckSheet(report, names)
	sheet.Rider, sheet.Rig, sheet.From, sheet.Bench = names.rider, names.rig, q.From, q.Bench
	if report.Clock != nil {
		sheet.From = append(slices.Clone(q.From), otherClock(*report.Clock))
	}
	sheet.Made, sheet.ThresholdGuessed = q.Brief.Today, in.Threshold == 0
	sheet.Devices = q.Devices
	sheet.Guided, sheet.Host = len(in.Phases) > 0, q.Host
	sheet.Coasts = coastRows(in.Recording, in.Phases)
	sheet.Begun = q.Begun
	if sheet.Begun.IsZero() {
		sec, frac := math.Modf(in.Recording.StartUnix)
		sheet.Begun = time.Unix(int64(sec), int64(frac*1e9)).In(time.FixedZone("", in.Recording.ZoneSeconds))
	}
	return sheet, nil
}

// otherClock says how the second recording's clock goes by the first's.
func otherClock(c rig.Clock) string {
	way := "later"
	if c.LateS < 0 {
		way = "earlier"
	}
	words := fmt.Sprintf("the second recording's clock stands %.1f s %s", math.Abs(c.LateS), way)
	if c.Fast.SD > 0 {
		words += fmt.Sprintf(" and runs fast by %.0f parts in a million (%.0f to %.0f)", 1e6*c.Fast.Mean, 1e6*(c.Fast.Mean-z95*c.Fast.SD), 1e6*(c.Fast.Mean+z95*c.Fast.SD))
	}
	return strings.ReplaceAll(words, "-", "−")
}

// checkNames are whom and what a check is about, and the key of each source of
// watts by its name in the report.
type checkNames struct {
	rider, rig string
	keys       map[string]ride.SourceKey
	renamed    map[string]string // of a recording's sources, by quantity
}

// input is everything rig.Check may look at.
func (q CheckRequest) input() (rig.CheckInput, checkNames, error) {
	names := checkNames{keys: map[string]ride.SourceKey{}, renamed: map[string]string{}}
	set := input.RigFile{Rig: guessedRig(q.Looks[0].Recording)}
	if q.Brief.Rig != "" {
		var err error
		if set, err = read(q.Brief, q.Brief.Rig, input.ReadRig); err != nil {
			return rig.CheckInput{}, names, err
		}
	}
	in := rig.CheckInput{Rig: set.Rig, Rounds: q.Rounds, Firmware: q.firmware(), TrueCircumference: q.TrueCircumference,
		Circumference: set.Rig.WheelCircumference, Side: map[string]rig.SourceKind{}}
	if names.rig = q.RigName; names.rig == "" {
		names.rig = strings.TrimSuffix(filepath.Base(q.Brief.Rig), filepath.Ext(q.Brief.Rig))
	}
	if q.Brief.Rig == "" {
		names.rig = ""
	}
	if q.Brief.Rider != "" {
		known, err := Learn(q.Brief)
		if err != nil {
			return in, names, err
		}
		names.rider, in.Threshold = known.Rider.Name, known.Capacity.Threshold()
	}
	for i, l := range q.Looks {
		rec := q.named(l.Recording, &names, in.Side, set.Rig)
		if i == 0 {
			in.Recording, in.Phases = rec, phasesOf(rec, l.Legs)
			continue
		}
		in.Other = rec
	}
	if q.TrueCircumference < 0 || q.TrueCircumference > 5 {
		return in, names, problem.Bad("the wheel's circumference is %g m; expected 0.3 to 5 m as measured with a tape", q.TrueCircumference)
	}
	for _, p := range q.Past {
		day := (in.Recording.StartUnix - p.Recording.StartUnix) / 86400
		if day <= 0 {
			continue
		}
		rec := q.named(p.Recording, &names, in.Side, set.Rig)
		in.History = append(in.History, pastEfforts(rec, day)...)
		in.Coasts = append(in.Coasts, pastCoasts(coastRows(rec, phasesOf(rec, p.Legs)), day)...)
	}
	return in, names, nil
}

// guessedRig stands in where nobody says what was ridden on: a brake that was
// told watts, or one that was not.
func guessedRig(r *recording.Recording) rig.Rig {
	out := rig.Rig{Trainer: rig.Trainer{Kind: rig.Plain}, SensorsAssumed: true}
	if len(r.Sources(recording.Commanded)) > 0 {
		out.Trainer.Kind = rig.Controllable
	}
	return out
}

// named is a recording whose sources are called as a person would call them.
// What a ride did not go by is put back among the readings of its source: a
// check looks at what was said, not at what was believed.
func (q CheckRequest) named(r *recording.Recording, n *checkNames, side map[string]rig.SourceKind, of rig.Rig) *recording.Recording {
	out := *r
	out.Channels, out.Used = nil, map[recording.Quantity]string{}
	place := map[string]int{}
	for _, c := range r.Channels {
		raw := strings.TrimSuffix(c.Source, ride.Rejected)
		name := q.nameOf(c.Quantity, raw, n)
		if c.Quantity == recording.Power {
			n.keys[name] = ride.SourceKey(raw)
			if kind := sideOf(raw, of); kind != rig.SourceNone {
				side[name] = kind
			}
		}
		c.Source = name
		key := string(c.Quantity) + "\x00" + name
		if i, there := place[key]; there {
			out.Channels[i] = merged(out.Channels[i], c)
			continue
		}
		place[key] = len(out.Channels)
		out.Channels = append(out.Channels, c)
	}
	for quantity, source := range r.Used {
		out.Used[quantity] = q.nameOf(quantity, source, n)
	}
	out.Marks = append([]recording.Mark(nil), r.Marks...)
	for i := range out.Marks {
		if out.Marks[i].Source != "" {
			out.Marks[i].Source = q.nameOf(recording.Power, out.Marks[i].Source, n)
		}
	}
	return &out
}

// nameOf is what the source of a quantity is called. Two services of one
// device that tell the same quantity are told apart by what they are.
func (q CheckRequest) nameOf(quantity recording.Quantity, raw string, n *checkNames) string {
	key := string(quantity) + "\x00"
	if name, ok := n.renamed[key+raw]; ok {
		return name
	}
	device, service, ok := strings.Cut(raw, "/")
	name := raw
	switch {
	case raw == string(ride.FromCurve):
		name = "wheel speed and curve"
	case device == "ride":
	case q.called(device) != "":
		name = q.called(device)
	case ok && service == "1826":
		name = "trainer " + device
	case ok && service == "1818":
		name = "meter " + device
	case ok:
		name = device
	}
	for other, taken := range n.renamed {
		if taken == name && other != key+raw && strings.HasPrefix(other, key) {
			name += map[string]string{"1818": " (as a power meter)", "1826": " (as a trainer)", "1816": " (speed and cadence)", "180D": " (heart)"}[service]
			break
		}
	}
	n.renamed[key+raw] = name
	return name
}

// sideOf is where a source measures, as far as its service tells.
func sideOf(raw string, of rig.Rig) rig.SourceKind {
	switch {
	case raw == string(ride.FromCurve):
		return rig.SourceCurve
	case strings.HasSuffix(raw, "/1826"):
		return rig.SourceTrainer
	case strings.HasSuffix(raw, "/1818"):
		switch of.Source.Kind {
		case rig.SourceCrank, rig.SourcePedal, rig.SourceHub:
			return of.Source.Kind
		}
	case raw == of.Source.Name:
		return of.Source.Kind
	}
	return rig.SourceNone
}

// merged are two channels' readings in the order of time.
func merged(a, b recording.Channel) recording.Channel {
	out := recording.Channel{Quantity: a.Quantity, Source: a.Source}
	i, j := 0, 0
	for i < len(a.Seconds) || j < len(b.Seconds) {
		from, at := &a, &i
		if i >= len(a.Seconds) || j < len(b.Seconds) && b.Seconds[j] < a.Seconds[i] {
			from, at = &b, &j
		}
		s := from.Seconds[*at]
		if n := len(out.Seconds); n == 0 || s > out.Seconds[n-1] {
			out.Seconds, out.Values = append(out.Seconds, s), append(out.Values, from.Values[*at])
		}
		*at++
	}
	return out
}

// CheckSession is the guided check for a rider on a rig, in the notation, and
// whether it may have its sprint.
func CheckSession(q RideRequest, sprint bool) (text string, err error) {
	ask, c, err := q.known()
	if err != nil {
		return "", err
	}
	if sprint {
		scaling, err := ScalingOf(q)
		if err != nil {
			return "", err
		}
		if ok, why := session.SprintAllowed(scaling.Screened); !ok {
			return "", problem.Bad("the check's sprint is all out: %s", why).WithHint("The check is worth as much without it.")
		}
	}
	w := session.RigCheckWish{Sprint: sprint, Gentle: ask.EasyOnly, ThresholdW: c.Threshold()}
	switch ask.Rig.Speaks() {
	case rig.WheelSpeed:
		w.Lead, w.WheelMS = session.CheckBySpeed, wheelSpeedOf(ask.Rig)
	case rig.Feel:
		w.Lead = session.CheckByFeel
	}
	return session.RigCheck(w), nil
}

// wheelSpeedOf is the wheel speed in m/s of watts on a plain trainer, by its
// curve or by the usual guess.
func wheelSpeedOf(r rig.Rig) func(watts float64) float64 {
	curve := r.Trainer.Curve
	if !curve.Known() {
		curve = rig.UnknownCurve()
	}
	return func(watts float64) float64 {
		low, high := 0.0, 30.0
		for range 40 {
			mid := (low + high) / 2
			if curve.Watts(mid) < watts {
				low = mid
			} else {
				high = mid
			}
		}
		return high
	}
}

// called is a device's name; empty if it is not known.
func (q CheckRequest) called(device string) string {
	for _, d := range q.Devices {
		if d.ID == device {
			return d.Name
		}
	}
	return ""
}

// firmware says which devices run another firmware than at the last check.
func (q CheckRequest) firmware() []string {
	if q.Before == nil {
		return nil
	}
	var out []string
	for _, d := range q.Devices {
		for _, b := range q.Before.Devices {
			if b.ID == d.ID && b.Firmware != "" && d.Firmware != "" && b.Firmware != d.Firmware {
				out = append(out, fmt.Sprintf("%s: %s, before %s", d.Name, d.Firmware, b.Firmware))
			}
		}
	}
	return out
}

// CheckDevices are the devices of a ride that goes on.
func CheckDevices(c *ride.Core) []CheckDevice {
	var out []CheckDevice
	for _, d := range c.Seen() {
		name := d.Name
		if name == "" {
			name = d.ID
		}
		out = append(out, CheckDevice{ID: d.ID, Name: name, Firmware: d.Firmware})
	}
	return out
}
