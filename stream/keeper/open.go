package keeper

import (
	"math"
	"slices"

	"weald/stream/record"
)

// An open block was kept and may grow. Its readings, which nobody looks at until
// then, are held as counts where all of a scan are such, in a quarter of the room.
type open struct {
	block    record.Block // its scans have no readings
	readings []readings   // those of each
}

// channels is how many readings each of the scans has.
func (o *open) channels() int {
	if len(o.readings) == 0 {
		return 0
	}
	return o.readings[0].len()
}

// grows reports whether a block that ends with so many scans takes more.
func (o *open) grows(ends int) bool {
	n := len(o.block.Scans)
	return n < ends && (n+1)*o.channels() <= blockHolds
}

// set makes o the block b, of which the first scans are the ones that it has.
func (o *open) set(b record.Block, same int, spare *spares[uint16]) {
	o.cut(same, spare)
	for _, s := range b.Scans[same:] {
		o.readings = append(o.readings, packReadings(s.Raw, spare.get()))
		s.Raw = nil
		o.block.Scans = append(o.block.Scans, s)
	}
	b.Scans = o.block.Scans
	o.block = b
}

// end forgets the scans.
func (o *open) end(spare *spares[uint16]) { o.cut(0, spare) }

// cut forgets all but the first n scans.
func (o *open) cut(n int, spare *spares[uint16]) {
	for _, r := range o.readings[n:] {
		spare.put(r.counts)
	}
	clear(o.readings[n:])
	o.readings, o.block.Scans = o.readings[:n], o.block.Scans[:n]
}

// scans returns the scans of the block, with their readings in buffers.
func (o *open) scans(spare *spares[float64]) []record.Scan {
	all := make([]record.Scan, len(o.block.Scans))
	for i, s := range o.block.Scans {
		all[i] = s
		all[i].Raw = o.readings[i].appendTo(spare.get())
	}
	return all
}

// noCount stands for a reading that was not delivered.
const noCount = math.MaxUint16

// Readings are counts where all of a scan are such, from 0 to less than noCount, or
// what they were, such as mmHg or the negative zero of a device.
type readings struct {
	counts []uint16
	other  []float64
}

// packReadings uses room if raw are counts.
func packReadings(raw []float64, room []uint16) readings {
	counts := slices.Grow(room[:0], len(raw))
	for _, v := range raw {
		switch {
		case v != v:
			counts = append(counts, noCount)
		case v >= 0 && v < noCount && v == math.Trunc(v) && !math.Signbit(v):
			counts = append(counts, uint16(v))
		default:
			return readings{other: slices.Clone(raw)}
		}
	}
	return readings{counts: counts}
}

func (r readings) len() int { return max(len(r.counts), len(r.other)) }

func (r readings) appendTo(dst []float64) []float64 {
	if r.counts == nil {
		return append(dst, r.other...)
	}
	for _, c := range r.counts {
		if c == noCount {
			dst = append(dst, math.NaN())
		} else {
			dst = append(dst, float64(c))
		}
	}
	return dst
}
