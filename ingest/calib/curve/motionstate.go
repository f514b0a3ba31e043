package curve

import (
	"encoding/binary"
	"errors"
	"math"

	"weald/ingest/sample"
)

// ErrMotion is returned for bytes that are no Motion.
var ErrMotion = errors.New("not the state of a motion")

const motionSize = 1 + 1 + 6*8

// Append adds m to b in the form that ReadMotion reads: seen, direction, then low,
// high, settled, smooth, since and last, little-endian.
func (m *Motion) Append(b []byte) []byte {
	seen := byte(0)
	if m.seen {
		seen = 1
	}
	b = append(b, seen, byte(m.direction+1))
	for _, v := range [...]float64{m.low, m.high, m.settled, m.Smooth} {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
	}
	b = binary.LittleEndian.AppendUint64(b, uint64(m.since))
	return binary.LittleEndian.AppendUint64(b, uint64(m.last))
}

// ReadMotion reads a Motion from the beginning of b and returns the rest.
func ReadMotion(b []byte) (m Motion, rest []byte, err error) {
	if len(b) < motionSize || b[0] > 1 || b[1] > 2 {
		return Motion{}, nil, ErrMotion
	}
	word := func(i int) uint64 { return binary.LittleEndian.Uint64(b[2+8*i:]) }
	return Motion{Unsettled(math.Float64frombits(word(3))), Course{
		seen: b[0] == 1, direction: Direction(b[1]) - 1,
		low: math.Float64frombits(word(0)), high: math.Float64frombits(word(1)), settled: math.Float64frombits(word(2)),
		since: sample.Instant(word(4)), last: sample.Instant(word(5)),
	}}, b[motionSize:], nil
}
