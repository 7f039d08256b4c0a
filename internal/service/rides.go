package service

import (
	"context"
	"log/slog"
	"sync"
	"time"

	"chainline/debrief"
	"chainline/internal/store"
	"chainline/recording"
)

// AppConfig is what an App is made of. Store, Now and Log must be set.
type AppConfig struct {
	Store   *store.Store
	Now     func() time.Time
	Log     *slog.Logger
	Workers int // for what is reckoned; 0: all processors
}

// App is the library of rides that a data folder keeps: taken in, looked at,
// learnt from. Its methods may be called from many goroutines at once.
type App struct {
	c    AppConfig
	base context.Context // ends with Close
	stop context.CancelFunc
	wait sync.WaitGroup

	mu       sync.Mutex
	jobs     map[ImportID]*importJob
	toLearn  map[string]bool // riders whose rides are to be learnt from soon
	learning sync.Mutex      // one at a time
	sheets   sheetCache
	lessons  sync.Map // lesson by rider
	copying  sync.Mutex
	copySaid bool // that rides cannot be copied
}

// RideRow is one ride in a list. What is not known is empty or zero.
type RideRow struct {
	ID       string    `json:"id"`
	RiderID  string    `json:"rider,omitempty"`
	RigID    string    `json:"rig,omitempty"`
	RoadID   string    `json:"road,omitempty"`
	CourseID string    `json:"course,omitempty"`
	BriefID  string    `json:"brief,omitempty"`
	Title    string    `json:"title,omitempty"`
	Start    time.Time `json:"start"`           // in the zone in which it was ridden
	Dated    bool      `json:"dated"`           // the recording says when it was
	File     string    `json:"file"`            // as it came
	Kind     string    `json:"kind"`            // FIT, GPX, CSV or stored
	Live     string    `json:"live,omitempty"`  // ID of the ride in this program it came from
	Bench    bool      `json:"bench,omitempty"` // ridden on a simulated rig: it teaches nothing
	Indoors  bool      `json:"indoors"`
	Sport    string    `json:"sport,omitempty"`

	Seconds         float64           `json:"seconds"` // outside pauses
	Metres          float64           `json:"metres,omitempty"`
	Kilojoules      float64           `json:"kilojoules,omitempty"`
	MeanWatts       float64           `json:"mean_w,omitempty"`
	MeanHeart       float64           `json:"mean_heart,omitempty"`
	EquivalentWatts float64           `json:"equivalent_w,omitempty"`
	Load            *debrief.Interval `json:"load_th,omitempty"` // threshold-hours; nil: not reckoned yet, or no threshold is known
	Share           float64           `json:"share_of_threshold,omitempty"`

	Answer         string      `json:"could_have_gone_harder,omitempty"` // no, little, much
	Weighed        *[3]float64 `json:"weighed,omitempty"`                // kg before, kg after, l drunk
	Alone          bool        `json:"alone,omitempty"`
	GroupS         float64     `json:"group_s,omitempty"`  // among others of a live group
	CleanedChanges int         `json:"cleaned_changes"`    // that are made
	Undone         int         `json:"undone,omitempty"`   // changes that were taken back
	Repeats        string      `json:"repeats,omitempty"`  // ID of the ride that this is another device's recording of
	Left           bool        `json:"left_out,omitempty"` // from learning and the season, on purpose
	Cached         bool        `json:"cached"`             // its debrief opens at once
}

// RideFilter is which rides; the zero value is all, the newest first.
type RideFilter struct {
	From, To time.Time // days, both included; zero: open
	Indoors  *bool
	NoRider  bool   // only those that belong to nobody yet
	Text     string // in title or file name
	Limit    int    // 0: all
}

// Assignment is what a ride is said to belong to; nil leaves it as it is, ""
// takes it away.
type Assignment struct {
	RiderID, RigID, CourseID, RoadID, BriefID *string
	Alone                                     *bool
	Left                                      *bool // out of learning and the season
}

// RideFile is the file of a ride as it came.
type RideFile struct {
	Name  string
	Bytes []byte
}

// RideChange is one thing that cleaning found; Undone: it was taken back.
type RideChange struct {
	recording.Change
	Index  int  `json:"index"`
	Undone bool `json:"undone"`
}

// ImportID names an import.
type ImportID string

// ImportState says how far an import is.
type ImportState string

// The states of an import.
const (
	ImportRunning   ImportState = "running"
	ImportLearning  ImportState = "learning" // all files are in; what they taught is being reckoned
	ImportCancelled ImportState = "cancelled"
	ImportDone      ImportState = "done"
	ImportFailed    ImportState = "failed"
)

// ImportRequest is what is to be taken in.
type ImportRequest struct {
	Paths   []string // files, folders, archives on this machine
	Spooled []string // names that App.Spool gave, of files that were uploaded
	RiderID string   // may be empty
	RigID   string
}

// ImportProgress is how an import stands.
type ImportProgress struct {
	ID      ImportID        `json:"id"`
	Made    time.Time       `json:"made"`
	State   ImportState     `json:"state"`
	Found   int             `json:"found"` // files so far
	Done    int             `json:"done"`  // of them
	New     int             `json:"new"`   // rides
	Same    int             `json:"same"`  // that were here already
	Refused []ImportRefused `json:"refused,omitempty"`
	Learnt  int             `json:"learnt"` // rides that were learnt from so far
	Failed  string          `json:"failed,omitempty"`
}

// ImportRefused is a file that was not taken in.
type ImportRefused struct {
	File string `json:"file"`
	Line string `json:"line"` // why
}

// LearntItem is one thing that rides taught of a rider and that the next brief
// uses, unless it is left out.
type LearntItem struct {
	Key     string `json:"key"`
	What    string `json:"what"`           // in a sentence
	Origin  string `json:"origin"`         // which rides it comes from
	File    string `json:"file,omitempty"` // of the one ride it comes from
	Day     string `json:"day,omitempty"`  // of that ride, ISO 8601
	RideID  string `json:"ride,omitempty"`
	LeftOut bool   `json:"left_out,omitempty"`
}
