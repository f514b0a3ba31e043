// Package record is what the journal keeps, and how each kept thing is written
// as bytes.
//
// There are two streams. Inputs of the rules engine (scans, ticks, and those
// entries that are inputs) carry an ordinal, which counts through all of them
// over the whole life of a record: read back in that order, they give the same
// alerts again. Entries (changes of alerts, human actions, marks, sessions,
// configurations, faults) carry a position, which counts through them without
// holes. Beside them stand documents, snapshots of the engine, and history in
// tiers.
//
// Everything kept has the same shape: a byte that says what it is, a byte that
// says by which version of its encoding it was written, the content, and a
// CRC-32C of all that. Whatever stores it may therefore lose its bookkeeping
// and still tell whole from broken, and each thing names itself: a block knows
// its source and its number, an entry its position. The encodings are held to
// golden files in testdata: a program must read what every earlier one wrote.
//
// Numbers are little endian; "uvarint" and "varint" are those of
// encoding/binary; text is a uvarint of its length in bytes, then the bytes.
package record

import (
	"encoding/binary"
	"errors"
	"fmt"
	"hash/crc32"
)

// A Form says what a kept thing is. It is the first byte of its encoding.
type Form byte

// The forms.
const (
	FormBlock    Form = 'B'
	FormTicks    Form = 'T'
	FormEntry    Form = 'E'
	FormDocument Form = 'D'
	FormSnapshot Form = 'S'
	FormStretch  Form = 'H'
	FormRetired  Form = 'R'
	FormProgress Form = 'P'
)

// Errors of decoding.
var (
	// ErrDamaged means that the bytes are not what was written: the checksum
	// is wrong, or, in spite of it, the content makes no sense.
	ErrDamaged = errors.New("damaged")
	// ErrNewer means that a newer program wrote it, in a version that this one
	// does not know. Nothing is wrong with the bytes.
	ErrNewer = errors.New("written by a newer version of this program")
	// ErrForm means that it is something else than what was asked for.
	ErrForm = errors.New("something else was written here")
)

// envelope is the size of what surrounds every content: form, version, CRC.
const envelope = 1 + 1 + 4

var castagnoli = crc32.MakeTable(crc32.Castagnoli)

// begin begins an encoding.
func begin(dst []byte, f Form, version byte) []byte { return append(dst, byte(f), version) }

// seal ends the encoding that begins at dst[start].
func seal(dst []byte, start int) []byte {
	return binary.LittleEndian.AppendUint32(dst, crc32.Checksum(dst[start:], castagnoli))
}

// FormOf returns what b is, if b is whole. Its error is ErrDamaged.
func FormOf(b []byte) (Form, error) {
	if len(b) < envelope {
		return 0, fmt.Errorf("%d bytes are too few: %w", len(b), ErrDamaged)
	}
	body := b[:len(b)-4]
	if got, want := crc32.Checksum(body, castagnoli), binary.LittleEndian.Uint32(b[len(b)-4:]); got != want {
		return 0, fmt.Errorf("checksum is %08x, not %08x: %w", got, want, ErrDamaged)
	}
	return Form(b[0]), nil
}

// content returns what is inside the envelope of b, which must be a thing of
// form f in a version up to newest.
func content(b []byte, f Form, newest byte) (version byte, in []byte, err error) {
	switch got, err := FormOf(b); {
	case err != nil:
		return 0, nil, err
	case got != f:
		return 0, nil, fmt.Errorf("form %q instead of %q: %w", byte(got), byte(f), ErrForm)
	case b[1] == 0:
		return 0, nil, fmt.Errorf("version 0: %w", ErrDamaged)
	case b[1] > newest:
		return 0, nil, fmt.Errorf("form %q, version %d, known up to %d: %w", byte(f), b[1], newest, ErrNewer)
	}
	return b[1], b[2 : len(b)-4], nil
}
