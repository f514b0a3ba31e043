package rules

import (
	"math"
	"slices"

	"weald/ingest/sample"
	"weald/rules/matstat"
)

// A doubt is what a pass over cells adds up to of their uncertainties: of the
// known ones, and of those in contact. Own parts are of each cell alone, shared
// ones of the gauge that all were calibrated with: see siteState.mean.
type doubt struct {
	own2, touching2 float64 // sums of squares, mmHg²
	shared, touched float64 // sums of shared parts, mmHg
	peak            float64
	peakOwn         float64
	peakShared      float64
	beyond, far     bool // a cell in contact is extrapolated; the highest is
	past            bool // a cell in contact has a calibration that is past its date
}

// certain is what no cell adds up to.
var certain = doubt{peak: math.Inf(-1)}

// doubted reports whether anything is known of the cells' uncertainties.
func (m *matState) doubted() bool { return m.stated != nil || m.beyond != nil }

// doubts adds up the cells of all areas; nothing where nothing is known. Where the
// regions are disjoint, the whole is their sum and that of the rest, and each cell
// is looked at once; where all cells are as uncertain, none is.
func (m *matState) doubts() {
	switch {
	case !m.doubted():
		return
	case m.beyond == nil && m.level == m.level:
		for i := range m.areas {
			m.areas[i].doubt = evenly(m.stat.Of(i), m.level)
		}
		return
	}
	whole := certain
	for i := 1; i < len(m.areas); i++ {
		m.areas[i].doubt = m.doubt(&m.areas[i])
		whole.merge(&m.areas[i].doubt)
	}
	if m.disjoint {
		rest := m.doubt(&m.rest)
		whole.merge(&rest)
	} else {
		whole = m.doubt(&m.areas[0])
	}
	m.areas[0].doubt = whole
}

// evenly is the doubt of cells of which each has the same standard uncertainty u,
// all of it its own.
func evenly(m *matstat.Measure, u float64) doubt {
	return doubt{own2: float64(m.Known) * u * u, touching2: float64(m.Contact) * u * u, peak: m.Peak, peakOwn: u}
}

// even returns what all of us are; NaN where they are not one number.
func even(us []float64) float64 {
	if len(us) == 0 || slices.ContainsFunc(us, func(u float64) bool { return u != us[0] }) {
		return math.NaN()
	}
	return us[0]
}

// doubt adds up the cells of an area.
//
// What is in contact and what is not is like noise to a processor that guesses
// which way a branch goes: so contact is a number here, 1 or 0, out of the sign of
// how far a cell is below it.
func (m *matState) doubt(a *area) doubt {
	var own2, touching2, shared, touched float64
	var beyond, past uint64
	highest, top := math.Inf(-1), -1
	for _, r := range a.runs {
		values, owns, shares := m.values[r[0]:r[1]], m.own[r[0]:r[1]], m.shared[r[0]:r[1]]
		owns, shares = owns[:len(values)], shares[:len(values)]
		for i, v := range values {
			if v != v {
				continue
			}
			contact := math.Float64bits(contactAbove-v) >> 63
			in, own, share := float64(contact), float64(owns[i]*owns[i]), shares[i]
			own2 += own
			touching2 += float64(in * own)
			shared += share
			touched += float64(in * share)
			if v > highest {
				highest, top = v, r[0]+i
			}
			if m.beyond != nil {
				beyond |= contact & bit(m.beyond[r[0]+i])
			}
			if m.past != nil {
				past |= contact & bit(m.past[r[0]+i])
			}
		}
	}
	d := doubt{own2: own2, touching2: touching2, shared: shared, touched: touched, peak: highest, beyond: beyond != 0, past: past != 0}
	if top >= 0 {
		d.peakOwn, d.peakShared, d.far = m.own[top], m.shared[top], m.beyond != nil && m.beyond[top]
	}
	return d
}

func bit(is bool) (b uint64) {
	if is {
		b = 1
	}
	return b
}

// merge takes what was added up elsewhere.
func (d *doubt) merge(o *doubt) {
	d.own2, d.touching2, d.shared, d.touched = d.own2+o.own2, d.touching2+o.touching2, d.shared+o.shared, d.touched+o.touched
	d.beyond, d.past = d.beyond || o.beyond, d.past || o.past
	if o.peak > d.peak {
		d.peak, d.peakOwn, d.peakShared, d.far = o.peak, o.peakOwn, o.peakShared, o.far
	}
}

// signals gives the uncertainties of peak, mean, area and load, as area.signals
// gives the values. Which cells are in contact, and which is the highest, is taken
// as it is: a contact area has no uncertainty that could be known, and that of the
// peak is its cell's. A mean or a load is as wrong as the gauge, whatever the
// number of cells; their own parts, which are independent, grow with its root
// (JCGM 100:2008, 5.1.2 and 5.2.2).
func (d *doubt) signals(a *area, m *matstat.Measure, to []Signal) {
	set := func(s *Signal, own, shared float64, beyond bool) {
		s.U, s.Shared, s.Extrapolated, s.Expired = math.Sqrt(own*own+shared*shared), shared, beyond, d.past
	}
	set(&to[0], d.peakOwn, d.peakShared, d.far)
	n := float64(m.Contact)
	if m.Contact > 0 {
		set(&to[1], math.Sqrt(d.touching2)/n, d.touched/n, d.beyond)
	}
	per := a.cellMM * matstat.NewtonsPerMMHgMM2
	set(&to[3], math.Sqrt(d.own2)*per, d.shared*per, d.beyond)
}

// doubtIndex gives the uncertainty of an area's peak pressure index, the mean of one
// patch: which patch is the highest is taken as it is.
func (m *matState) doubtIndex(of int, s *Signal) {
	s.U, s.Shared, s.Extrapolated, s.Expired = sample.Unknown, sample.Unknown, false, false
	if !m.doubted() || s.Value != s.Value {
		return
	}
	now, patch := m.stat.Of(of), m.areas[of]
	if now.Where.Rows > 0 {
		patch = area{}
		for r := range now.Where.Rows {
			first := now.At + r*m.spec.Columns
			patch.runs = append(m.patch[:r], [2]int{first, first + now.Where.Columns})
			m.patch = patch.runs
		}
	}
	d, known := m.doubt(&patch), 0.0
	for _, r := range patch.runs {
		for _, v := range m.values[r[0]:r[1]] {
			if v == v {
				known++
			}
		}
	}
	s.Shared = d.shared / known
	s.U = math.Hypot(math.Sqrt(d.own2)/known, s.Shared)
	s.Extrapolated, s.Expired = d.beyond, d.past
}
