// Command chainline makes briefs for indoor rides.
package main

import (
	"context"
	"os"
	"os/signal"
	"runtime"
	"runtime/debug"
	"syscall"
	"time"

	"golang.org/x/term"

	"chainline/internal/app"
	"chainline/internal/cli"
)

func main() { os.Exit(run()) }

func run() int {
	ctx, stop := signal.NotifyContext(context.Background(), os.Interrupt, syscall.SIGTERM)
	defer stop()
	out := term.IsTerminal(int(os.Stdout.Fd()))
	var secret func() (string, error)
	var keys func() (<-chan byte, func(), error)
	if in := int(os.Stdin.Fd()); term.IsTerminal(in) {
		secret = func() (string, error) {
			b, err := term.ReadPassword(in)
			return string(b), err
		}
		if out {
			keys = func() (<-chan byte, func(), error) { return readKeys(in, os.Stdin) }
		}
	}
	return cli.Run(ctx, os.Args[1:], cli.Streams{
		In: os.Stdin, Secret: secret, Keys: keys, Radio: app.Radio(), Desktop: app.Desktop(), Browse: app.Browse,
		Out: os.Stdout, Err: os.Stderr,
		ErrTerminal: term.IsTerminal(int(os.Stderr.Fd())),
		Colour:      out && os.Getenv("NO_COLOR") == "",
		Now:         time.Now,
		Version:     version(),
		Workers:     runtime.GOMAXPROCS(0),
	})
}

func version() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "development"
	}
	return info.Main.Version
}
