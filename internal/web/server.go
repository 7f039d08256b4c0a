package web

import (
	"context"
	"io"
	"log/slog"
	"net/http"
	"sync"
	"sync/atomic"
	"time"

	"chainline/internal/live"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web/assets"
)

// Store is what pages keep things in; internal/store is one.
type Store interface {
	Object(ctx context.Context, id string) (store.Object, error)
	Objects(ctx context.Context, kind store.Kind) ([]store.Object, error)
	Put(ctx context.Context, o store.Object) (store.Object, error)
	PutOver(ctx context.Context, o store.Object, was string) (store.Object, error)
	Delete(ctx context.Context, id string) error
	RemoveDemo(ctx context.Context) error

	Brief(ctx context.Context, id string) (store.Brief, error)
	Briefs(ctx context.Context, riderID string) ([]store.Brief, error)
	PutBrief(ctx context.Context, b store.Brief) (store.Brief, error)
	DeleteBrief(ctx context.Context, id string) error

	RigCheck(ctx context.Context, id string) (store.RigCheck, error)
	RigChecks(ctx context.Context, rigID string) ([]store.RigCheck, error)
	PutRigCheck(ctx context.Context, c store.RigCheck) (store.RigCheck, error)
	DeleteRigCheck(ctx context.Context, id string) error
	Corrections(ctx context.Context, rigID string) ([]store.Correction, error)
	ApplyCorrection(ctx context.Context, checkID, source string) error
	TakeBackCorrection(ctx context.Context, checkID, source string) error

	Export(ctx context.Context, w io.Writer, riderID string) error
	Import(ctx context.Context, r io.ReaderAt, size int64) (store.Report, error)

	Settings
	Visits
	Calendars
	Forecasts
	StartLists
}

// Settings are the choices of the person, by key.
type Settings interface {
	Setting(ctx context.Context, key string) (string, error) // empty if it was never set
	SetSetting(ctx context.Context, key, value string) error
}

// Keys of settings.
const (
	settingTheme = "theme" // light, dark, or empty: as the system
	// SettingPassphrase is the hash of the passphrase (HashPassphrase).
	SettingPassphrase = "passphrase"
)

// Config is what a Server is made of. Store, Log and Now must be set.
type Config struct {
	Store   Store
	Log     *slog.Logger
	Now     func() time.Time
	Version string
	Hosts   []string // names by which the program may be asked for, besides those of this machine's loopback
	Workers int      // for a brief's computation; 0: all processors

	// PassphraseHash, if set, lets nobody in without the passphrase.
	PassphraseHash string

	// API, if set, answers below /api/, behind the same guards.
	API http.Handler

	// Live owns the rides that go on; nil: there is no riding in this program.
	Live *live.Manager

	// Library keeps rides and what they taught; nil: this program has none.
	Library *service.App

	// Warm lets the program reckon slow pages ahead, see warm.go.
	Warm bool

	// Gallery, if not empty, is served under /gallery: every state of every
	// page. Releases leave it empty.
	Gallery []State
}

// State is one state of one page for the gallery.
type State struct {
	Name string // in a path, like "riders-empty"
	Page Page
}

// Server answers the browser.
type Server struct {
	store     Store
	log       *slog.Logger
	now       func() time.Time
	version   string
	workers   int
	hosts     []string
	hash      atomic.Pointer[string] // of the passphrase; nil: everybody may come in
	gallery   []State
	live      *live.Manager
	shapes    sync.Map     // small pictures of rides
	library   *service.App // nil: there is none
	templates *Templates
	mux       *http.ServeMux
	checking  sync.Mutex // one check of a passphrase at a time
	waiting   chan struct{}
	whole     http.Handler

	courseCache courseCache                 // what lists of courses have reckoned
	learnt      remembered[service.Known]   // what riders' files come to
	scalings    remembered[service.Scaling] // what sessions are scaled by
	cards       remembered[[]RideCard]      // sessions, for a rider on a rig
	readySheets remembered[service.ReadySheet]
	riderPages  remembered[RiderPage] // and what their pages say
	briefJobs   briefJobs             // briefs that are being made
	briefBase   briefBase             // briefs before a change, reckoned quickly
	briefMoves  briefMoves            // changes that are being reckoned
	checkTapes  sync.Map              // of checks that are ridden, by ride: *checkTape
	startLists  startListBriefs       // briefs for all of a start list
	works       works                 // what takes longer than a page
	raceFaults  sync.Map              // who could not be raced, by event: []string
	warms       bool                  // slow pages are reckoned ahead
	warming     atomic.Bool           // that goes on now
	warmWanted  atomic.Bool           // and is wanted (once more)
	warmed      sync.Once             // after the start
	preparing   atomic.Bool           // a brief that changes are compared with is being reckoned
}

// New is a server with all its routes.
func New(c Config) (*Server, error) {
	files, err := assets.New()
	if err != nil {
		return nil, err
	}
	templates, err := LoadTemplates(files)
	if err != nil {
		return nil, err
	}
	s := &Server{
		store: c.Store, log: c.Log, now: c.Now, version: c.Version, workers: c.Workers, hosts: c.Hosts,
		gallery: c.Gallery, warms: c.Warm, live: c.Live, library: c.Library, templates: templates,
		mux: http.NewServeMux(), waiting: make(chan struct{}, 8),
	}
	if c.PassphraseHash != "" {
		s.hash.Store(&c.PassphraseHash)
	}
	s.mux.Handle("GET "+assets.Prefix, files)
	s.visitRoutes()
	s.nextRoutes()
	s.riderRoutes()
	s.rigRoutes()
	s.courseRoutes()
	s.roadRoutes()
	s.eventRoutes()
	s.calendarRoutes()
	s.briefRoutes()
	s.rideRoutes()
	s.checkRoutes()
	s.libraryRoutes()
	s.settingRoutes()
	s.galleryRoutes()
	if c.API != nil {
		for _, method := range []string{"GET", "POST", "PUT", "PATCH", "DELETE"} { // not all: "GET /" below would conflict
			s.mux.Handle(method+" /api/", c.API)
		}
	}
	s.get("/", func(http.ResponseWriter, *http.Request) error {
		return notFound("There is no page at this address. The pages are listed above.")
	})
	s.whole = s.guard(s.mux)
	return s, nil
}

// ServeHTTP answers one request.
func (s *Server) ServeHTTP(w http.ResponseWriter, r *http.Request) { s.whole.ServeHTTP(w, r) }
