package alert

import (
	"encoding/binary"
	"errors"

	"weald/ingest/sample"
)

// ErrSnapshot is returned for bytes that are no snapshot of a life.
var ErrSnapshot = errors.New("not a snapshot of an alert")

// lifeVersion is the first byte of a life's snapshot.
const lifeVersion = 1

// Append adds l to b in the form that ReadLife reads.
func (l *Life) Append(b []byte) []byte {
	var flags byte
	for i, set := range []bool{l.Holds, l.Raised, l.Owed, l.Chattering, l.Suppressed} {
		if set {
			flags |= 1 << i
		}
	}
	b = append(b, lifeVersion, flags, byte(l.Tier), byte(l.Raises))
	for _, i := range append([]sample.Instant{l.Since, l.TierSince}, l.Recent[:]...) {
		b = binary.LittleEndian.AppendUint64(b, uint64(i))
	}
	for _, n := range []*Note{&l.Acked, &l.Shelf, &l.Out} {
		for _, s := range []string{n.Who, n.Why} {
			b = append(binary.AppendUvarint(b, uint64(len(s))), s...)
		}
		b = binary.LittleEndian.AppendUint64(b, uint64(n.At))
		b = binary.LittleEndian.AppendUint64(b, uint64(n.Until))
	}
	return b
}

// ReadLife reads a Life of a rule's alert from the beginning of b and returns
// the rest. A rule that says something else than it did is no error: whom it
// calls is seen to anew.
func ReadLife(spec *Spec, b []byte) (l Life, rest []byte, err error) {
	if len(b) < 4 || b[0] != lifeVersion || b[3] > ChatterMost {
		return Life{}, nil, ErrSnapshot
	}
	for i, set := range []*bool{&l.Holds, &l.Raised, &l.Owed, &l.Chattering, &l.Suppressed} {
		*set = b[1]&(1<<i) != 0
	}
	l.Tier, l.Raises = int(b[2]), int(b[3])
	b = b[4:]
	short := false
	instant := func() sample.Instant {
		if len(b) < 8 {
			short = true
			return 0
		}
		v := binary.LittleEndian.Uint64(b)
		b = b[8:]
		return sample.Instant(v)
	}
	text := func() string {
		n, size := binary.Uvarint(b)
		if size <= 0 || n > uint64(len(b)-size) {
			short = true
			return ""
		}
		s := string(b[size : size+int(n)])
		b = b[size+int(n):]
		return s
	}
	l.Since, l.TierSince = instant(), instant()
	for i := range l.Recent {
		l.Recent[i] = instant()
	}
	for _, n := range []*Note{&l.Acked, &l.Shelf, &l.Out} {
		n.Who, n.Why = text(), text()
		n.At, n.Until = instant(), instant()
	}
	if calls := l.State(spec) == Unacknowledged || l.State(spec) == Latched; calls != (l.Tier > 0) {
		l.Tier = 0
		if calls {
			l.Tier, l.TierSince = 1, max(l.Since, l.TierSince)
		}
	}
	if short || l.Check(spec) != nil {
		return Life{}, nil, ErrSnapshot
	}
	return l, b, nil
}
