package cli

import (
	"bytes"
	"encoding/json"
	"fmt"
	"io"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"chainline/internal/fitfile"
	"chainline/internal/problem"
	"chainline/internal/service"
	"chainline/session"
)

// sessionCommand shows a session, and turns it into a FIT workout or back.
func sessionCommand(s Streams) *cobra.Command {
	var fit string
	var asJSON bool
	c := &cobra.Command{
		Use:   "session NAME | FILE",
		Short: "Show a session in sentences; write it as a FIT workout, or read one",
		Long: "Session takes a session of the library by its name, a file in the notation of\n" +
			"docs/sessions.md, or a FIT workout, and prints it in that notation.",
		Example: "  chainline session threshold-twice\n  chainline session my-own.txt --fit my-own.fit\n  chainline session coach.fit",
		Args: func(c *cobra.Command, args []string) error {
			if len(args) != 1 {
				return problem.Bad("expected one session: a name of the library, or a file").WithHint("'chainline ride --sessions' lists the names.")
			}
			return nil
		},
		RunE: func(c *cobra.Command, args []string) error {
			text, losses, err := sessionText(args[0])
			if err != nil {
				return err
			}
			plan, err := session.Parse(text)
			if err != nil {
				return &problem.Error{Kind: problem.Misuse, Message: args[0] + ": " + err.Error(), Err: err}
			}
			if fit != "" {
				to, err := aim(fit, s)
				if err != nil {
					return err
				}
				var b bytes.Buffer
				lost, err := fitfile.WriteWorkout(&b, plan, fitfile.WorkoutOptions{})
				if err != nil {
					return &problem.Error{Kind: problem.Failed, Message: "this session cannot be written as a workout: " + err.Error(), Err: err}
				}
				if err := to.write(b.Bytes()); err != nil {
					return err
				}
				losses = append(losses, lost...)
			}
			if asJSON {
				return json.NewEncoder(s.Out).Encode(map[string]any{"schema": "chainline.session/1", "name": plan.Name, "purpose": plan.Purpose, "for": plan.For,
					"cautions": plan.Cautions, "text": session.Print(plan), "losses": losses})
			}
			for _, l := range losses {
				fmt.Fprintln(s.Err, "· "+l)
			}
			_, err = io.WriteString(s.Out, session.Print(plan))
			return err
		},
	}
	f := c.Flags()
	f.StringVar(&fit, "fit", "", "write it as a FIT workout to this `file`")
	f.BoolVar(&asJSON, "json", false, "print it as one line of JSON")
	return c
}

// mostSession bytes of a session's file.
const mostSession = fitfile.MaxWorkout

// sessionText is a session of the library, a file in the notation, or a FIT
// workout with what of it the notation cannot say.
func sessionText(name string) (text string, losses []string, err error) {
	if x, ok := session.Find(name); ok {
		return x.Text, nil, nil
	}
	if !strings.ContainsAny(name, "./\\") {
		return "", nil, problem.Bad("--session: there is no session %q in the library; expected one of its names, or a file", name).WithHint("'chainline ride --sessions' lists them.")
	}
	f, err := service.OpenFile(name)
	if err != nil {
		return "", nil, err
	}
	defer f.Close()
	b, err := io.ReadAll(io.LimitReader(f, mostSession+1))
	if err != nil {
		return "", nil, err
	}
	if len(b) > mostSession {
		return "", nil, problem.Bad("%s: is larger than %d kB; expected a session", name, mostSession>>10)
	}
	if len(b) < 12 || string(b[8:12]) != ".FIT" {
		return string(b), nil, nil
	}
	plan, losses, err := fitfile.ReadWorkout(bytes.NewReader(b), filepath.Base(name))
	if err != nil {
		return "", nil, err
	}
	return session.Print(plan), losses, nil
}
