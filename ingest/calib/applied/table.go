package applied

// A table is a calibration in straight pieces, as few as serve (see draft). Its
// numbers are among the words of the source: where the pieces meet, as y, then the
// pressures of each curve there and at the anchors, then, two in a word, the
// uncertainties of each direction, one a piece between those of a whole span outside
// on both sides.
//
// What is known of a piece is kept small, as there are hundreds of thousands of
// tables: a pressure in 65,535 steps, an uncertainty in steps of 2.5 %.
type table struct {
	at         uint32 // first of its words
	pieces     uint16
	branches   bool    // two curves, and the directions loading, unloading and not known; else one of each
	base, step float32 // mmHg: a pressure is base + step*word
	sure       float32 // mmHg: the least uncertainty
}

// The columns of a table with branches; others have the first.
const (
	loading = iota
	unloading
	still
)

func (t *table) curves() int {
	if t.branches {
		return 2
	}
	return 1
}

func (t *table) columns() int {
	if t.branches {
		return 3
	}
	return 1
}

// words returns how many words the table has.
func (t *table) words() int {
	n := int(t.pieces)
	return n - 1 + t.curves()*(n+1) + (t.columns()*(n+2)+1)/2
}

// whole returns y without its fraction, or something that is as far outside.
func whole(y float64) int32 {
	const far = 1 << 24
	switch {
	case y >= far:
		return far
	case y <= -far:
		return -far
	}
	return int32(y)
}

// A spot is a piece of a table, from one knot to below the next.
type spot struct {
	piece    int
	from, to int32
	ofOne    float64 // 1/(to-from)
}

// spot returns the piece on which y is. It asks all knots, as few words lie close
// together and no jump has to be foreseen.
func (t *table) spot(words []uint16, y int32) spot {
	n := int32(0)
	knots := words[t.at:][:t.pieces-1]
	for _, w := range knots {
		n += int32(uint32(int32(w)-1-y) >> 31) // 1 where the knot is not above y
	}
	s := spot{piece: int(n), to: top}
	if n > 0 {
		s.from = int32(knots[n-1])
	}
	if int(n) < len(knots) {
		s.to = int32(knots[n])
	}
	s.ofOne = 1 / float64(s.to-s.from)
	return s
}

// curve returns the pressure of a curve on a piece, as p + dp*y.
func (t *table) curve(words []uint16, s spot, curve int) (p, dp float64) {
	n := int(t.pieces)
	at := words[int(t.at)+n-1+curve*(n+1)+s.piece:][:2]
	p = float64(t.base) + float64(float64(t.step)*float64(at[0]))
	dp = float64(t.step) * float64(int32(at[1])-int32(at[0])) * s.ofOne
	return p - float64(dp*float64(s.from)), dp
}

// doubt returns the uncertainty of a column, -1 and t.pieces being a span outside.
func (t *table) doubt(words []uint16, piece, column int) float64 {
	n := int(t.pieces)
	i := column*(n+2) + 1 + piece
	return float64(t.sure) * grades[uint8(words[int(t.at)+n-1+t.curves()*(n+1)+i/2]>>(i%2*8))]
}

// bounds returns from where to below where the uncertainty is one, and what it is: on
// a piece a constant; farther outside than a zone a constant of each zone, which grows
// in proportion to the distance.
func (t *table) bounds(words []uint16, y int32, s spot, column int) (low, high int32, u float64) {
	low, high, u = s.from, s.to, t.doubt(words, s.piece, column)
	if low == 0 {
		low = least - zone
	}
	if high == top {
		high = most + zone
	}
	if y >= low && y < high {
		return low, high, u
	}
	out, far := int32(0), s.piece
	if y < low {
		out, far = (least-1-y)/zone, far-1
		low, high = least-(out+1)*zone, least-out*zone
	} else {
		out, far = (y-most)/zone, far+1
		low, high = most+out*zone, most+(out+1)*zone
	}
	return low, high, u + float64(float64(out)*zone/span*(t.doubt(words, far, column)-u))
}

// grade is the ratio of an uncertainty to the next smaller one that can be stated.
const grade = 1.025

// grades has the uncertainties that can be stated, as multiples of the least.
var grades = func() (table [256]float64) {
	table[0] = 1
	for i := range len(table) - 1 {
		table[i+1] = table[i] * grade
	}
	return table
}()
