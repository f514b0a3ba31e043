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

// piece returns the number of the piece on which y is. It asks all knots, as few
// words lie close together and no jump has to be foreseen.
func (t *table) piece(words []uint16, y int32) int {
	n := int32(0)
	for _, w := range words[t.at:][:t.pieces-1] {
		n += int32(uint32(int32(w)-1-y) >> 31) // 1 where the knot is not above y
	}
	return int(n)
}

// knot returns y at the beginning of a piece; of the first and at the end of the
// last that of an anchor.
func (t *table) knot(words []uint16, piece int) int32 {
	switch piece {
	case 0:
		return 0
	case int(t.pieces):
		return top
	}
	return int32(words[int(t.at)+piece-1])
}

// curve returns the pressure of a curve on a piece, as p + dp*y.
func (t *table) curve(words []uint16, piece, curve int) (p, dp float64) {
	n := int(t.pieces)
	at := words[int(t.at)+n-1+curve*(n+1)+piece:][:2]
	p = float64(t.base) + float64(float64(t.step)*float64(at[0]))
	from := t.knot(words, piece)
	dp = float64(t.step) * float64(int32(at[1])-int32(at[0])) / float64(t.knot(words, piece+1)-from)
	return p - float64(dp*float64(from)), dp
}

// line returns the pressure of a column on a piece.
func (t *table) line(words []uint16, piece, column int) (p, dp float64) {
	if column != still {
		return t.curve(words, piece, column)
	}
	p, dp = t.curve(words, piece, loading)
	q, dq := t.curve(words, piece, unloading)
	return (p + q) / 2, (dp + dq) / 2
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
func (t *table) bounds(words []uint16, y int32, piece, column int) (low, high int32, u float64) {
	low, high, u = t.knot(words, piece), t.knot(words, piece+1), t.doubt(words, piece, column)
	if piece == 0 {
		low = least - zone
	}
	if piece == int(t.pieces)-1 {
		high = most + zone
	}
	out, far := int32(0), piece
	switch {
	case y < low:
		out, far = (least-1-y)/zone, piece-1
		low, high = least-(out+1)*zone, least-out*zone
	case y >= high:
		out, far = (y-most)/zone, piece+1
		low, high = most+out*zone, most+(out+1)*zone
	default:
		return low, high, u
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
