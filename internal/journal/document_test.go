package journal

import (
	"bytes"
	"encoding/hex"
	"hash/crc32"
	"os"
	"strings"
	"testing"
)

// TestPublishedChecksum is the CRC examples of RFC 3720 (iSCSI, 2004),
// appendix B.4; secondary: quoted alike in the tests of several open codes, the
// RFC itself was not read.
func TestPublishedChecksum(t *testing.T) {
	rising := make([]byte, 32)
	for i := range rising {
		rising[i] = byte(i)
	}
	for _, c := range []struct {
		bytes []byte
		want  uint32
	}{
		{make([]byte, 32), 0x8a9136aa},
		{bytes.Repeat([]byte{0xff}, 32), 0x62a8ab43},
		{rising, 0x46dd794e},
	} {
		if got := crc32.Checksum(c.bytes, castagnoli); got != c.want {
			t.Errorf("CRC-32C of % x: %08x, want %08x", c.bytes, got, c.want)
		}
	}
}

// TestDocument: the example in docs/journal.md is what is written and read.
func TestDocument(t *testing.T) {
	page, err := os.ReadFile("../../docs/journal.md")
	if err != nil {
		t.Fatal(err)
	}
	_, after, _ := strings.Cut(string(page), "## Example")
	var stated []byte
	for line := range strings.Lines(after) {
		if text, ok := strings.CutPrefix(line, "    "); ok {
			digits, _, _ := strings.Cut(text, "|")
			b, err := hex.DecodeString(strings.Join(strings.Fields(digits), ""))
			if err != nil {
				t.Fatal(err)
			}
			stated = append(stated, b...)
		}
	}
	id := Identity{0, 1, 2, 3, 4, 5, 6, 7, 8, 9, 10, 11, 12, 13, 14, 15}
	h := Header{Segment: 1, Identity: id, First: 1}.encode()
	want := appendRecord(append(bytes.Clone(h), h...), id, 1, []byte("200 W"))
	if !bytes.Equal(stated, want) {
		t.Errorf("the document's example reads\n%s\nwritten is\n%s", hex.Dump(stated), hex.Dump(want))
	}
}
