package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/state"
)

// A wide makes the signals of a mat and its regions beyond those that every scan
// is tallied for: peak pressure index, share, centre of pressure, variation,
// gradient.
type wide struct {
	signals []int // by area: the first of its signals
}

// newWide makes those of all areas, or none where the place is to be lean and
// none is used.
func newWide(p *place, used func(string) bool, lean bool) *wide {
	w, wanted := &wide{}, !lean
	add := func(id string) {
		for _, q := range wideQuantities {
			wanted = wanted || used(id+"."+q.name)
		}
		w.signals = append(w.signals, p.signalNamed(id+"."+wideQuantities[0].name))
	}
	add(WholeMat)
	for _, r := range p.mat.spec.Regions {
		add(r.ID)
	}
	if !wanted {
		return nil
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
	p.mat.stat.Detail(p.mat.values)
	whole := p.mat.stat.Of(0)
	for i, first := range w.signals {
		m := p.mat.stat.Of(i)
		for k, v := range [len(wideQuantities)]float64{m.Index, 100 * m.Sum / whole.Sum, m.X, m.Y, m.Variation, m.Gradient} {
			if 2*m.Known < m.Cells || v-v != 0 {
				v = sample.Unknown
			}
			p.put(first+k, v, at, until)
			p.signals[first+k].Known = m.Known
		}
		p.mat.doubtIndex(i, &p.signals[first])
	}
}

func (w *wide) first() int { return w.signals[0] }

// Code implements state.Coder: all it has is made of the mat's values.
func (w *wide) Code(*state.Codec) {}
