package applied

import (
	"math"
	"time"

	"weald/ingest/calib/curve"
)

// A table is a calibration in one direction as straight pieces of equal width. It
// reaches beyond the calibrated range by margin of its span; what is farther out
// is computed.
type table struct {
	low, high float64 // counts
	scale     float64 // pieces a count
	pieces    []piece // nil for one that has to be computed
}

// A piece is the pressure and the independent uncertainty in mmHg at its lower
// end, and how much they change to its upper end.
type piece struct{ p, dp, u, du float64 }

const (
	margin       = 0.5 // puts the ends of the range, where the uncertainty bends, between pieces
	fewestPieces = 16
	mostPieces   = 512
	within       = 0.01 // mmHg, of the pressure
	withinShare  = 0.05 // or as a share of its uncertainty, which that makes 0.1 % larger
	withinU      = 0.02 // as a share, of the uncertainty
)

// newTable makes the table of a calibration just after it was made.
func newTable(c *curve.Calibration, d curve.Direction) table {
	reach := margin * c.Raw.Span()
	t := table{low: c.Raw.Low - reach, high: c.Raw.High + reach}
	for n := fewestPieces; n <= mostPieces; n *= 2 {
		t.scale, t.pieces = float64(n)/(t.high-t.low), make([]piece, n)
		t.fill(c, d, 0)
		if t.close(c, d) {
			return t
		}
	}
	t.pieces = nil
	return t
}

// fill makes the pieces for an age of the calibration.
func (t *table) fill(c *curve.Calibration, d curve.Direction, age time.Duration) {
	last := c.Value(t.low, d, age)
	for i := range t.pieces {
		next := c.Value(t.low+float64(float64(i+1)/t.scale), d, age)
		p, u := float64(last.MMHg), last.Independent
		t.pieces[i] = piece{p: p, dp: float64(next.MMHg) - p, u: u, du: next.Independent - u}
		last = next
	}
}

// close reports whether the table is as close to the calibration as it has to be.
func (t *table) close(c *curve.Calibration, d curve.Direction) bool {
	for i := range t.pieces {
		for _, share := range [...]float64{0.25, 0.5, 0.75} {
			raw := t.low + (float64(i)+share)/t.scale
			v := c.Value(raw, d, 0)
			p, u := t.at(raw)
			if math.Abs(p-float64(v.MMHg)) > max(within, withinShare*v.Independent) || math.Abs(u-v.Independent) > withinU*v.Independent {
				return false
			}
		}
	}
	return true
}

// at returns the pressure and the independent uncertainty at a count between low
// and high. The conversions keep products from being fused into sums, so that
// every processor gives the same last bit.
func (t *table) at(raw float64) (p, u float64) {
	x := (raw - t.low) * t.scale
	i := int(x)
	if uint(i) >= uint(len(t.pieces)) {
		i = len(t.pieces) - 1
	}
	f := x - float64(i)
	k := &t.pieces[i]
	return k.p + float64(f*k.dp), k.u + float64(f*k.du)
}

// has reports whether the table knows a count.
func (t *table) has(raw float64) bool { return t.pieces != nil && raw >= t.low && raw < t.high }
