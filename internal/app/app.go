// Package app builds the program from a configuration: the store, the pages,
// the address. The command and the tests from end to end use it alike.
package app

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"net"
	"net/http"
	"net/netip"
	"os"
	"path/filepath"
	"sync"
	"time"

	"chainline/internal/api"
	"chainline/internal/live"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/internal/store"
	"chainline/internal/web"
)

// Config is what a program is built from. Dir, Now and Log must be set.
type Config struct {
	Dir     string   // the data folder
	Listen  string   // host:port; empty: the usual port on loopback, any if that is taken
	Hosts   []string // names besides loopback's by which browsers may ask
	Now     func() time.Time
	Log     *slog.Logger
	Version string
	Workers int

	// PassphraseHash takes the place of the one kept in the data folder.
	PassphraseHash string
	// Gallery, if not empty, is served under /gallery (tests only).
	Gallery []web.State
}

// usual is where the program listens when nobody says otherwise, so that a
// bookmark keeps working.
const usual = "127.0.0.1:7741"

// Timeouts and limits of one connection. A brief of a long course takes
// seconds; an upload of 50 MB over a slow wireless network a minute or two.
const (
	headerWait = 5 * time.Second
	readWait   = 3 * time.Minute
	writeWait  = 3 * time.Minute
	idleWait   = 2 * time.Minute
	maxHeader  = 32 << 10
	farewell   = 5 * time.Second // for requests under way when it is stopped
)

// App is a program that listens, and serves once Run is called.
type App struct {
	store    *store.Store
	rides    *live.Manager
	library  *service.App
	listener net.Listener
	server   *http.Server
	cancel   context.CancelFunc
	closing  sync.Once
	closed   error
}

// DefaultDir is the data folder when nobody names one.
func DefaultDir() (string, error) { return store.DefaultDir(os.Getenv) }

// New opens the data folder and the address. It refuses to listen beyond this
// machine without a passphrase.
func New(ctx context.Context, c Config) (a *App, err error) {
	s, err := store.Open(ctx, c.Dir)
	if err != nil {
		return nil, err
	}
	s.Now = c.Now
	s.Check = check
	defer func() {
		if err != nil {
			err = errors.Join(err, s.Close())
		}
	}()
	l, err := listen(ctx, c.Listen)
	if err != nil {
		return nil, err
	}
	defer func() {
		if err != nil {
			l.Close()
		}
	}()
	hash, err := lock(ctx, c, s, l.Addr())
	if err != nil {
		return nil, err
	}
	library := service.NewApp(service.AppConfig{Store: s, Now: c.Now, Log: c.Log, Workers: c.Workers})
	defer func() {
		if err != nil {
			err = errors.Join(err, library.Close())
		}
	}()
	rides := live.New(live.Config{Folder: filepath.Join(c.Dir, "rides"), Settings: s, Radio: Radio(), Now: c.Now, Log: c.Log,
		Finished: func(r live.Summary) { takeIn(library, c, r) }})
	s.Busy, s.Gone = rests(rides), func(riders []string) error { return rides.Forget(riders...) }
	pages, err := web.New(web.Config{
		Live: rides, Library: library, Warm: true,
		Store: s, Log: c.Log, Now: c.Now, Version: c.Version, Hosts: c.Hosts, Workers: c.Workers,
		PassphraseHash: hash, Gallery: c.Gallery,
		API: api.New(api.Config{Store: s, Now: c.Now, Log: c.Log, Version: c.Version, Workers: c.Workers, Library: library}),
	})
	if err != nil {
		return nil, err
	}
	base, cancel := context.WithCancel(context.WithoutCancel(ctx))
	if err := rides.TakeUpGroups(); err != nil {
		c.Log.Warn("live groups of before do not go on", "error", err)
	}
	if err := takeUp(rides, library, c); err != nil {
		c.Log.Warn("rides of before are not taken into the library", "error", err)
	}
	return &App{store: s, rides: rides, library: library, listener: l, cancel: cancel, server: &http.Server{
		Handler:           pages,
		ReadHeaderTimeout: headerWait,
		ReadTimeout:       readWait,
		WriteTimeout:      writeWait,
		IdleTimeout:       idleWait,
		MaxHeaderBytes:    maxHeader,
		BaseContext:       func(net.Listener) context.Context { return base },
		ErrorLog:          slog.NewLogLogger(c.Log.Handler(), slog.LevelDebug),
	}}, nil
}

// rests is why a rider cannot be deleted now.
func rests(rides *live.Manager) func(riderID string) error {
	return func(riderID string) error {
		if !rides.Riding(riderID) {
			return nil
		}
		return problem.Bad("this rider is riding just now, and would not be gone").WithHint("End the ride first.")
	}
}

// takeIn takes a finished ride into the library.
func takeIn(library *service.App, c Config, r live.Summary) {
	if err := library.TakeLive(context.Background(), liveRide(c, r)); err != nil {
		c.Log.Warn("a ride is not in the library; it is taken in when the program is started again", "ride", r.ID, "error", err)
	}
}

func liveRide(c Config, r live.Summary) service.LiveRide {
	return service.LiveRide{ID: r.ID, Title: r.Title, File: filepath.Join(c.Dir, "rides", r.ID+".recording"), Bench: r.Bench,
		Rider: r.Rider, RiderID: r.Of.Rider, RigID: r.Of.Rig, CourseID: r.Of.Course, RoadID: r.Of.Road}
}

// takeUp takes in the finished rides of before, in the background.
func takeUp(rides *live.Manager, library *service.App, c Config) error {
	all, err := rides.Finished()
	var before []service.LiveRide
	for _, r := range all {
		before = append(before, liveRide(c, r))
	}
	library.TakeUp(before)
	return err
}

// check lets nothing into the store that the program could not read again.
func check(o store.Object) error {
	switch {
	case o.Original == nil:
		return service.Check(string(o.Kind), o.Text, nil)
	case o.Original.Bytes == nil:
		return nil // it stays as it is kept
	}
	return service.Check(string(o.Kind), o.Text, o.Original.Bytes)
}

func listen(ctx context.Context, at string) (net.Listener, error) {
	var lc net.ListenConfig
	if at == "" {
		if l, err := lc.Listen(ctx, "tcp", usual); err == nil {
			return l, nil
		}
		at = "127.0.0.1:0"
	}
	l, err := lc.Listen(ctx, "tcp", at)
	if err != nil {
		return nil, &problem.Error{Kind: problem.Misuse, Message: fmt.Sprintf("--listen: cannot listen on %q: %v", at, err), Hint: "An address reads like 127.0.0.1:7741; port 0 takes any free one.", Err: err}
	}
	return l, nil
}

// lock is the hash to ask a passphrase for: none on loopback, where whoever
// can reach the program already sits at this machine.
func lock(ctx context.Context, c Config, s *store.Store, at net.Addr) (string, error) {
	if ip, err := netip.ParseAddrPort(at.String()); err == nil && ip.Addr().Unmap().IsLoopback() && c.PassphraseHash == "" {
		return "", nil
	}
	if c.PassphraseHash != "" {
		return c.PassphraseHash, nil
	}
	hash, err := s.Setting(ctx, web.SettingPassphrase)
	if err != nil {
		return "", err
	}
	if hash == "" {
		return "", problem.Bad("listening on a network needs a passphrase, and none is kept").WithHint("Set one with 'chainline passphrase', or listen to this machine alone.")
	}
	return hash, nil
}

// Address is where a browser on this machine finds the program.
func (a *App) Address() string {
	at, err := netip.ParseAddrPort(a.listener.Addr().String())
	if err == nil && at.Addr().IsUnspecified() {
		return fmt.Sprintf("http://127.0.0.1:%d/", at.Port())
	}
	return "http://" + a.listener.Addr().String() + "/"
}

// Run serves until ctx ends, lets requests under way finish, and closes
// everything.
func (a *App) Run(ctx context.Context) error {
	served := make(chan error, 1)
	go func() { served <- a.server.Serve(a.listener) }()
	var err error
	select {
	case <-ctx.Done():
	case err = <-served:
	}
	if errors.Is(err, http.ErrServerClosed) {
		err = nil
	}
	return errors.Join(err, a.Close())
}

// Close stops serving and gives the data folder free. It may be called more
// than once.
func (a *App) Close() error {
	a.closing.Do(func() {
		a.closed = a.rides.Close() // every trainer hears 'easy' first
		wait, stop := context.WithTimeout(context.Background(), farewell)
		defer stop()
		if err := a.server.Shutdown(wait); err != nil {
			a.server.Close() // whoever is still waiting has had their time
		}
		a.cancel()
		a.listener.Close() // if it never served; closing twice does no harm
		a.closed = errors.Join(a.closed, a.library.Close(), a.store.Close())
	})
	return a.closed
}

// SetPassphrase keeps a passphrase in a data folder that no program uses, and
// ends all visits.
func SetPassphrase(ctx context.Context, dir, passphrase string) (err error) {
	hash, err := web.HashPassphrase(passphrase)
	if err != nil {
		return err
	}
	s, err := store.Open(ctx, dir)
	if err != nil {
		return err
	}
	defer func() { err = errors.Join(err, s.Close()) }()
	if err := s.SetSetting(ctx, web.SettingPassphrase, hash); err != nil {
		return err
	}
	return s.DeleteVisits(ctx)
}
