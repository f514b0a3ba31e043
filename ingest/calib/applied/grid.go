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

// newGrid makes the grid of octaves with 1<<fine pieces each between two counts.
// It is finest at from, which may be the larger one.
func newGrid(from, to float64, octaves, fine int) grid {
	g := grid{scale: (math.Ldexp(1, octaves) - 1 - 2*inside) / (to - from), shift: uint8(bitsOfFraction - fine)}
	g.offset = 1 + inside - float64(from*g.scale)
	g.base = int32(math.Float64bits(1)>>g.shift) - 1
	g.n = int32(octaves<<fine) + 2
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

// grids are what is tried, octaves and how fine, from the fewest pieces to the
// most.
var grids = [...]struct{ octaves, fine int }{
	{1, 2}, {1, 3}, {3, 2}, {1, 4}, {6, 2}, {1, 5}, {9, 2}, {3, 4}, {12, 2}, {1, 6}, {9, 3}, {12, 3}, {15, 3}, {12, 4}, {15, 4},
}
