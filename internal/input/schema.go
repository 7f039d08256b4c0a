package input

import (
	"fmt"
	"io"
	"regexp"
	"slices"
	"sort"
	"strconv"
	"strings"

	"go.yaml.in/yaml/v3"
)

// Key describes a key of a file to those who ask people for its value.
type Key struct {
	Name      string
	Form      string // number, whole, text, word, yesNo, date, moment, zone, group, list
	Unit      string // of a number, as in docs/formats.md; may be empty
	Low, High float64
	Words     []string
	Needed    bool
	Keys      []Key // of a group, or of each entry of a list
	Entry     *Key  // of a list whose entries may be single values
	Most      int   // entries of a list
}

var formNames = map[form]string{number: "number", whole: "whole", text: "text", word: "word", yesNo: "yesNo",
	date: "date", moment: "moment", zone: "zone", group: "group", list: "list"}

// kinds of YAML file, with their keys and readers.
var kinds = map[string]struct {
	fields []field
	read   func(string, io.Reader) error
}{
	"rider":  {riderFields, func(n string, r io.Reader) error { _, err := ReadRider(n, r); return err }},
	"rig":    {rigFields, func(n string, r io.Reader) error { _, err := ReadRig(n, r); return err }},
	"road":   {roadFields, func(n string, r io.Reader) error { _, err := ReadRoad(n, r); return err }},
	"event":  {eventFields, func(n string, r io.Reader) error { _, err := ReadEvent(n, r); return err }},
	"course": {sketchFields, func(n string, r io.Reader) error { _, err := ReadSketch(n, r); return err }},
	"climb":  {climbedFields, func(n string, r io.Reader) error { _, err := ReadClimb(n, r); return err }},
}

// Keys are the keys of a kind of YAML file, in the order a file has them; nil
// for a kind there is not. A course is a sketch.
func Keys(kind string) []Key { return keys(kinds[kind].fields) }

func keys(fields []field) []Key {
	var out []Key
	for _, f := range fields {
		out = append(out, f.public())
	}
	return out
}

func (f field) public() Key {
	k := Key{Name: f.key, Form: formNames[f.form], Unit: f.unit, Low: f.low, High: f.high,
		Words: slices.Clone(f.words), Needed: f.needed, Keys: keys(f.keys), Most: f.most}
	if f.entry != nil {
		entry := f.entry.public()
		k.Entry = &entry
	}
	return k
}

// Check reads a file of a kind; the error is the reader's, nil if it is good.
func Check(kind, text string) error {
	k, ok := kinds[kind]
	if !ok {
		return fmt.Errorf("input: no kind of file %q", kind)
	}
	return k.read(kind, strings.NewReader(text))
}

// Flatten gives every value that a YAML text states, as it is written there,
// by its path: trainer.kind, evidence.0.watts. What is unknown is not in it. A
// list of single values is one value, "11, 13, 15"; one without entries is
// "none". Keys are not checked, so that what an older program wrote can still
// be shown.
func Flatten(kind, text string) (map[string]string, error) {
	f := &file{name: kind}
	top := f.document(strings.NewReader(text))
	if f.err != nil {
		return nil, f.err
	}
	if top.Kind != yaml.MappingNode {
		f.fail(top, "", found(top), "keys with values", "")
		return nil, f.err
	}
	out := map[string]string{}
	flattenGroup(top, "", kinds[kind].fields, out)
	return out, nil
}

func flattenGroup(n *yaml.Node, path string, fields []field, out map[string]string) {
	for i := 0; i+1 < len(n.Content); i += 2 {
		at := n.Content[i].Value
		f := field{key: at}
		if j := slices.IndexFunc(fields, func(f field) bool { return f.key == at }); j >= 0 {
			f = fields[j]
		}
		if path != "" {
			at = path + "." + at
		}
		flatten(n.Content[i+1], at, f, out)
	}
}

func flatten(n *yaml.Node, path string, f field, out map[string]string) {
	switch n.Kind {
	case yaml.MappingNode:
		flattenGroup(n, path, f.keys, out)
	case yaml.SequenceNode:
		flattenList(n, path, f, out)
	default:
		switch {
		case n.Tag == "!!null" || n.Style == 0 && n.Value == "unknown":
		case f.form == group && n.Value == "none":
			out[path+".kind"] = "none" // power_source: none
		case f.form == list && len(f.keys) > 0 && !noFan.MatchString(n.Value):
			out[path+".0"] = n.Value // fans: one sentence
		case f.form == list:
			out[path] = "none"
		default:
			out[path] = n.Value
		}
	}
}

var noFan = regexp.MustCompile(`(?i)^\s*(no|none)(\s+fans?)?\s*$`)

func flattenList(n *yaml.Node, path string, f field, out map[string]string) {
	if len(n.Content) == 0 {
		out[path] = "none"
		return
	}
	if f.entry != nil && len(f.keys) == 0 {
		var all []string
		for _, c := range n.Content {
			all = append(all, c.Value)
		}
		out[path] = strings.Join(all, ", ")
		return
	}
	for i, c := range n.Content {
		flatten(c, path+"."+strconv.Itoa(i), field{form: group, keys: f.keys}, out)
	}
}

// tree is values by path, taken apart.
type tree struct {
	value string
	known bool
	kids  map[string]*tree
}

func (t *tree) put(path []string, value string) {
	if len(path) == 0 {
		t.value, t.known = value, true
		return
	}
	if t.kids == nil {
		t.kids = map[string]*tree{}
	}
	kid := t.kids[path[0]]
	if kid == nil {
		kid = &tree{}
		t.kids[path[0]] = kid
	}
	kid.put(path[1:], value)
}

// Compose writes values by path, as Flatten gives them, as YAML: keys in the
// order of docs/formats.md, then those that are not known, for the reader to
// refuse. Nothing is checked but that the text is YAML and says what was given.
func Compose(kind string, values map[string]string) string {
	var top tree
	for path, value := range values {
		top.put(strings.Split(path, "."), value)
	}
	var b strings.Builder
	composeGroup(&b, &top, kinds[kind].fields, "")
	if b.Len() == 0 {
		return "{}\n"
	}
	return b.String()
}

// inOrder are the keys of a group: known ones first.
func (t *tree) inOrder(fields []field) (out []field) {
	seen := map[string]bool{}
	for _, f := range fields {
		if t.kids[f.key] != nil {
			out, seen[f.key] = append(out, f), true
		}
	}
	var rest []string
	for key := range t.kids {
		if !seen[key] {
			rest = append(rest, key)
		}
	}
	sort.Strings(rest)
	for _, key := range rest {
		out = append(out, field{key: key, form: text})
	}
	return out
}

func composeGroup(b *strings.Builder, t *tree, fields []field, indent string) {
	for _, f := range t.inOrder(fields) {
		kid, key := t.kids[f.key], scalar(field{form: text}, f.key)
		switch {
		case kid.kids == nil:
			fmt.Fprintf(b, "%s%s: %s\n", indent, key, single(f, kid.value))
		case f.form == list:
			fmt.Fprintf(b, "%s%s:\n", indent, key)
			for _, entry := range kid.entries() {
				fmt.Fprintf(b, "%s  - %s\n", indent, flow(field{form: group, keys: f.keys}, entry))
			}
		default:
			fmt.Fprintf(b, "%s%s:\n", indent, key)
			composeGroup(b, kid, f.keys, indent+"  ")
		}
	}
}

// entries of a list in the order of their numbers; what is no number comes
// last.
func (t *tree) entries() (out []*tree) {
	var at []string
	for key := range t.kids {
		at = append(at, key)
	}
	sort.Slice(at, func(i, j int) bool {
		a, errA := strconv.Atoi(at[i])
		b, errB := strconv.Atoi(at[j])
		if errA == nil && errB == nil && a != b {
			return a < b
		}
		if (errA == nil) != (errB == nil) {
			return errA == nil
		}
		return at[i] < at[j]
	})
	for _, key := range at {
		out = append(out, t.kids[key])
	}
	return out
}

// flow is a value on one line.
func flow(f field, t *tree) string {
	if t.kids == nil {
		if f.form == group {
			f.form = text // a fan in a sentence
		}
		return single(f, t.value)
	}
	var parts []string
	if f.form == list {
		for _, entry := range t.entries() {
			parts = append(parts, flow(field{form: group, keys: f.keys}, entry))
		}
		return "[" + strings.Join(parts, ", ") + "]"
	}
	for _, known := range t.inOrder(f.keys) {
		parts = append(parts, scalar(field{form: text}, known.key)+": "+flow(known, t.kids[known.key]))
	}
	return "{" + strings.Join(parts, ", ") + "}"
}

// single is a value, or a list of single values written as one.
func single(f field, value string) string {
	if f.form != list {
		return scalar(f, value)
	}
	if value == "none" {
		return "[]"
	}
	if f.entry == nil || len(f.keys) > 0 {
		return scalar(field{form: text}, value)
	}
	var parts []string
	for _, part := range strings.Split(value, ",") {
		parts = append(parts, scalar(*f.entry, strings.TrimSpace(part)))
	}
	return "[" + strings.Join(parts, ", ") + "]"
}

var (
	plainText = regexp.MustCompile(`^\p{L}([\p{L}\p{N} ./_-]*[\p{L}\p{N}.])?$`)
	plainWord = regexp.MustCompile(`^[A-Za-z]+([_/-][A-Za-z_]+)*$`)
	reserved  = regexp.MustCompile(`(?i)^(unknown|null|true|false|yes|no|on|off|y|n|nan|inf)$`)
)

// scalar writes one value: plain where that cannot be misread, else in quotes.
func scalar(f field, value string) string {
	plain := false
	switch f.form {
	case number, whole:
		plain = numeral.MatchString(value)
	case word, zone:
		plain = plainWord.MatchString(value) && value != "unknown"
	case yesNo:
		plain = value == "true" || value == "false"
	case date, moment:
		plain = dateForm.MatchString(value) || momentForm.MatchString(value)
	default:
		plain = plainText.MatchString(value) && !reserved.MatchString(value)
	}
	if plain {
		return value
	}
	return quoted(value)
}

func quoted(value string) string {
	var b strings.Builder
	b.WriteByte('"')
	for _, r := range value {
		switch {
		case r == '"' || r == '\\':
			b.WriteByte('\\')
			b.WriteRune(r)
		case strconv.IsPrint(r):
			b.WriteRune(r)
		case r > 0xffff:
			fmt.Fprintf(&b, `\U%08X`, r)
		default:
			fmt.Fprintf(&b, `\u%04X`, r)
		}
	}
	b.WriteByte('"')
	return b.String()
}
