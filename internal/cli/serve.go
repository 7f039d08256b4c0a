package cli

import (
	"bufio"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"log/slog"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/app"
	"chainline/internal/problem"
)

// serveRequest is what `chainline serve` was asked for.
type serveRequest struct {
	dir, listen string
	hosts       []string
	noBrowser   bool
	asJSON      bool
	verbose     bool
}

func serveCommand(s Streams) *cobra.Command {
	var q serveRequest
	c := &cobra.Command{
		Use:   "serve",
		Short: "Open Chainline in the browser",
		Long: "Serve starts the program for the browser on this machine and opens it there.\n" +
			"What you enter is kept in one folder that only you can read.",
		Example: "  chainline serve\n  chainline serve --data club --listen 127.0.0.1:8080 --no-browser",
		Args:    noArguments,
		RunE:    func(c *cobra.Command, _ []string) error { return serve(c.Context(), s, q) },
	}
	f := c.Flags()
	f.SortFlags = false
	f.StringVar(&q.dir, "data", "", "keep everything in this `folder` (default: the system's place for a user's data)")
	f.StringVar(&q.listen, "listen", "", "`address` and port to listen on (default: this machine alone); a network needs a passphrase")
	f.StringSliceVar(&q.hosts, "host", nil, "a further `name` by which browsers may ask, if others reach it on a network")
	f.BoolVar(&q.noBrowser, "no-browser", false, "only print the address")
	f.BoolVar(&q.asJSON, "json", false, "print the address as one line of JSON")
	f.BoolVar(&q.verbose, "verbose", false, "log every request")
	return c
}

// serve runs the program until it is stopped.
func serve(ctx context.Context, s Streams, q serveRequest) error {
	dir, err := dataDir(q.dir)
	if err != nil {
		return err
	}
	level := slog.LevelWarn
	if q.verbose {
		level = slog.LevelDebug
	}
	for i := range q.hosts {
		q.hosts[i] = strings.ToLower(q.hosts[i])
	}
	a, err := app.New(ctx, app.Config{
		Dir: dir, Listen: q.listen, Hosts: q.hosts, Now: s.Now, Version: s.Version, Workers: s.Workers,
		Log: slog.New(slog.NewTextHandler(s.Err, &slog.HandlerOptions{Level: level})),
	})
	if err != nil {
		return err
	}
	if err := announce(s, q, a.Address(), dir); err != nil {
		a.Close()
		return err
	}
	if !q.noBrowser && !q.asJSON && s.Browse != nil {
		if err := s.Browse(a.Address()); err != nil {
			fmt.Fprintln(s.Err, "The browser could not be opened; type the address into it.")
		}
	}
	return a.Run(ctx)
}

func announce(s Streams, q serveRequest, address, dir string) error {
	if q.asJSON {
		return json.NewEncoder(s.Out).Encode(struct {
			Schema  string `json:"schema"`
			Address string `json:"address"`
			Data    string `json:"data"`
		}{"chainline.serve/1", address, dir})
	}
	_, err := fmt.Fprintf(s.Out, "Chainline is at %s\nIt keeps everything in %s. Stop it with Ctrl-C.\n", address, dir)
	return err
}

func dataDir(named string) (string, error) {
	if named != "" {
		return named, nil
	}
	return app.DefaultDir()
}

func passphraseCommand(s Streams) *cobra.Command {
	var dir string
	c := &cobra.Command{
		Use:   "passphrase",
		Short: "Set the passphrase that listening on a network needs",
		Long: "Passphrase reads a passphrase of 12 characters or more from the terminal, or the first\n" +
			"line of the input, and keeps a hash of it in the data folder. Stop the program first.",
		Args: noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			dir, err := dataDir(dir)
			if err != nil {
				return err
			}
			phrase, err := readPassphrase(s)
			if err != nil {
				return err
			}
			if err := app.SetPassphrase(c.Context(), dir, phrase); err != nil {
				return err
			}
			_, err = fmt.Fprintln(s.Err, "The passphrase is kept.")
			return err
		},
	}
	c.Flags().StringVar(&dir, "data", "", "the data `folder` (default: the system's place for a user's data)")
	return c
}

// readPassphrase asks without showing what is typed, or reads one line.
func readPassphrase(s Streams) (string, error) {
	if s.Secret != nil {
		fmt.Fprint(s.Err, "Passphrase: ")
		phrase, err := s.Secret()
		fmt.Fprintln(s.Err)
		return phrase, err
	}
	if s.In == nil {
		return "", problem.Bad("passphrase: found no input; expected one line")
	}
	line, err := bufio.NewReader(io.LimitReader(s.In, 4096)).ReadString('\n')
	if err != nil && err != io.EOF {
		return "", fmt.Errorf("reading the passphrase: %w", err)
	}
	return strings.TrimRight(line, "\r\n"), nil
}
