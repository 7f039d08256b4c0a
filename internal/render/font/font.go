// Package font reads fonts in WOFF 1.0 (W3C Recommendation, 2012): which
// characters they have, how wide those are and where their ink ends. It serves
// the build of the fonts beside it, and the tests that hold pages to what the
// fonts can show; the program itself only hands the files on.
package font

import (
	"bytes"
	"compress/zlib"
	"encoding/binary"
	"errors"
	"fmt"
	"io"
)

// Font is one face, taken apart into its tables.
type Font struct {
	head   []byte // of the file, 44 bytes
	order  []string
	tables map[string][]byte
	glyphs map[rune]int
}

const (
	headLength, entryLength = 44, 20
	mostTables, mostBytes   = 64, 4 << 20
)

var errNoFont = errors.New("font: no WOFF 1.0 with TrueType outlines")

// Read takes a file apart. Its errors name no place: such files are built, not
// typed.
func Read(file []byte) (*Font, error) {
	if len(file) < headLength || string(file[:4]) != "wOFF" {
		return nil, errNoFont
	}
	n := int(binary.BigEndian.Uint16(file[12:]))
	if n > mostTables || len(file) < headLength+n*entryLength {
		return nil, errNoFont
	}
	f := &Font{head: bytes.Clone(file[:headLength]), tables: map[string][]byte{}}
	for i := range n {
		e := file[headLength+i*entryLength:]
		tag := string(e[:4])
		from, packed, plain := int(binary.BigEndian.Uint32(e[4:])), int(binary.BigEndian.Uint32(e[8:])), int(binary.BigEndian.Uint32(e[12:]))
		if from > len(file) || packed > len(file)-from || plain > mostBytes || packed > plain {
			return nil, errNoFont
		}
		table := bytes.Clone(file[from : from+packed])
		if packed < plain {
			z, err := zlib.NewReader(bytes.NewReader(table))
			if err != nil {
				return nil, fmt.Errorf("font: table %s: %w", tag, err)
			}
			if table, err = io.ReadAll(io.LimitReader(z, int64(plain)+1)); err != nil || len(table) != plain {
				return nil, errNoFont
			}
		}
		f.order, f.tables[tag] = append(f.order, tag), table
	}
	for tag, least := range map[string]int{"head": 54, "hhea": 36, "maxp": 6, "hmtx": 4, "loca": 2, "glyf": 0, "cmap": 4} {
		if len(f.tables[tag]) < least {
			return nil, errNoFont
		}
	}
	return f, f.characters()
}

// characters reads the table of characters, of the format for the basic
// multilingual plane (4).
func (f *Font) characters() error {
	f.glyphs = map[rune]int{}
	cmap := f.tables["cmap"]
	for i := range f.u16("cmap", 2) {
		at := int(f.u32("cmap", 8+8*i))
		if at+14 > len(cmap) || f.u16("cmap", at) != 4 {
			continue
		}
		n, before := f.u16("cmap", at+6)/2, -1
		for k := range n {
			last, first := f.u16("cmap", at+14+2*k), f.u16("cmap", at+16+2*n+2*k)
			if first <= before {
				return errNoFont
			}
			before = last
			delta, place := f.u16("cmap", at+16+4*n+2*k), at+16+6*n+2*k
			for c := first; c <= last && c < 0xffff; c++ {
				g := c
				if offset := f.u16("cmap", place); offset != 0 {
					if g = f.u16("cmap", place+offset+2*(c-first)); g == 0 {
						continue
					}
				}
				if g = (g + delta) & 0xffff; g != 0 {
					f.glyphs[rune(c)] = g
				}
			}
		}
	}
	if len(f.glyphs) == 0 {
		return errNoFont
	}
	return nil
}

// u16 and u32 are numbers in a table; 0 beyond its end.
func (f *Font) u16(table string, at int) int {
	if t := f.tables[table]; at >= 0 && at+2 <= len(t) {
		return int(binary.BigEndian.Uint16(t[at:]))
	}
	return 0
}

func (f *Font) u32(table string, at int) uint32 {
	return uint32(f.u16(table, at))<<16 | uint32(f.u16(table, at+2))
}

// Has tells whether a font can show a character.
func (f *Font) Has(c rune) bool { return f.glyphs[c] != 0 }

// Em is how many units an em has.
func (f *Font) Em() int { return f.u16("head", 18) }

// advanceAt is where the advance of a character stands in its table.
func (f *Font) advanceAt(c rune) int { return 4 * min(f.glyphs[c], f.u16("hhea", 34)-1) }

// Advance is how far the next character stands from the beginning of this one,
// in units.
func (f *Font) Advance(c rune) int { return f.u16("hmtx", f.advanceAt(c)) }

// SetAdvance changes it.
func (f *Font) SetAdvance(c rune, units int) {
	binary.BigEndian.PutUint16(f.tables["hmtx"][f.advanceAt(c):], uint16(units))
}

// Ink is from where to where a character is drawn, in units; 0 and 0 for a
// blank.
func (f *Font) Ink(c rune) (left, right int) {
	place := func(g int) int {
		if f.u16("head", 50) != 0 {
			return int(f.u32("loca", 4*g))
		}
		return 2 * f.u16("loca", 2*g)
	}
	g := f.glyphs[c]
	at := place(g)
	if place(g+1) <= at {
		return 0, 0
	}
	return int(int16(f.u16("glyf", at+2))), int(int16(f.u16("glyf", at+6)))
}

// Bytes is the font as a file. The sum over the whole font (checkSumAdjustment)
// is left as it was: readers of WOFF reckon it anew.
func (f *Font) Bytes() ([]byte, error) {
	directory, body := &bytes.Buffer{}, &bytes.Buffer{}
	from := headLength + entryLength*len(f.order)
	for _, tag := range f.order {
		table, packed := f.tables[tag], &bytes.Buffer{}
		z, err := zlib.NewWriterLevel(packed, zlib.BestCompression)
		if err != nil {
			return nil, err
		}
		if _, err := z.Write(table); err != nil {
			return nil, err
		}
		if err := z.Close(); err != nil {
			return nil, err
		}
		data := packed.Bytes()
		if len(data) >= len(table) {
			data = table
		}
		directory.WriteString(tag)
		for _, n := range []uint32{uint32(from + body.Len()), uint32(len(data)), uint32(len(table)), sum(table)} {
			directory.Write(binary.BigEndian.AppendUint32(nil, n))
		}
		body.Write(data)
		body.Write(make([]byte, -len(data)&3))
	}
	head := bytes.Clone(f.head)
	binary.BigEndian.PutUint32(head[8:], uint32(from+body.Len()))
	clear(head[24:]) // neither metadata nor private data
	return append(append(head, directory.Bytes()...), body.Bytes()...), nil
}

// sum is a table's checksum, as OpenType has it.
func sum(table []byte) (s uint32) {
	table = append(bytes.Clone(table), make([]byte, -len(table)&3)...)
	for i := 0; i < len(table); i += 4 {
		s += binary.BigEndian.Uint32(table[i:])
	}
	return s
}
