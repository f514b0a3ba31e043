package rules

import (
	"math"
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

// doubt adds up the cells of an area; nothing where nothing is known.
func (m *matState) doubt(a *area) doubt {
	d := certain
	if !m.doubted() {
		return d
	}
	for _, r := range a.runs {
		for c := r[0]; c < r[1]; c++ {
			v := m.values[c]
			if v != v {
				continue
			}
			own, shared := m.own[c], m.shared[c]
			d.own2 += own * own
			d.shared += shared
			beyond := m.beyond != nil && m.beyond[c]
			if v > contactAbove {
				d.touching2 += own * own
				d.touched += shared
				d.beyond = d.beyond || beyond
				d.past = d.past || m.past != nil && m.past[c]
			}
			if v > d.peak {
				d.peak, d.peakOwn, d.peakShared, d.far = v, own, shared, beyond
			}
		}
	}
	return d
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
func (d *doubt) signals(a *area, t *tally, to []Signal) {
	set := func(s *Signal, own, shared float64, beyond bool) {
		s.U, s.Shared, s.Extrapolated, s.Expired = math.Hypot(own, shared), shared, beyond, d.past
	}
	set(&to[0], d.peakOwn, d.peakShared, d.far)
	n := float64(t.contact)
	if t.contact > 0 {
		set(&to[1], math.Sqrt(d.touching2)/n, d.touched/n, d.beyond)
	}
	per := a.cellMM * newtonsPerMMHgMM2
	set(&to[3], math.Sqrt(d.own2)*per, d.shared*per, d.beyond)
}
