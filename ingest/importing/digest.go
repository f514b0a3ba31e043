package importing

import (
	"encoding/binary"
	"hash/maphash"
	"math"

	"weald/ingest/sample"
)

// A digest stands for the scans of a recording, source by source, in the order
// of each: two recordings with equal digests give the same events. Sequence
// numbers are no part of it, as rows are numbered by being counted.
type digest struct {
	sources []maphash.Hash
	buf     []byte
}

// newDigest returns a digest for n sources; those of one seed may be compared.
func newDigest(n int, seed maphash.Seed) *digest {
	d := &digest{sources: make([]maphash.Hash, n)}
	for i := range d.sources {
		d.sources[i].SetSeed(seed)
	}
	return d
}

// add takes the next scan of the i-th source of the bridge.
func (d *digest) add(i int, s *sample.Scan) {
	b := append(d.buf[:0], 0)
	if s.Stored {
		b[0] = 1
	}
	b = binary.LittleEndian.AppendUint64(b, uint64(s.At))
	b = binary.LittleEndian.AppendUint64(b, uint64(s.Arrived))
	for _, values := range [][]float64{s.Values, s.Raw} {
		for _, v := range values {
			b = binary.LittleEndian.AppendUint64(b, math.Float64bits(v))
		}
	}
	d.buf = b
	_, _ = d.sources[i].Write(b) // never fails
}

// differs returns the first source whose scans are others than in o, -1 if none.
func (d *digest) differs(o *digest) int {
	for i := range d.sources {
		if d.sources[i].Sum64() != o.sources[i].Sum64() {
			return i
		}
	}
	return -1
}
