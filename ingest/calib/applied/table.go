package applied

import (
	"math"

	"weald/ingest/calib/curve"
)

// A piece is a straight part of a table: the pressure is p + dp*d and its
// independent uncertainty u + du*d, in mmHg. With the precision of these numbers
// a pressure is off by a millionth of the range.
type piece struct{ p, dp, u, du float32 }

// at returns the pressure and the independent uncertainty. The conversions keep
// products from being fused into sums, so that every processor gives the same
// last bit.
func (t *piece) at(d float64) (p, u float64) {
	x := float32(d)
	return float64(t.p + float32(t.dp*x)), float64(t.u + float32(t.du*x))
}

// line returns where a line through two points meets 0, and its slope.
func line(x0, y0, x1, y1 float64) (y, slope float32) {
	s := (y1 - y0) / (x1 - x0)
	return float32(y0 - s*x0), float32(s)
}

// A table is a calibration as straight pieces. One with two branches has columns
// for loading, unloading and no known direction beside each other, in this order;
// others have one column.
type table struct {
	grid
	raws    curve.Range // calibrated
	knee    bool        // piece 0 is partly inside of it
	columns int
	pieces  []piece   // grid.n rows
	fresh   []float32 // uncertainty at the knots just after calibrating, n+1 rows
}

const (
	within      = 0.01 // mmHg, of anything
	withinShare = 0.08 // as a share of its uncertainty: of a pressure, which that makes 0.3 % more uncertain
	withinU     = 0.05 // as a share: of an uncertainty, which from fifty readings is itself known to 10 % (JCGM 100, table E.1)

	// nearby and farOut are by what share of its span outside of the calibrated
	// range the pressure and the uncertainty are what the outer pieces say.
	nearby = 1. / 8
	farOut = 1.
)

var directions = [...]curve.Direction{curve.Loading, curve.Unloading, curve.Still}

// newTable makes the table of a calibration just after it was made, of as few
// pieces as serve. Where none serves, what the one with the most pieces is off by
// is part of the uncertainty.
func newTable(c *curve.Calibration) table {
	t := table{columns: 1, raws: c.Raw}
	if c.Unloading != nil {
		t.columns = len(directions)
	}
	for _, form := range forms {
		t.lay(c, form)
		t.fill(c)
		if _, close := t.off(c, false); close {
			return t
		}
	}
	off, _ := t.off(c, true)
	for i, u := range t.fresh {
		t.fresh[i] = float32(math.Hypot(float64(u), off))
	}
	t.age(0)
	return t
}

// lay chooses the grid of a form. Graded ones are finest where there is no load, as
// only curves that are steep there need them.
func (t *table) lay(c *curve.Calibration, f form) {
	low, high := c.Raw.Low, c.Raw.High
	if f.graded() && c.Loading.Slope((low+high)/2) < 0 {
		low, high = high, low
	}
	from := low
	if f.graded() && c.Loading.Model() == curve.Power {
		if rest := c.Loading.Coefficients()[0]; c.Raw.Has(rest) {
			from = rest // before that there is no pressure
		}
	}
	t.knee = from != low
	t.grid = newGrid(from, high, f)
}

// knot returns d at the beginning of piece i, or at the end of the last for n. The
// outer pieces are drawn to a share of the span outside of the calibrated range; one
// that is partly inside of it, to its end.
func (t *table) knot(i int32, share float64) float64 {
	if i > 0 && i < t.n {
		return t.grid.knot(i)
	}
	low, high := t.raws.Low, t.raws.High
	if t.scale < 0 {
		low, high = high, low
	}
	switch {
	case i == t.n:
		return t.at(high + share*(high-low))
	case t.knee:
		return t.at(low)
	}
	return t.at(low - share*(high-low))
}

// fill makes the pieces.
func (t *table) fill(c *curve.Calibration) {
	t.pieces, t.fresh = make([]piece, int(t.n)*t.columns), make([]float32, int(t.n+1)*t.columns)
	for col := range t.columns {
		last, lastD := 0.0, 0.0
		for i := range t.n + 1 {
			d := t.knot(i, nearby)
			v := c.Value(t.raw(d), directions[col], 0)
			p := float64(v.MMHg)
			if i > 0 {
				k := &t.pieces[int(i-1)*t.columns+col]
				k.p, k.dp = line(lastD, last, d, p)
			}
			if last, lastD = p, d; i == 0 || i == t.n {
				v = c.Value(t.raw(t.knot(i, farOut)), directions[col], 0)
			}
			t.fresh[int(i)*t.columns+col] = float32(v.Independent)
		}
	}
	t.age(0)
}

// age lets the uncertainty grow by the drift since calibrating, in mmHg.
func (t *table) age(drift float64) {
	for i := range t.n {
		from, to := t.knot(i, farOut), t.knot(i+1, farOut)
		for col := range t.columns {
			row := int(i)*t.columns + col
			k := &t.pieces[row]
			k.u, k.du = line(from, math.Hypot(float64(t.fresh[row]), drift), to, math.Hypot(float64(t.fresh[row+t.columns]), drift))
		}
	}
}

// off returns by how much the pressures of the table are off within the
// calibrated range, in mmHg, and whether that and the error of the uncertainty may
// be. Unless all is asked for it ends where they may not.
func (t *table) off(c *curve.Calibration, all bool) (worst float64, close bool) {
	close = true
	parts := 4
	if all {
		parts = 32
	}
	for i := range t.n {
		from, to := t.knot(i, nearby), t.knot(i+1, nearby)
		for part := 1; part < parts; part++ {
			d := from + float64(part)/float64(parts)*(to-from)
			raw := t.raw(d)
			if !c.Raw.Has(raw) {
				continue
			}
			for col := range t.columns {
				v := c.Value(raw, directions[col], 0)
				p, u := t.pieces[int(i)*t.columns+col].at(d)
				off := math.Abs(p - float64(v.MMHg))
				worst = max(worst, off)
				close = close && off <= max(within, withinShare*v.Independent) && math.Abs(u-v.Independent) <= max(within, withinU*v.Independent)
			}
			if !close && !all {
				return worst, false
			}
		}
	}
	return worst, close
}
