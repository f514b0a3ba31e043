package assembly

import (
	"math"
	"time"

	"weald/ingest/sample"
)

// patience is how many suspect scans are kept back at most.
const patience = 3

// How long a suspect scan waits for its successor: so many nominal periods, and
// not less than decideWithin.
const (
	decideWithin  = 10 * time.Second
	decidePeriods = 3
)

// A guard keeps suspect scans back until it is known whether they are damaged.
// The package documentation has the rules.
type guard struct {
	watching bool
	within   time.Duration
	coarse   int     // scans in multiples of 256 since the last one with fine digits
	kept     []entry // the first n are kept back; the others are spare buffers
	n        int
}

// pass hands e on, or keeps a copy of it, or first decides over those kept back.
func (g *guard) pass(e *entry, done func(*entry)) {
	if !g.watching {
		done(e)
		return
	}
	suspected := suspect(e.scan.Raw)
	if !suspected && g.coarse == 0 {
		done(e)
		return
	}
	counting := coarse
	if !suspected {
		counting = digitsOf(e.scan.Raw)
	}
	switch {
	case counting == fine:
		g.condemn(done)
		g.coarse = 0
	case counting == mute:
		g.condemn(done)
	case suspected || g.n > 0:
		if g.coarse++; g.coarse <= patience { // beyond it, the device is known
			g.keep(e)
			return
		}
		g.release(done)
	}
	done(e)
}

func (g *guard) keep(e *entry) {
	if g.n == len(g.kept) {
		g.kept = append(g.kept, newEntry(e.scan.Source, len(e.scan.Raw)))
	}
	g.kept[g.n].set(e)
	g.n++
}

// flush decides over what has waited too long for a successor. It does not
// forget how many suspects there were: a load that goes on after the silence is
// still known for one with the fourth of its scans.
func (g *guard) flush(now sample.Instant, done func(*entry)) {
	if g.n > 0 && now.Sub(g.kept[g.n-1].scan.Arrived) >= g.within {
		g.condemn(done)
	}
}

// release hands on what was kept back, as it was.
func (g *guard) release(done func(*entry)) {
	for i := range g.n {
		done(&g.kept[i])
	}
	g.n = 0
}

// condemn hands on what was kept back with all its readings missing.
func (g *guard) condemn(done func(*entry)) {
	for i := range g.n {
		e := &g.kept[i]
		for j := range e.scan.Raw {
			e.scan.Raw[j], e.scan.Values[j] = math.NaN(), math.NaN()
		}
		e.saturated, e.damaged, e.scan.Damaged = 0, true, true
	}
	g.release(done)
}
