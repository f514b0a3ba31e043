package applied

import (
	"math"
	"slices"

	"weald/ingest/calib/curve"
)

const (
	close      = 0.01 // mmHg, of anything
	closeShare = 0.08 // as a share of its uncertainty: of a pressure, which that makes 0.3 % more uncertain
	closeU     = 0.05 // as a share: of an uncertainty, which from fifty readings is itself known to 10 % (JCGM 100, table E.1)

	// longest is for how many decades of time the uncertainty of a creep is within.
	longest = 4
)

var directions = [...]curve.Direction{curve.Loading, curve.Unloading, curve.Still}

// A draft makes tables. Its room is used again.
type draft struct {
	knots  []int        // where pieces may meet, as y
	y      []float64    // where the calibration is asked: at all knots and anchors, and in the middle between knots
	knot   []bool       // which of y are knots
	p      [2][]float64 // what it says there: the pressures of both curves
	u      [3][]float64 // the uncertainties of all columns
	heavy  [3][]float64 // the same under the longest load
	loose  []float64    // by how much the pressures may be off
	doubts []float64    // of a table
	cuts   []int        // where pieces meet, as positions in y, with both anchors

	c        *curve.Calibration
	origin   float64 // counts at which y is 0
	perCount float64
}

// table appends the words of the table of a calibration, and returns it with the
// stretch of a channel that has no reading yet.
//
// A piece goes as far as it may: the pressure on it is the line through the curve
// at both of its ends, the uncertainty a constant. The first and the last one begin
// and end at an anchor, and go on outside for ever. Knots are on the curve, so what
// never falls does not fall in the table.
func (d *draft) table(words []uint16, c *curve.Calibration) ([]uint16, table, stretch) {
	t := table{at: uint32(len(words)), branches: c.Unloading != nil}
	d.c = c
	d.scale()
	d.mark()
	for again := true; again; again = d.refine(&t) {
		d.look(&t)
		low, high := d.span(&t)
		t.base, t.step = float32(low), float32((high-low)/math.MaxUint16)
		d.cuts = append(d.cuts[:0], 0)
		for at := 0; at < len(d.y)-1; {
			at = d.reach(&t, at)
			d.cuts = append(d.cuts, at)
		}
	}
	t.pieces = uint16(len(d.cuts) - 1)
	words = d.write(words, &t)
	return words, t, stretch{origin: d.origin, scale: d.perCount}
}

// scale chooses what y is. The count without load of a power law, where the curve
// has a corner, becomes an integer.
func (d *draft) scale() {
	c := d.c
	from, room := c.Raw.Low, 1./16 // so that both ends are inside, however y is rounded
	rest, ok := d.rest()
	if ok = ok && c.Raw.Has(rest); ok {
		room++
	}
	d.perCount = (span - room) / c.Raw.Span()
	if c.Loading.At(c.Raw.High) < c.Loading.At(c.Raw.Low) {
		from, d.perCount = c.Raw.High, -d.perCount
	}
	d.origin = from - (least+room/2)/d.perCount
	if ok {
		y := d.at(rest)
		d.origin -= (math.Round(y) - y) / d.perCount
	}
}

// rest returns the count without load of a power law.
func (d *draft) rest() (raw float64, ok bool) {
	if d.c.Loading.Model() != curve.Power {
		return 0, false
	}
	return d.c.Loading.Coefficients()[0], true
}

func (d *draft) at(raw float64) (y float64) { return (raw - d.origin) * d.perCount }
func (d *draft) raw(y float64) float64      { return d.origin + y/d.perCount }

// mark chooses where pieces may meet: at equal distances; close to the ends, as the
// outer pieces are steep where the curve is; closer and closer to where a power law
// begins; and where curves of many knots have them.
func (d *draft) mark() {
	d.knots = d.knots[:0]
	add := func(y int) {
		if y >= least && y <= most {
			d.knots = append(d.knots, y)
		}
	}
	near := func(raw float64) int { return int(math.Round(min(max(d.at(raw), least), most))) }
	const equal = span / 64
	for y := least; y <= most; y += equal {
		add(y)
	}
	for by := 8; by < equal; by *= 2 {
		add(least + by)
		add(most - by)
	}
	if rest, ok := d.rest(); ok {
		from := near(rest)
		add(from)
		for by := 1; by < 4*equal; by += max(1, by/4) {
			add(from + by)
		}
	}
	curves := []*curve.Curve{&d.c.Loading}
	if d.c.Unloading != nil {
		curves = append(curves, d.c.Unloading)
	}
	for _, c := range curves {
		for _, k := range c.Knots() {
			add(near(k.Raw))
		}
	}
	slices.Sort(d.knots)
	d.knots = slices.Compact(d.knots)
}

// mostKnots is with how many no more are tried.
const mostKnots = 1000

// refine adds knots within the pieces that are not close, and reports whether there
// were such.
func (d *draft) refine(t *table) (more bool) {
	n := len(d.knots)
	for k, from := range d.cuts[:len(d.cuts)-1] {
		to, fits := d.cuts[k+1], true
		for i := range t.columns() {
			_, close := d.doubt(i, from, to)
			fits = fits && close
		}
		begin, end := int(max(d.y[from], least)), int(min(d.y[to], most))
		for part := 1; part < 4 && !fits && n < mostKnots; part++ {
			d.knots = append(d.knots, begin+(end-begin)*part/4)
		}
	}
	slices.Sort(d.knots)
	d.knots = slices.Compact(d.knots)
	return len(d.knots) > n
}

// look asks the calibration for all that counts.
func (d *draft) look(t *table) {
	d.y, d.knot, d.loose = d.y[:0], d.knot[:0], d.loose[:0]
	for i := range d.p {
		d.p[i] = d.p[i][:0]
	}
	for i := range d.u {
		d.u[i], d.heavy[i] = d.u[i][:0], d.heavy[i][:0]
	}
	d.ask(t, 0, true)
	for i, k := range d.knots {
		if i > 0 {
			d.ask(t, float64(d.knots[i-1]+k)/2, false)
		}
		d.ask(t, float64(k), true)
	}
	d.ask(t, top, true)
}

// ask notes what the calibration says at y: of an anchor the pressure, with the
// uncertainty of the end.
func (d *draft) ask(t *table, y float64, knot bool) {
	d.y, d.knot = append(d.y, y), append(d.knot, knot)
	doubt := math.Inf(1)
	for i := range t.columns() {
		v := d.value(y, i)
		if i < t.curves() {
			d.p[i] = append(d.p[i], float64(v.MMHg))
		}
		if !within(y) {
			v = d.value(min(max(y, least), most), i)
		}
		d.u[i] = append(d.u[i], v.Independent)
		doubt = min(doubt, v.Independent)
		if c := d.c.Creep; c != nil {
			d.heavy[i] = append(d.heavy[i], math.Hypot(v.Independent, longest*c.U*float64(v.MMHg)))
		}
	}
	d.loose = append(d.loose, max(close, closeShare*doubt))
}

// within reports whether y is in the calibrated range.
func within(y float64) bool { return y >= least && y <= most }

func (d *draft) value(y float64, column int) curve.Value {
	return d.c.Value(d.raw(y), directions[column], 0)
}

// span returns the least and the largest pressure of a table.
func (d *draft) span(t *table) (low, high float64) {
	low, high = slices.Min(d.p[0]), slices.Max(d.p[0])
	if t.branches {
		low, high = min(low, slices.Min(d.p[1])), max(high, slices.Max(d.p[1]))
	}
	return low, high
}
