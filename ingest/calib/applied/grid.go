package applied

import "math"

// A grid says on which piece of its table a count is, by a shift instead of a
// search: the counts are moved into d = raw*scale + offset, which is 1 where the
// calibrated range begins, and the leading bits of d as a floating-point number,
// its exponent and some of its fraction, number the pieces. Within one octave of d
// they are of equal width; over several each octave has pieces twice as wide as
// the one before, so that they are finest where the grid begins.
//
// The first and the last piece are what lies outside, and go on for ever.
type grid struct {
	scale, offset float64
	shift         uint8
	base          int32 // leading bits of d just before the grid begins
	n             int32 // pieces
}

// bitsOfFraction is how many bits the fraction of a float64 has.
const bitsOfFraction = 52

// inside keeps both ends of the range within the pieces that are inside, however d
// is rounded.
const inside = 1. / (1 << 30)

// newGrid makes the grid of a form between two counts. It is finest at from, which
// may be the larger one.
func newGrid(from, to float64, f form) grid {
	g := grid{scale: (f.end - 1 - 2*inside) / (to - from), shift: uint8(bitsOfFraction - f.fine)}
	g.offset = 1 + inside - float64(from*g.scale)
	leading := func(d float64) int32 { return int32(math.Float64bits(d) >> g.shift) }
	g.base = leading(1) - 1
	g.n = leading(f.end) - leading(1) + 2
	return g
}

// at returns d for a count.
func (g *grid) at(raw float64) float64 { return float64(raw*g.scale) + g.offset }

// piece returns the number of the piece that d is on; any for NaN.
func (g *grid) piece(d float64) int32 {
	j := int32(int64(math.Float64bits(d))>>(g.shift&63)) - g.base
	if j < 0 {
		j = 0
	}
	if j >= g.n {
		j = g.n - 1
	}
	return j
}

// knot returns d at the beginning of piece i, but for the first.
func (g *grid) knot(i int32) float64 { return math.Float64frombits(uint64(g.base+i) << g.shift) }

// raw returns the count at which d is what it is.
func (g *grid) raw(d float64) float64 { return (d - g.offset) / g.scale }

// A form says how fine a grid is: an octave has 1<<fine pieces, and the calibrated
// range ends at the end of a piece, at d = end.
type form struct {
	end  float64
	fine int
}

// graded reports whether the pieces are of several widths.
func (f form) graded() bool { return f.end > 2 }

// forms are what is tried, from the fewest pieces to the most. Those of one width
// are parts of one octave, so that nearly all channels of a mat are looked up with
// the same shift: see run.
var forms = [...]form{
	{1 + 4./32, 5}, {1 + 6./32, 5}, {1 + 8./32, 5}, {1 + 10./32, 5}, {1 + 12./32, 5}, {8, 2}, {1 + 16./32, 5}, {1 + 20./32, 5}, {8, 3}, {64, 2}, {2, 5},
	{512, 2}, {64, 3}, {8, 4}, {4096, 2}, {2, 6}, {512, 3}, {4096, 3}, {32768, 3}, {4096, 4}, {32768, 4},
}
