// Package cli is the command line: commands, progress, and the only code that
// prints.
package cli

import (
	"context"
	"errors"
	"fmt"
	"io"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"chainline/internal/problem"
)

// Streams are where the command line reads and writes, and what it may assume
// of the world.
type Streams struct {
	Out, Err    io.Writer
	ErrTerminal bool // a person looks at Err: show progress
	Colour      bool
	Now         func() time.Time
	Version     string
	Workers     int

	In      io.Reader
	Secret  func() (string, error)     // reads a line of the terminal without showing it; nil: no terminal
	Desktop bool                       // somebody sits before a screen: without arguments, serve
	Browse  func(address string) error // opens the browser; nil: there is none

	Radio RadioPort                           // nil: this build has none
	Keys  func() (<-chan byte, func(), error) // single keys of the terminal, until the function is called; nil: no terminal
}

// Run executes the arguments and returns the exit code: 0 done, 1 failed or
// stopped, 2 misuse. What went wrong is one line on Err, with a hint below it.
func Run(ctx context.Context, args []string, s Streams) int {
	root := rootCommand(s)
	root.SetArgs(args)
	root.SetOut(s.Out)
	root.SetErr(s.Err)
	err := root.ExecuteContext(ctx)
	if err == nil {
		return 0
	}
	msg, hint := problem.ForPerson(err)
	fmt.Fprintln(s.Err, "chainline: "+msg)
	if hint != "" {
		fmt.Fprintln(s.Err, "  "+hint)
	}
	return problem.ExitCode(err)
}

func rootCommand(s Streams) *cobra.Command {
	root := &cobra.Command{
		Use:   "chainline",
		Short: "Numbers you can trust, and a plan you can ride, for indoor cycling",
		Long: "Chainline turns a rider, a rig and a course into a brief: what to hold where, what it\n" +
			"will take, and how sure that is. Everything is computed on this machine.",
		SilenceErrors: true,
		SilenceUsage:  true,
		Version:       s.Version,
		Args:          noArguments,
		RunE: func(c *cobra.Command, _ []string) error {
			if s.Desktop {
				return serve(c.Context(), s, serveRequest{})
			}
			return c.Help()
		},
	}
	root.SetVersionTemplate("chainline {{.Version}}\n")
	root.SetFlagErrorFunc(flagError)
	root.AddCommand(briefCommand(s), rideCommand(s), groupCommand(s), sessionCommand(s), checkCommand(s), debriefCommand(s), shareCommand(s), openCommand(s), raceCommand(s), handicapCommand(s), togetherCommand(s), importCommand(s), ridesCommand(s), calendarCommand(s), resultsCommand(s), serveCommand(s), passphraseCommand(s))
	return root
}

// flagError makes cobra's complaint a misuse.
func flagError(c *cobra.Command, err error) error {
	if _, ok := errors.AsType[*problem.Error](err); ok {
		return err
	}
	misuse := problem.Bad("%s", err)
	if bad, ok := errors.AsType[*pflag.InvalidValueError](err); ok {
		misuse = problem.Bad("--%s: %s", bad.GetFlag().Name, bad.Unwrap())
		if bad.GetFlag().Value.Type() == "bool" {
			misuse = problem.Bad("--%s: found %q; expected true or false", bad.GetFlag().Name, bad.GetValue())
		}
	}
	return misuse.WithHint(fmt.Sprintf("'%s --help' lists what can be asked.", c.CommandPath()))
}

func noArguments(c *cobra.Command, args []string) error {
	if len(args) > 0 {
		return problem.Bad("found %q; expected options only", args[0]).WithHint(fmt.Sprintf("'%s --help' lists what can be asked.", c.CommandPath()))
	}
	return nil
}

// progress shows what is being done on one line of a terminal.
type progress struct {
	to    io.Writer
	shown bool
}

func (p *progress) say(what string) {
	fmt.Fprintf(p.to, "\r\x1b[K%s …", what)
	p.shown = true
}

// clear removes the line, so that the result stands alone.
func (p *progress) clear() {
	if p.shown {
		fmt.Fprint(p.to, "\r\x1b[K")
	}
}
