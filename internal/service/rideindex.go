package service

import (
	"bytes"
	"encoding/binary"
	"encoding/json"
	"fmt"
	"math"
	"slices"
	"time"

	"chainline/debrief"
	"chainline/internal/intake"
	"chainline/internal/problem"
	"chainline/internal/store"
	"chainline/recording"
)

// rideFacts is what was measured of a ride, as the store keeps it.
type rideFacts struct {
	Title   string   `json:"title,omitempty"`
	Sport   string   `json:"sport,omitempty"`
	Kind    string   `json:"kind"`
	Zone    int      `json:"zone_s,omitempty"`
	Dated   bool     `json:"dated,omitempty"`
	Indoors bool     `json:"indoors,omitempty"`
	Whole   bool     `json:"whole,omitempty"`
	Bench   bool     `json:"bench,omitempty"`
	Losses  []string `json:"losses,omitempty"`
	Power   bool     `json:"power,omitempty"`

	MovingS     float64 `json:"moving_s"`
	KnownS      float64 `json:"power_known_s,omitempty"`
	Metres      float64 `json:"metres,omitempty"`
	WorkJ       float64 `json:"work_j,omitempty"`
	MeanW       float64 `json:"mean_w,omitempty"`
	EquivalentW float64 `json:"equivalent_w,omitempty"`
	MeanHeart   float64 `json:"mean_heart,omitempty"`
	GroupS      float64 `json:"group_s,omitempty"` // in a live group
	Changes     int     `json:"changes,omitempty"` // of cleaning, that are made
}

// rideSaid is what a person said of a ride.
type rideSaid struct {
	Harder  string      `json:"harder,omitempty"`
	Weighed *[3]float64 `json:"weighed,omitempty"`
	Alone   bool        `json:"alone,omitempty"`
	Left    bool        `json:"left_out,omitempty"`
	Undone  []string    `json:"undone,omitempty"` // keys of changes that were taken back
}

// changeKey names a change of cleaning, so that it is found again when the
// program finds others beside it.
func changeKey(c recording.Change) string {
	return fmt.Sprintf("%s/%s/%s/%g", c.Kind, c.Quantity, c.Source, c.From)
}

// cleanedBut is the recording with all changes made but those taken back; the
// changes are those made.
func cleanedBut(r *recording.Recording, undone []string) (*recording.Recording, []recording.Change) {
	changes := recording.Suspect(r)
	if len(undone) > 0 {
		changes = slices.DeleteFunc(changes, func(c recording.Change) bool { return slices.Contains(undone, changeKey(c)) })
	}
	return recording.Apply(r, changes), changes
}

// factsOf measures a ride; best is nil where there is no power.
func factsOf(rec *recording.Recording, kind string, losses, undone []string) (rideFacts, *debrief.MeanMax, error) {
	clean, changes := cleanedBut(rec, undone)
	g, err := debrief.GlanceAt(clean, "")
	if err != nil {
		return rideFacts{}, nil, err
	}
	_, dated := dayOf(rec)
	w := g.Whole
	company, _ := rec.Company()
	return rideFacts{Title: problem.OneLine(rec.Title), Sport: rec.Sport, Kind: kind, Zone: rec.ZoneSeconds, Dated: dated, Indoors: whereOf(rec) == "indoor",
		Whole: rec.Whole, Losses: losses, Power: g.Best != nil, MovingS: w.MovingS, KnownS: w.KnownS, Metres: w.ToM, WorkJ: w.WorkJ,
		MeanW: w.MeanW, EquivalentW: w.EquivalentW, MeanHeart: w.MeanHeart, GroupS: company.Seconds, Changes: len(changes)}, g.Best, nil
}

// startOf is when a recording began; one without a date begins in 1970.
func startOf(r *recording.Recording) time.Time {
	return time.UnixMilli(int64(math.Round(1000 * r.StartUnix))).UTC()
}

// packed is a mean-maximal power as the store keeps it: what every further
// second adds to the work of the best, in tenths of a joule.
func packed(m *debrief.MeanMax) []byte {
	if m == nil {
		return nil
	}
	out := make([]byte, 0, 2*len(m.Watts))
	before := int64(0)
	for i, w := range m.Watts {
		work := int64(math.Round(10 * w * float64(i+1)))
		out = binary.AppendVarint(out, work-before)
		before = work
	}
	return out
}

// unpacked is what packed kept; where each best begins is not.
func unpacked(b []byte) debrief.MeanMax {
	var m debrief.MeanMax
	work := int64(0)
	for len(b) > 0 {
		step, n := binary.Varint(b)
		if n <= 0 {
			break // no longer what was kept: the rest is left out
		}
		work, b = work+step, b[n:]
		m.Watts = append(m.Watts, float64(work)/10/float64(len(m.Watts)+1))
	}
	m.Start = make([]int, len(m.Watts))
	return m
}

// jsonOf is a value that the store keeps.
func jsonOf(v any) []byte {
	b, err := json.Marshal(v)
	if err != nil {
		panic(err) // numbers and words only, and none that are not finite
	}
	return b
}

// keptRide is a ride of the store with what is in it.
type keptRide struct {
	store.Ride
	facts  rideFacts
	said   rideSaid
	known  bool // learnt is of this ride as it stands
	learnt rideLearnt
}

func openRide(r store.Ride) (k keptRide) {
	k.Ride = r
	// What cannot be read was written by another program: it counts as not said.
	_ = json.Unmarshal(r.Facts, &k.facts)
	_ = json.Unmarshal(r.Said, &k.said)
	k.known = r.Learnt != nil && json.Unmarshal(r.Learnt, &k.learnt) == nil
	return k
}

// counts tells whether a ride teaches and belongs to a season.
func (k keptRide) counts() bool { return k.Repeats == "" && !k.said.Left }

// day is the day of a ride where it was ridden.
func (k keptRide) day() time.Time {
	t := k.Start.Add(time.Duration(k.facts.Zone) * time.Second)
	return time.Date(t.Year(), t.Month(), t.Day(), 0, 0, 0, 0, time.UTC)
}

func (k keptRide) where() string {
	switch {
	case k.facts.Indoors:
		return "indoor"
	case k.facts.Sport != "":
		return "outdoor"
	}
	return ""
}

func (k keptRide) row() RideRow {
	f := k.facts
	r := RideRow{ID: k.ID, RiderID: k.RiderID, RigID: k.RigID, RoadID: k.RoadID, CourseID: k.CourseID, BriefID: k.BriefID, Title: f.Title,
		Start: k.Start.In(time.FixedZone("", f.Zone)), Dated: f.Dated, File: k.Filename, Kind: f.Kind, Live: k.Live, Bench: f.Bench, Indoors: f.Indoors, Sport: f.Sport,
		Seconds: f.MovingS, Metres: f.Metres, Kilojoules: f.WorkJ / 1000, MeanWatts: f.MeanW, EquivalentWatts: f.EquivalentW, MeanHeart: f.MeanHeart,
		Answer: k.said.Harder, Weighed: k.said.Weighed, Alone: k.said.Alone, GroupS: f.GroupS, CleanedChanges: f.Changes, Undone: len(k.said.Undone), Repeats: k.Repeats, Left: k.said.Left}
	if k.known && k.learnt.Threshold != nil {
		load := k.learnt.Load
		r.Load, r.Share = &load, f.EquivalentW/k.learnt.Threshold.Mean
	}
	return r
}

// recordingOf reads one ride of a file as it came.
func recordingOf(name string, b []byte, number int) (intake.Arrived, error) {
	all, err := intake.Read(name, bytes.NewReader(b), intake.Usual())
	if err != nil {
		return intake.Arrived{}, err
	}
	if number < 1 || number > len(all) || all[number-1].Err != nil {
		return intake.Arrived{}, problem.Bad("%s: has no ride %d any more", name, number)
	}
	return all[number-1], nil
}

// recording reads a ride of the store.
func (a *App) recording(k keptRide) (intake.Arrived, error) {
	b, err := a.c.Store.RideFile(k.Hash)
	if err != nil {
		return intake.Arrived{}, err
	}
	got, err := recordingOf(k.Filename, b, k.Number)
	got.Recording.Whole = got.Recording.Whole && k.facts.Whole
	return got, err
}
