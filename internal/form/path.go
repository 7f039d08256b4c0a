package form

import (
	"maps"
	"slices"
	"sort"
	"strconv"
	"strings"

	"chainline/internal/input"
)

// tables are the keys of every kind of file.
var tables = map[string][]input.Key{Rider: input.Keys(Rider), Rig: input.Keys(Rig), Road: input.Keys(Road), Course: input.Keys(Course), Event: input.Keys(Event),
	Climb: input.Keys(Climb)}

// find is the key that a path leads to. The entry of a list that may be a
// single value, such as room.fans.0, is that value.
func find(kind, path string) (input.Key, bool) {
	keys := tables[kind]
	parts := strings.Split(path, ".")
	for i := 0; i < len(parts); i++ {
		at := slices.IndexFunc(keys, func(k input.Key) bool { return k.Name == parts[i] })
		if at < 0 {
			return input.Key{}, false
		}
		k := keys[at]
		if i == len(parts)-1 {
			return k, true
		}
		if k.Form == "list" {
			i++
			if n, err := strconv.Atoi(parts[i]); err != nil || n < 0 || n > 100000 || len(k.Keys) == 0 {
				return input.Key{}, false
			}
			if i == len(parts)-1 {
				if k.Entry != nil {
					return *k.Entry, true
				}
				return input.Key{Name: k.Name, Form: "group", Keys: k.Keys}, true
			}
		}
		keys = k.Keys
	}
	return input.Key{}, false
}

// closeGaps gives for every path of which something is known, its entries
// counted without gaps, the path as typed.
func closeGaps(typed map[string]string) map[string]string {
	at := map[string]map[int]bool{} // numbers of entries in use, by list
	for path, value := range typed {
		if unknown(value) {
			continue
		}
		for i, part := range strings.Split(path, ".") {
			if n, err := strconv.Atoi(part); err == nil && n >= 0 {
				list := strings.Join(strings.Split(path, ".")[:i], ".")
				if at[list] == nil {
					at[list] = map[int]bool{}
				}
				at[list][n] = true
			}
		}
	}
	out := map[string]string{}
	for path, value := range typed {
		if unknown(value) {
			continue
		}
		parts := strings.Split(path, ".")
		dense := slices.Clone(parts)
		for i, part := range parts {
			if n, err := strconv.Atoi(part); err == nil && n >= 0 {
				before := 0
				for used := range at[strings.Join(parts[:i], ".")] {
					if used < n {
						before++
					}
				}
				dense[i] = itoa(before)
			}
		}
		out[strings.Join(dense, ".")] = path
	}
	return out
}

func sorted(m map[string]string) []string { return slices.Sorted(maps.Keys(m)) }

func itoa(n int) string { return strconv.Itoa(n) }

// behind is the path that stands behind one whose entries are counted without
// gaps. A value that is not there stands beside one that is.
func behind(paths map[string]string, path string) string {
	if p, ok := paths[path]; ok {
		return p
	}
	for end := len(path); end > 0; end = strings.LastIndexByte(path[:end], '.') {
		for _, dense := range sorted(paths) {
			if strings.HasPrefix(dense, path[:end]+".") {
				n := strings.Count(path[:end], ".") + 1
				return strings.Join(strings.SplitN(paths[dense], ".", n+1)[:n], ".") + path[end:]
			}
		}
	}
	return path
}

// fromReader is a path as internal/input writes it, evidence[3].watts, as
// forms have it.
func fromReader(path string) string {
	var b strings.Builder
	for {
		before, rest, ok := strings.Cut(path, "[")
		b.WriteString(before)
		if !ok {
			return b.String()
		}
		number, after, _ := strings.Cut(rest, "]")
		n, _ := strconv.Atoi(number)
		b.WriteString("." + itoa(n-1))
		path = after
	}
}

// entriesOf are the numbers of a list's entries.
func entriesOf(values map[string]string, list string) map[int]bool {
	out := map[int]bool{}
	for path := range values {
		if rest, ok := strings.CutPrefix(path, list+"."); ok {
			first, _, _ := strings.Cut(rest, ".")
			if n, err := strconv.Atoi(first); err == nil {
				out[n] = true
			}
		}
	}
	return out
}

func any(values map[string]string, prefix string) bool {
	for path := range values {
		if strings.HasPrefix(path, prefix) {
			return true
		}
	}
	return false
}

// Next is the path of a new entry of a list: evidence.3.
func Next(values map[string]string, list string) string {
	next := 0
	for n := range entriesOf(values, list) {
		next = max(next, n+1)
	}
	return list + "." + itoa(next)
}

// Without is the values without an entry of a list, those behind it counted
// down, or without a group or value.
func Without(values map[string]string, path string) map[string]string {
	out := map[string]string{}
	list, last := path, -1
	if i := strings.LastIndexByte(path, '.'); i >= 0 {
		if n, err := strconv.Atoi(path[i+1:]); err == nil {
			list, last = path[:i], n
		}
	}
	for p, v := range values {
		if p == path || strings.HasPrefix(p, path+".") {
			continue
		}
		if rest, ok := strings.CutPrefix(p, list+"."); ok && last >= 0 {
			first, tail, more := strings.Cut(rest, ".")
			if n, err := strconv.Atoi(first); err == nil && n > last {
				p = list + "." + itoa(n-1)
				if more {
					p += "." + tail
				}
			}
		}
		out[p] = v
	}
	return out
}

// Entries are the paths of a list's entries in order: evidence.0, evidence.1.
func Entries(values map[string]string, list string) []string {
	at := slices.Collect(maps.Keys(entriesOf(values, list)))
	sort.Ints(at)
	out := make([]string, len(at))
	for i, n := range at {
		out[i] = list + "." + itoa(n)
	}
	return out
}

// rowLimit of a table typed as text, above what any list takes.
const rowLimit = 1000

// expand turns a table typed as text, a row of wheel speed and watts on each
// line, into the entries of its list.
func expand(kind string, typed map[string]string, errs map[string]string) map[string]string {
	out := maps.Clone(typed)
	if out == nil {
		out = map[string]string{}
	}
	for path, value := range typed {
		k, ok := find(kind, path)
		if !ok || k.Form != "list" || k.Entry != nil || len(k.Keys) != 2 || unknown(value) {
			continue
		}
		delete(out, path)
		for i, row := range strings.FieldsFunc(value, func(r rune) bool { return r == '\n' || r == '\r' || r == ';' }) {
			cells := strings.FieldsFunc(row, func(r rune) bool { return strings.ContainsRune(" \t:=|", r) })
			if len(cells) != 2 || i >= rowLimit {
				errs[path] = "Row " + itoa(i+1) + " is not a wheel speed and its watts, such as 30 200."
				break
			}
			out[path+"."+itoa(i)+"."+k.Keys[0].Name], out[path+"."+itoa(i)+"."+k.Keys[1].Name] = cells[0], cells[1]
		}
	}
	return out
}
