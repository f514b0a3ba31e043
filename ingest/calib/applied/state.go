package applied

import (
	"encoding/binary"
	"encoding/hex"
	"errors"

	"weald/ingest/calib/curve"
	"weald/ingest/sample"
)

// ErrState is returned for bytes that are no state of a Set.
var ErrState = errors.New("not the state of calibrations")

// Append adds what the calibrations of a source remember to b: the newest event
// time, then for each channel with a record its index, the record's identity, its
// age and its motion. The records themselves are not in it.
func (s *Set) Append(source int, b []byte) []byte {
	src := &s.sources[source]
	b = binary.LittleEndian.AppendUint64(b, uint64(src.last))
	for k := range src.channels {
		c := &src.channels[k]
		b = binary.AppendUvarint(b, uint64(c.index))
		b = binary.AppendUvarint(b, uint64(hex.EncodedLen(len(c.id))))
		b = hex.AppendEncode(b, c.id[:])
		b = binary.AppendUvarint(b, uint64(c.lot.day))
		var m curve.Motion
		if src.rests != nil && src.courses[k].follows {
			m = src.courses[k].motion(&src.rests[k], src.last)
		}
		b = m.Append(b)
	}
	return b
}

// Read takes up what Append wrote, for channels whose record is the same as
// then; the others begin anew. After an error some have been taken up.
func (s *Set) Read(source int, b []byte) error {
	src := &s.sources[source]
	if len(b) < 8 {
		return ErrState
	}
	src.last, b = sample.Instant(binary.LittleEndian.Uint64(b)), b[8:]
	bad := false
	uvarint := func() uint64 {
		v, n := binary.Uvarint(b)
		if n <= 0 {
			bad, n = true, 0
		}
		b = b[n:]
		return v
	}
	for len(b) > 0 {
		index, n := uvarint(), uvarint()
		if bad || n > uint64(len(b)) {
			return ErrState
		}
		id := string(b[:n])
		b = b[n:]
		days := uvarint()
		motion, rest, err := curve.ReadMotion(b)
		if bad || err != nil {
			return ErrState
		}
		b = rest
		if k, found := src.find(int(index)); found && src.channels[k].name() == id {
			if src.rests != nil && src.courses[k].follows {
				src.courses[k].take(&src.rests[k], motion, src.last)
				if src.crepts != nil {
					src.crepts[k].begin()
				}
			}
			src.channels[k].lot.day = int(days)
		}
	}
	src.forget()
	return nil
}
