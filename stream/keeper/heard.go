package keeper

import (
	"encoding/binary"

	"weald/ingest/sample"
)

// In a snapshot, beside the places, a source stands under its id, which has a
// slash in it as no place's has: for each scan, as differences to the one before,
// the first frame's number, how many more frames it has, the counter, event time
// and arrival less event time (varint), and 1 if it was stored.

func packHeard(all []sample.Heard) []byte {
	var b []byte
	var was sample.Heard
	for i := range all {
		h := all[i]
		b = binary.AppendVarint(b, int64(int32(h.First-was.First)))
		b = binary.AppendUvarint(b, uint64(h.Seq-h.First))
		b = binary.AppendVarint(b, int64(int32(h.Millis-was.Millis)))
		b = binary.AppendVarint(b, int64(h.At-was.At))
		b = binary.AppendVarint(b, int64(h.Arrived-h.At))
		if b = append(b, 0); h.Stored {
			b[len(b)-1] = 1
		}
		was = h
	}
	return b
}

// unpackHeard reads what packHeard has written, as far as it makes sense: it is
// within the checksum of the snapshot.
func unpackHeard(b []byte) (all []sample.Heard) {
	var was sample.Heard
	bad := false
	varint := func() int64 {
		v, n := binary.Varint(b)
		if n <= 0 {
			bad, n = true, 0
		}
		b = b[n:]
		return v
	}
	for len(b) > 0 {
		h := was
		h.First += uint32(varint())
		more, n := binary.Uvarint(b)
		if n <= 0 {
			return all
		}
		b = b[n:]
		h.Seq = h.First + uint32(more)
		h.Millis += uint32(varint())
		h.At += sample.Instant(varint())
		h.Arrived = h.At + sample.Instant(varint())
		if bad || len(b) == 0 {
			return all
		}
		h.Stored = b[0] == 1
		b = b[1:]
		all = append(all, h)
		was = h
	}
	return all
}
