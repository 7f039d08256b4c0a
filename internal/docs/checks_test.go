// Package docs_test keeps docs/checks.md and docs/models.md honest.
package docs_test

import (
	"fmt"
	"go/ast"
	"go/parser"
	"go/token"
	"io/fs"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
)

const root = "../.."

// kinds are the words that a row's "how known" may begin with.
var kinds = []string{"read", "abstract", "secondary", "memory", "library", "derivation"}

// isCheck tells the tests that need a row by their name.
func isCheck(name string) bool {
	return strings.HasPrefix(name, "TestPublished") || strings.HasPrefix(name, "TestAnalytic")
}

// testsOfTheTree are all test functions as "folder.TestName".
func testsOfTheTree(t *testing.T) map[string]bool {
	t.Helper()
	found := map[string]bool{}
	err := filepath.WalkDir(root, func(path string, d fs.DirEntry, err error) error {
		if err != nil {
			return err
		}
		if d.IsDir() {
			if name := d.Name(); name == "testdata" || name != ".." && strings.HasPrefix(name, ".") {
				return filepath.SkipDir
			}
			return nil
		}
		if !strings.HasSuffix(path, "_test.go") {
			return nil
		}
		file, err := parser.ParseFile(token.NewFileSet(), path, nil, parser.SkipObjectResolution)
		if err != nil {
			return err
		}
		for _, decl := range file.Decls {
			if f, ok := decl.(*ast.FuncDecl); ok && f.Recv == nil && strings.HasPrefix(f.Name.Name, "Test") {
				found[filepath.Base(filepath.Dir(path))+"."+f.Name.Name] = true
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return found
}

// cells of a table row, trimmed; nil if the line is none.
func cells(line string) []string {
	line = strings.TrimSpace(line)
	if !strings.HasPrefix(line, "|") || !strings.HasSuffix(line, "|") {
		return nil
	}
	all := strings.Split(strings.Trim(line, "|"), "|")
	for i := range all {
		all[i] = strings.TrimSpace(all[i])
	}
	return all
}

// checksPage is docs/checks.md: the counts at its top, and what is wrong with
// its rows.
type checksPage struct {
	counts map[string]string
	rows   map[string]string // test to kind
	wrong  []string
}

var rowName = regexp.MustCompile("^`([a-z]+\\.Test[A-Za-z0-9]+)`$")

func readChecks(page string) checksPage {
	p := checksPage{counts: map[string]string{}, rows: map[string]string{}}
	for line := range strings.Lines(page) {
		c := cells(line)
		if len(c) == 0 {
			continue
		}
		if len(c) == 3 && (slices.Contains(kinds, c[0]) || c[0] == "all") {
			p.counts[c[0]] = c[2]
			continue
		}
		m := rowName.FindStringSubmatch(c[0])
		if m == nil {
			if strings.Contains(c[0], ".Test") {
				p.wrong = append(p.wrong, fmt.Sprintf("a row begins with %q; expected `package.TestName`", c[0]))
			}
			continue
		}
		kind, _, _ := strings.Cut(c[min(3, len(c)-1)], ":")
		switch {
		case len(c) != 5 || slices.Contains(c, ""):
			p.wrong = append(p.wrong, m[1]+": expected five cells, none of them empty")
		case !slices.Contains(kinds, kind):
			p.wrong = append(p.wrong, fmt.Sprintf("%s: how known begins with %q; expected one of %s", m[1], kind, strings.Join(kinds, ", ")))
		case p.rows[m[1]] != "":
			p.wrong = append(p.wrong, m[1]+": has two rows")
		}
		p.rows[m[1]] = kind
	}
	return p
}

// complaints are all differences between the page and the tests of the tree.
func complaints(p checksPage, tests map[string]bool) []string {
	out := slices.Clone(p.wrong)
	for name := range tests {
		if _, after, _ := strings.Cut(name, "."); isCheck(after) && p.rows[name] == "" {
			out = append(out, name+": has no row")
		}
	}
	count := map[string]int{"all": len(p.rows)}
	for name, kind := range p.rows {
		count[kind]++
		if !tests[name] {
			out = append(out, name+": there is no such test")
		}
	}
	for _, kind := range append([]string{"all"}, kinds...) {
		if want := fmt.Sprint(count[kind]); p.counts[kind] != want {
			out = append(out, fmt.Sprintf("count of %q: the page says %q; counted %s", kind, p.counts[kind], want))
		}
	}
	slices.Sort(out)
	return out
}

func TestChecksPageIsComplete(t *testing.T) {
	page, err := os.ReadFile(filepath.Join(root, "docs", "checks.md"))
	if err != nil {
		t.Fatal(err)
	}
	for _, c := range complaints(readChecks(string(page)), testsOfTheTree(t)) {
		t.Error("docs/checks.md: " + c)
	}
}

// The guard itself has to see what it is there for.
func TestChecksPageGuardSees(t *testing.T) {
	const page = "| read | x | 1 |\n| abstract | x | 0 |\n| secondary | x | 0 |\n| memory | x | 0 |\n| library | x | 0 |\n| derivation | x | 0 |\n| all | | 1 |\n" +
		"| `a.TestPublishedOne` | what | who | read: here | 1 |\n"
	tests := map[string]bool{"a.TestPublishedOne": true, "a.TestOther": true}
	if c := complaints(readChecks(page), tests); len(c) != 0 {
		t.Fatalf("a good page: %q", c)
	}
	for name, bad := range map[string]string{
		"no row":               strings.Replace(page, "`a.TestPublishedOne`", "`a.TestOther`", 1),
		"there is no such":     page + "| `a.TestPublishedTwo` | what | who | read: here | 1 |\n",
		"count of \"read\"":    strings.Replace(page, "| read | x | 1 |", "| read | x | 2 |", 1),
		"count of \"all\"":     strings.Replace(page, "| all | | 1 |", "| all | | 7 |", 1),
		"how known begins":     strings.Replace(page, "read: here", "rumour: here", 1),
		"five cells":           strings.Replace(page, " what |", " |", 1),
		"has two rows":         page + "| `a.TestPublishedOne` | what | who | read: here | 1 |\n",
		"a row begins with":    strings.Replace(page, "`a.TestPublishedOne`", "a.TestPublishedOne", 1),
		"count of \"library\"": strings.Replace(page, "| library | x | 0 |\n", "", 1),
	} {
		if !strings.Contains(strings.Join(complaints(readChecks(bad), tests), "\n"), name) {
			t.Errorf("the guard does not say %q", name)
		}
	}
}
