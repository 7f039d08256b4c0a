package session

import (
	"fmt"
	"slices"
	"strings"
)

// The notation of sessions: sentences that a coach would say, one a line.
// docs/sessions.md is the page for people.
//
//	text    = { header } { stage | group }
//	header  = ( "session" | "purpose" | "for" | "caution" | "source" ) ":" rest of the line
//	group   = count "times:" { stage | group } "end"
//	stage   = verb clause { [","] clause }          in any order, see sentence.go
//	comment = "#" to the end of the line

// Limits of a text, so that no text can keep a reader busy.
const (
	MaxText   = 64 << 10 // bytes
	MaxDepth  = 6        // groups within groups
	MaxTimes  = 200
	MaxLegs   = 2000      // stages when every group is unrolled
	MaxStageS = 12 * 3600 // s
	MaxStageM = 500e3     // m
)

// parser reads one line at a time.
type parser struct {
	tokens []token
	at     int
	wanted []string // words that could have stood at the token where they were asked for
	asked  int      // that token
}

func (p *parser) peek() token { return p.tokens[p.at] }

func (p *parser) next() token {
	t := p.tokens[p.at]
	if p.at < len(p.tokens)-1 {
		p.at++
	}
	return t
}

// take reads these words if they stand here, all or none.
func (p *parser) take(words ...string) bool {
	if p.asked != p.at {
		p.asked, p.wanted = p.at, nil
	}
	p.wanted = append(p.wanted, words[0])
	for i, w := range words {
		if p.at+i >= len(p.tokens) || p.tokens[p.at+i].kind != word || p.tokens[p.at+i].text != w {
			return false
		}
	}
	p.at += len(words)
	return true
}

// takeMark reads one of the marks if it stands here.
func (p *parser) takeMark(text string) bool {
	if t := p.peek(); t.kind == mark && t.text == text {
		p.next()
		return true
	}
	return false
}

// wrong is an error at the next token.
func (p *parser) wrong(expected string) *SyntaxError {
	t := p.peek()
	e := &SyntaxError{t.line, t.column, t.shown(), expected, ""}
	if t.kind == word {
		var near []string
		if p.asked == p.at {
			near = p.wanted
		}
		e.Meant = nearest(t.text, near)
	}
	return e
}

// at is an error that points at a token.
func at(t token, problem, expected string) *SyntaxError {
	return &SyntaxError{t.line, t.column, problem, expected, ""}
}

// open is a group that has begun.
type open struct {
	times  int
	token  token
	blocks []Block
}

// Parse reads a session. The error is a *SyntaxError: the first thing wrong,
// with its line and column.
func Parse(text string) (Session, error) {
	if len(text) > MaxText {
		return Session{}, &SyntaxError{1, 1, fmt.Sprintf("the text has %d bytes", len(text)), fmt.Sprintf("at most %d", MaxText), ""}
	}
	r := reader{groups: []open{{}}}
	for i, line := range strings.Split(strings.TrimPrefix(text, "\ufeff"), "\n") {
		if err := r.line(strings.TrimSuffix(line, "\r"), i+1); err != nil {
			return Session{}, err
		}
	}
	top := r.groups[len(r.groups)-1]
	switch {
	case len(r.groups) > 1:
		return Session{}, at(top.token, "this group has no end", `a line "end" after its stages`)
	case len(top.blocks) == 0:
		return Session{}, &SyntaxError{1, 1, "there is nothing to ride", `a line such as "ride 5 min at 80 % of threshold"`, ""}
	}
	r.session.Blocks = top.blocks
	return r.session, nil
}

type reader struct {
	session Session
	groups  []open // innermost last; the first is the session itself
	legs    int    // so far, with repeats
}

var headers = []string{"session", "purpose", "for", "caution", "source"}

func (r *reader) line(text string, line int) error {
	if key, rest, ok := strings.Cut(text, ":"); ok { // a header's rest is free text
		if key = strings.ToLower(strings.TrimSpace(key)); slices.Contains(headers, key) {
			return r.header(key, rest, line)
		}
	}
	ts, bad := tokens(text, line)
	if bad != nil {
		return bad
	}
	p := &parser{tokens: ts, asked: -1}
	if p.peek().kind == lineEnd {
		return nil
	}
	if p.take("end") {
		return r.end(p)
	}
	if done, err := r.group(p); done || err != nil {
		return err
	}
	stage, bad := p.stage()
	if bad != nil {
		return bad
	}
	if r.legs += r.turns(); r.legs > MaxLegs {
		return at(ts[0], "the session has too many stages when every group is ridden out", fmt.Sprintf("at most %d", MaxLegs))
	}
	g := &r.groups[len(r.groups)-1]
	g.blocks = append(g.blocks, Block{Stage: stage})
	return nil
}

// turns is how often what stands here is ridden.
func (r *reader) turns() int {
	n := 1
	for _, g := range r.groups[1:] {
		n = min(n*g.times, MaxLegs+1)
	}
	return n
}

func (r *reader) header(key, rest string, line int) error {
	rest = strings.TrimSpace(rest)
	here := token{line: line, column: 1}
	s := &r.session
	field := map[string]*string{"session": &s.Name, "purpose": &s.Purpose, "for": &s.For, "source": &s.Source}[key]
	switch {
	case len(r.groups) > 1 || len(r.groups[0].blocks) > 0:
		return at(here, fmt.Sprintf("%q stands after the first stage", key+":"), "it before the stages")
	case rest == "":
		return at(here, fmt.Sprintf("nothing stands after %q", key+":"), "text")
	case badText(rest):
		return at(here, "there are characters that do not print", "plain text")
	case key == "caution":
		if len(s.Cautions) >= 20 {
			return at(here, "there are too many cautions", "at most 20")
		}
		s.Cautions = append(s.Cautions, rest)
	case *field != "":
		return at(here, fmt.Sprintf("%q stands here a second time", key+":"), "it once")
	default:
		*field = rest
	}
	return nil
}

// group reads "three times:"; done is false if the line begins otherwise.
func (r *reader) group(p *parser) (done bool, err error) {
	first, times := p.peek(), 0.0
	switch {
	case p.take("once"):
		times = 1
	case p.take("twice"):
		times = 2
	default:
		n, ok := p.number()
		if !ok {
			return false, nil
		}
		if !p.take("times") && !p.take("time") {
			return true, p.wrong(`"times:" after a number that begins a line; a stage begins with ride, warm up, easy, cool down, sprint, test or rest`)
		}
		times = n
	}
	switch {
	case !p.takeMark(":"):
		return true, p.wrong(`":" after the number of times`)
	case p.peek().kind != lineEnd:
		return true, p.wrong("a new line after the colon, one stage a line, and a line \"end\"")
	case times != float64(int(times)) || times < 1 || times > MaxTimes:
		return true, at(first, fmt.Sprintf("%s times", figure(times)), fmt.Sprintf("a whole number from 1 to %d", MaxTimes))
	case len(r.groups) > MaxDepth:
		return true, at(first, "the groups stand too deep in each other", fmt.Sprintf("at most %d", MaxDepth))
	}
	r.groups = append(r.groups, open{times: int(times), token: first})
	return true, nil
}

func (r *reader) end(p *parser) error {
	last := len(r.groups) - 1
	g := r.groups[last]
	p.takeMark(".")
	switch {
	case p.peek().kind != lineEnd:
		return p.wrong(`nothing after "end"`)
	case last == 0:
		return at(p.tokens[0], `"end" without a group`, `a line such as "three times:" before it`)
	case len(g.blocks) == 0:
		return at(g.token, "this group is empty", "a stage in it")
	}
	r.groups = r.groups[:last]
	outer := &r.groups[last-1]
	outer.blocks = append(outer.blocks, Block{Times: g.times, Blocks: g.blocks})
	return nil
}
