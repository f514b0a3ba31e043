package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/matstat"
	"weald/rules/state"
)

// A wide measures a mat and its regions beyond what every scan is tallied for:
// peak pressure index, share, centre of pressure, variation, gradient.
type wide struct {
	areas []wideArea
}

type wideArea struct {
	area   *matstat.Area
	signal int // the first of its signals
	cells  int
}

// newWide prepares all areas, or, where the place is to be lean, those that are
// used.
func newWide(p *place, used func(string) bool, lean bool) *wide {
	m := p.mat.spec
	g := matstat.Grid{Rows: m.Rows, Columns: m.Columns, PitchMM: m.PitchMM}
	patch := matstat.PatchFor(m.PitchMM)
	w := &wide{}
	add := func(id string, cells []int) {
		wanted := !lean
		for _, q := range wideQuantities {
			wanted = wanted || used(id+"."+q.name)
		}
		if wanted {
			w.areas = append(w.areas, wideArea{matstat.NewArea(g, cells, patch), p.signalNamed(id + "." + wideQuantities[0].name), len(cells)})
		}
	}
	all := make([]int, m.Rows*m.Columns)
	for i := range all {
		all[i] = i
	}
	add(WholeMat, all)
	for _, r := range m.Regions {
		add(r.ID, r.Cells)
	}
	return w
}

func (w *wide) pass(time.Duration) {}

func (w *wide) look(p *place, silent bool) {
	if silent || p.mat.at == p.at {
		w.show(p, p.at)
	}
}

func (w *wide) show(p *place, at sample.Instant) {
	until := p.feeds[p.mat.feed].until
	for i := range w.areas {
		a := &w.areas[i]
		m := a.area.Measure(p.mat.values, contactAbove)
		for k, v := range [len(wideQuantities)]float64{m.Index, 100 * m.Sum / p.mat.sum, m.X, m.Y, m.Variation, m.Gradient} {
			if 2*m.Known < a.cells || v-v != 0 {
				v = sample.Unknown
			}
			p.put(a.signal+k, v, at, until)
			p.signals[a.signal+k].Known = m.Known
		}
	}
}

func (w *wide) first() int { return w.areas[0].signal }

// Code implements state.Coder: all it has is made of the mat's values.
func (w *wide) Code(*state.Codec) {}
