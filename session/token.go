package session

import (
	"fmt"
	"strconv"
	"strings"
	"unicode"
	"unicode/utf8"
)

// The notation's words: tokens with their columns, and errors that point at
// one.

// SyntaxError says where a text stops being a session, and what was expected.
type SyntaxError struct {
	Line, Column int    // from 1; Column counts characters
	Problem      string // what was found
	Expected     string // what could have stood there; may be empty
	Meant        string // a word that is spelt nearly like it; may be empty
}

// Error is one line.
func (e *SyntaxError) Error() string {
	s := fmt.Sprintf("line %d, column %d: %s", e.Line, e.Column, e.Problem)
	if e.Expected != "" {
		s += "; expected " + e.Expected
	}
	if e.Meant != "" {
		s += fmt.Sprintf("; did you mean %q?", e.Meant)
	}
	return s
}

type tokenKind int

const (
	word    tokenKind = iota // letters, lower case
	number                   // digits, at most one point
	quoted                   // text between double quotes
	mark                     // one character: % , : . or the - of a band
	lineEnd                  // the end of the line
)

type token struct {
	kind   tokenKind
	text   string // as matched: words in lower case
	value  float64
	line   int
	column int
}

// shown is the token as an error names it.
func (t token) shown() string {
	switch t.kind {
	case lineEnd:
		return "the line ends here"
	case quoted:
		return fmt.Sprintf("found the text %q", cut(t.text))
	default:
		return fmt.Sprintf("found %q", cut(t.text))
	}
}

// cut keeps errors short.
func cut(s string) string {
	if utf8.RuneCountInString(s) <= 40 {
		return s
	}
	return string([]rune(s)[:40]) + "…"
}

// tokens splits one line; a comment, # outside quotes, ends it.
func tokens(text string, line int) ([]token, *SyntaxError) {
	var out []token
	runes := []rune(text)
	for i := 0; i < len(runes); {
		r, begin := runes[i], i
		t := token{line: line, column: i + 1}
		switch {
		case r == '#':
			i = len(runes)
			continue
		case unicode.IsSpace(r):
			i++
			continue
		case isDigit(r):
			i = endOf(runes, i, func(r rune) bool { return isDigit(r) || r == '.' })
			if runes[i-1] == '.' {
				i-- // the full stop of a sentence
			}
			t.kind, t.text = number, string(runes[begin:i])
			v, err := strconv.ParseFloat(t.text, 64)
			if err != nil || len(t.text) > 12 {
				return nil, &SyntaxError{line, t.column, fmt.Sprintf("%q is no number", cut(t.text)), "digits with at most one point, such as 2.5", ""}
			}
			if i+1 < len(runes) && runes[i] == ',' && isDigit(runes[i+1]) {
				return nil, &SyntaxError{line, i + 1, "found a comma within a number", "a point for decimals, 2.5, and nothing for thousands, 1000", ""}
			}
			t.value = v
		case isLetter(r):
			i = endOf(runes, i, func(r rune) bool { return isLetter(r) || r == '-' })
			t.kind, t.text = word, strings.ToLower(string(runes[begin:i]))
		case r == '"' || r == '“' || r == '”': // keyboards make curly ones by themselves
			end := '"'
			if r != end {
				end = '”'
			}
			i = endOf(runes, i+1, func(r rune) bool { return r != end })
			if i == len(runes) {
				return nil, &SyntaxError{line, t.column, "the text that begins here has no end", `a second "`, ""}
			}
			t.kind, t.text = quoted, string(runes[begin+1:i])
			i++
		case strings.ContainsRune("%,:.-–", r):
			i++
			t.kind, t.text = mark, string(r)
			if r == '–' {
				t.text = "-"
			}
		default:
			return nil, &SyntaxError{line, t.column, fmt.Sprintf("found the character %q", r), "words, numbers, %, commas and text in quotes", ""}
		}
		out = append(out, t)
	}
	return append(out, token{kind: lineEnd, line: line, column: len(runes) + 1}), nil
}

func isDigit(r rune) bool { return r >= '0' && r <= '9' }

// isLetter takes the prime of W′ and the apostrophe for letters.
func isLetter(r rune) bool { return unicode.IsLetter(r) || r == '′' || r == '\'' || r == '’' }

func endOf(runes []rune, i int, in func(rune) bool) int {
	for i < len(runes) && in(runes[i]) {
		i++
	}
	return i
}

// nearest is the word of a list that is spelt nearly like s, if one is: at
// most one slip in three letters.
func nearest(s string, words []string) string {
	best, least := "", len([]rune(s))/3+1
	for _, w := range words {
		if d := slips(s, w, least); d < least && d > 0 {
			best, least = w, d
		}
	}
	return best
}

// slips is the edit distance of two words, swaps of neighbours counting one;
// limit if it is not less.
func slips(a, b string, limit int) int {
	x, y := []rune(a), []rune(b)
	if len(x) > 40 || len(y) > 40 {
		return limit
	}
	var before, last []int
	for i := 0; i <= len(x); i++ {
		row := make([]int, len(y)+1)
		for j := range row {
			switch {
			case i == 0 || j == 0:
				row[j] = i + j
				continue
			case x[i-1] == y[j-1]:
				row[j] = last[j-1]
			default:
				row[j] = 1 + min(last[j-1], last[j], row[j-1])
			}
			if i > 1 && j > 1 && x[i-1] == y[j-2] && x[i-2] == y[j-1] {
				row[j] = min(row[j], before[j-2]+1)
			}
		}
		before, last = last, row
	}
	return min(limit, last[len(y)])
}
