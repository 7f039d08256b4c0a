package intake

import (
	"archive/zip"
	"io"
	"path"
	"slices"
	"strings"

	"chainline/internal/problem"
)

// zip takes in the files of an archive, in the order of their names, so that a
// second run meets them in the same order.
func (d *door) zip(name string, r io.ReaderAt, size int64, depth int) error {
	if depth >= d.limits.Depth {
		return d.refuse(name, "", problem.Bad("%s: archives within archives, more than %d deep", name, d.limits.Depth))
	}
	z, err := zip.NewReader(r, size)
	if err != nil {
		return d.refuse(name, "", problem.Bad("%s: a damaged zip archive: its list of files cannot be read", name))
	}
	files := slices.Clone(z.File)
	slices.SortStableFunc(files, func(a, b *zip.File) int { return strings.Compare(a.Name, b.Name) })
	for _, f := range files {
		if f.FileInfo().IsDir() || !wanted(f.Name) {
			continue
		}
		if d.entries++; d.entries > d.limits.Entries {
			return d.refuse(name, "", problem.Bad("%s: more than %d files", name, d.limits.Entries))
		}
		// The name is only ever shown, never opened: it may say anything.
		inner := problem.OneLine(name + "/" + f.Name)
		if err := d.entry(inner, f, depth); err != nil {
			return err
		}
		if d.total >= d.limits.Total {
			return d.refuse(name, "", problem.Bad("%s: unpacks to more than %d MB", name, d.limits.Total>>20))
		}
	}
	return nil
}

func (d *door) entry(name string, f *zip.File, depth int) error {
	in, err := f.Open()
	if err != nil {
		return d.refuse(name, "", problem.Bad("%s: cannot be unpacked (%v)", name, err))
	}
	defer in.Close()
	data, cut, err := d.unpack(in)
	if err != nil {
		return d.refuse(name, "", problem.Bad("%s: %v", name, err))
	}
	return d.within(cut, name, data, depth+1)
}

// wanted tells by its name what may be a recording: everything of which the
// name does not say that it is something else.
func wanted(name string) bool {
	base := path.Base(strings.ReplaceAll(name, `\`, "/"))
	if strings.HasPrefix(base, ".") || strings.HasPrefix(name, "__MACOSX/") {
		return false
	}
	switch strings.ToLower(path.Ext(base)) {
	case ".fit", ".gpx", ".csv", ".tsv", ".txt", ".gz", ".zip", ".recording", "":
		return true
	}
	return false
}
