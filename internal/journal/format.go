// Package journal keeps records of opaque bytes in an append-only file, each
// of which can prove by itself that it is whole. The format, and what is lost
// when, is docs/journal.md. It knows nothing of rides.
package journal

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
)

const (
	version    = 1
	headerSize = 44
	recordHead = 20 // bytes of a record before the caller's

	maxSequence = 1 << 62

	// MaxRecord is the most bytes of one record.
	MaxRecord = 4 << 20
	// MaxUnsynced is the most bytes held in memory that are not on the disk.
	MaxUnsynced = 16 << 20
	// MaxSegment is the most bytes of one segment.
	MaxSegment = 1 << 30
)

var (
	headerMark = []byte("\x89CLJ\r\n\x1a\n")
	recordMark = []byte("\xf5rec") // f5 stands in no UTF-8 text
	castagnoli = crc32.MakeTable(crc32.Castagnoli)
)

// ErrNotJournal is what a file without a whole header gives.
var ErrNotJournal = errors.New("this is no journal: neither of its two headers is whole")

// Identity tells one journal from all others; it is the caller's choice.
type Identity [16]byte

// Header is what a segment says of itself.
type Header struct {
	Segment  uint32 // from 1
	Identity Identity
	First    uint64 // sequence number of the first record that may stand here
}

func (h Header) encode() []byte {
	b := append(make([]byte, 0, headerSize), headerMark...)
	b = binary.LittleEndian.AppendUint32(b, version)
	b = binary.LittleEndian.AppendUint32(b, h.Segment)
	b = append(b, h.Identity[:]...)
	b = binary.LittleEndian.AppendUint64(b, h.First)
	return binary.LittleEndian.AppendUint32(b, crc32.Checksum(b, castagnoli))
}

// decodeHeader reads one of the two headers; ok is false if it is not whole.
func decodeHeader(b []byte) (h Header, ok bool, err error) {
	if len(b) < headerSize || !bytes.HasPrefix(b, headerMark) {
		return h, false, nil
	}
	if crc32.Checksum(b[:40], castagnoli) != binary.LittleEndian.Uint32(b[40:]) {
		return h, false, nil
	}
	if v := binary.LittleEndian.Uint32(b[8:]); v != version {
		return h, false, fmt.Errorf("a journal of version %d; this program reads version %d", v, version)
	}
	h.Segment = binary.LittleEndian.Uint32(b[12:])
	copy(h.Identity[:], b[16:])
	h.First = binary.LittleEndian.Uint64(b[32:])
	return h, h.First >= 1 && h.First <= maxSequence+1, nil
}

// checksum is over identity, length, sequence number and bytes; meta holds
// length and sequence number as they stand in the file.
func checksum(id Identity, meta, payload []byte) uint32 {
	sum := crc32.Update(0, castagnoli, id[:])
	sum = crc32.Update(sum, castagnoli, meta)
	return crc32.Update(sum, castagnoli, payload)
}

func appendRecord(b []byte, id Identity, sequence uint64, payload []byte) []byte {
	b = append(b, recordMark...)
	at := len(b)
	b = binary.LittleEndian.AppendUint32(b, uint32(len(payload)))
	b = binary.LittleEndian.AppendUint64(b, sequence)
	b = binary.LittleEndian.AppendUint32(b, checksum(id, b[at:at+12], payload))
	return append(b, payload...)
}

// decodeRecord reads the record that begins at b[0]. why is empty if it is
// whole; hashed is how many bytes had to be looked at to know.
func decodeRecord(b []byte, id Identity) (sequence uint64, payload []byte, why string, hashed int) {
	if !bytes.HasPrefix(b, recordMark) {
		if len(b) < len(recordMark) && bytes.HasPrefix(recordMark, b) {
			return 0, nil, "a record is cut short", 0
		}
		return 0, nil, "no record begins here", 0
	}
	if len(b) < recordHead {
		return 0, nil, "a record is cut short", 0
	}
	length := int64(binary.LittleEndian.Uint32(b[4:]))
	switch {
	case length > MaxRecord:
		return 0, nil, "a record's length is impossible", 0
	case length > int64(len(b)-recordHead):
		return 0, nil, "a record is cut short, or its length is wrong", 0
	}
	payload = b[recordHead : recordHead+length : recordHead+length]
	if checksum(id, b[4:16], payload) != binary.LittleEndian.Uint32(b[16:]) {
		return 0, nil, "a record's checksum is wrong", int(length) + recordHead
	}
	return binary.LittleEndian.Uint64(b[8:]), payload, "", int(length) + recordHead
}
