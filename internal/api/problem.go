package api

import (
	"context"
	"encoding/json"
	"errors"
	"net/http"
	"regexp"
	"strings"

	"github.com/danielgtaylor/huma/v2"

	"chainline/internal/problem"
	"chainline/internal/store"
)

// Problem is why something could not be done, in the form of RFC 9457.
type Problem struct {
	Title  string  `json:"title" doc:"The status in words."`
	Status int     `json:"status" doc:"The HTTP status."`
	Detail string  `json:"detail" doc:"What was wrong and what was expected, in one line for a person."`
	Hint   string  `json:"hint,omitempty" doc:"What to do about it, in one line for a person."`
	Path   string  `json:"path,omitempty" doc:"The field it is about: of the object's text like evidence[2].watts (entries count from 1), or of the request."`
	Errors []Fault `json:"errors,omitempty" doc:"Everything that does not fit this document, if the request does not."`
}

// Fault is one thing in a request that does not fit the document.
type Fault struct {
	Message string `json:"message" doc:"What was wrong."`
	Path    string `json:"path" doc:"Where, like body.name or query.rider."`
}

func (p *Problem) Error() string             { return p.Detail }
func (p *Problem) GetStatus() int            { return p.Status }
func (p *Problem) ContentType(string) string { return problemMedia }
func (p *Problem) write(w http.ResponseWriter) {
	p.Title = http.StatusText(p.Status)
	w.Header().Set("Content-Type", problemMedia)
	w.WriteHeader(p.Status)
	_ = json.NewEncoder(w).Encode(p) // nobody is left to tell
}

const problemMedia = "application/problem+json"

// huma has its settings in variables of its package. Lists are never null
// here, and problems have our form.
func init() {
	huma.DefaultArrayNullable = false
	huma.NewError = func(status int, detail string, errs ...error) huma.StatusError {
		p := &Problem{Title: http.StatusText(status), Status: status, Detail: detail}
		for _, err := range errs {
			if e, ok := errors.AsType[*huma.ErrorDetail](err); ok {
				p.Errors = append(p.Errors, Fault{Message: e.Message, Path: e.Location})
			}
		}
		if len(p.Errors) > 0 {
			p.Detail = p.Errors[0].Path + ": " + p.Errors[0].Message
			_, p.Path, _ = strings.Cut(p.Errors[0].Path, ".")
		}
		p.Detail = problem.OneLine(p.Detail)
		return p
	}
}

// failed is an error as the answer to a request. What nobody wrote a sentence
// for is logged and not shown.
func (a *api) failed(ctx context.Context, err error) error {
	if err == nil {
		return nil
	}
	p := &Problem{Status: http.StatusInternalServerError}
	p.Detail, p.Hint = problem.ForPerson(err)
	if e, ok := errors.AsType[*problem.Error](err); ok {
		p.Path = e.Path
		switch {
		case errors.Is(err, store.ErrNotFound):
			p.Status = http.StatusNotFound
		case errors.Is(err, store.ErrOvertaken):
			p.Status = http.StatusPreconditionFailed
		case e.Kind == problem.Misuse:
			p.Status = http.StatusUnprocessableEntity
		}
	} else {
		p.Hint = "The program's log says more."
	}
	if p.Status >= 500 && ctx.Err() == nil {
		a.Log.ErrorContext(ctx, "api request failed", "err", err)
	}
	p.Title = http.StatusText(p.Status)
	return p
}

// computed is an error of internal/service as the answer to a request: that a
// course cannot be ridden lies in what was asked, too, and where it speaks of
// the command's flags, ours are meant.
func (a *api) computed(ctx context.Context, err error) error {
	e, ok := errors.AsType[*problem.Error](err)
	if !ok || errors.Is(err, store.ErrDamaged) {
		return a.failed(ctx, err)
	}
	c := *e
	c.Kind = problem.Misuse
	if first := flag.FindString(c.Message); first != "" && strings.HasPrefix(c.Message, first) && c.Path == "" {
		c.Path = keyOf(first)
	}
	c.Message, c.Hint = flag.ReplaceAllStringFunc(c.Message, keyOf), flag.ReplaceAllStringFunc(c.Hint, keyOf)
	return a.failed(ctx, &c)
}

var flag = regexp.MustCompile(`--[a-z]+(-[a-z]+)*`)

// keys of a request whose names differ from the command's flags.
var keys = map[string]string{
	"--reserve": "reserve_j", "--cues": "cues_per_hour", "--critical-power": "critical_power_w", "--w-prime": "w_prime_j",
	"--power-limit": "power_limit_w", "--distance": "sketch.distance_m", "--ascent": "sketch.ascent_m",
	"--main-climb": "sketch.main_climb", "--lap-length": "sketch.lap_length_m", "--lap-ascent": "sketch.lap_ascent_m",
	"--lead-in": "sketch.lead_in_m", "--summit-finish": "sketch.summit_finish",
}

func keyOf(flag string) string {
	if key, ok := keys[flag]; ok {
		return key
	}
	return strings.ReplaceAll(strings.TrimPrefix(flag, "--"), "-", "_")
}
