package rules

import (
	"fmt"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/rules/hold"
)

// A cellWatch judges every cell of a mat, or of one region, by itself. The
// alert is the region's: it is raised with the first of its cells, and cleared
// with the last.
type cellWatch struct {
	rule   *Rule
	signal string
	feeds  []int
	gate   gate
	band   hold.Certain
	cells  *hold.Cells
	groups []group
}

// A group is the cells that speak as one alert.
type group struct {
	key     alert.Key
	cells   []int // ascending
	raised  int   // how many of its cells are raised
	since   sample.Instant
	unknown bool
}

func (g *group) has(cell int) bool {
	_, in := slices.BinarySearch(g.cells, cell)
	return in
}

func (w *cellWatch) advance(p *place, from sample.Instant, span time.Duration) {
	if !w.gate.open {
		return
	}
	for _, t := range w.cells.Advance(span) {
		at := from.Add(t.Offset)
		for i := range w.groups {
			if g := &w.groups[i]; g.has(t.Cell) {
				w.turn(p, g, t, at)
			}
		}
	}
}

func (w *cellWatch) turn(p *place, g *group, t hold.Turn, at sample.Instant) {
	switch {
	case t.Change == hold.Raised:
		if g.raised++; g.raised == 1 {
			g.since, g.unknown = at, false
			w.tell(p, g, t.Cell, alert.Raised, at, w.rule.OnDelay)
		}
	case t.Change == hold.Cleared:
		if g.raised--; g.raised == 0 {
			w.tell(p, g, t.Cell, alert.Cleared, at, at.Sub(g.since))
		}
	}
}

func (w *cellWatch) set(p *place) {
	if w.band.Plain() {
		w.cells.Set(p.mat.values)
	} else {
		w.cells.SetWith(p.mat.values, p.mat.uncertainties())
	}
	w.gate.set(p)
	w.advance(p, p.at, 0)
	for i := range w.groups {
		g := &w.groups[i]
		if g.raised == 0 {
			continue
		}
		cell, known := w.cells.RaisedKnown(g.cells)
		if known == g.unknown {
			g.unknown = !known
			w.tell(p, g, cell, knownOr(!known), p.at, p.at.Sub(g.since))
		}
	}
}

func (w *cellWatch) next() (time.Duration, bool, bool, []int) {
	raised := false
	for i := range w.groups {
		raised = raised || w.groups[i].raised > 0 && !w.groups[i].unknown
	}
	if !w.gate.open {
		return 0, false, raised, w.feeds
	}
	in, ok := w.cells.Next()
	return in, ok, raised, w.feeds
}

func (w *cellWatch) tell(p *place, g *group, cell int, what alert.Change, at sample.Instant, held time.Duration) {
	v := p.mat.values[cell]
	e := alert.Event{
		At: at, Key: g.key, What: what, Priority: w.rule.Priority,
		Signal: g.key.Subject + ".pressure", Unit: "mmHg",
		Value: v, U: p.mat.uncertainty(cell), Limit: w.band.Limit(v), Held: held,
	}
	columns := p.mat.spec.Columns
	where := fmt.Sprintf("cell in row %d, column %d", cell/columns+1, cell%columns+1)
	e.Text = sentence(&e, w.rule, where, reservation(p.mat.beyond != nil && p.mat.beyond[cell], p.mat.past != nil && p.mat.past[cell]))
	p.events = append(p.events, e)
}

// progress reports, for each region, the cell that has come furthest.
func (w *cellWatch) progress(p *place, dst []Progress) []Progress {
	for i := range w.groups {
		g := &w.groups[i]
		best, cond, due := hold.State{}, sample.Maybe, sample.Never
		for _, c := range g.cells {
			s, t := w.cells.State(c)
			if further(s, t, best, cond) {
				best, cond = s, t
			}
			if t == sample.Yes && w.gate.open { // the furthest may be one that pauses
				due = min(due, p.at.Add(w.rule.OnDelay-s.Held))
			}
		}
		if best.Raised = g.raised > 0; best.Raised {
			due = sample.Never
		}
		dst = append(dst, newProgress(g.key, w.rule, g.key.Subject+".pressure", "mmHg", cond, best, due, g.since))
	}
	return dst
}

// further says whether a hold speaks for its region rather than the best so
// far: a raised one with a value first, then the one that has held longest,
// then the one whose condition is known.
func further(s hold.State, t sample.Truth, best hold.State, cond sample.Truth) bool {
	switch {
	case s.Raised != best.Raised:
		return s.Raised
	case s.Raised && (t == sample.Maybe) != (cond == sample.Maybe):
		return cond == sample.Maybe
	case s.Held != best.Held:
		return s.Held > best.Held
	}
	return cond == sample.Maybe && t != sample.Maybe || cond == sample.No && t == sample.Yes
}
