package pipeline

import "weald/ingest/sample"

// An agenda has the instant at which each place wants to be shown the time, and knows
// the first of all: it is a tournament, in which every node has the earlier instant of
// the two below it. To change one of n costs log2 n comparisons, so that a scan of one
// place does not pay for all others.
type agenda struct {
	wins []sample.Instant // a binary tree: 1 is the root, 2i and 2i+1 are below i
	side int              // how many leaves there are, and where the first one is
}

// newAgenda has n places that never want anything.
func newAgenda(n int) agenda {
	side := 1
	for side < n {
		side *= 2
	}
	a := agenda{wins: make([]sample.Instant, 2*side), side: side}
	for i := range a.wins {
		a.wins[i] = sample.Never
	}
	return a
}

// set says when a place wants to be shown the time; sample.Never for not at all.
func (a *agenda) set(place int, at sample.Instant) {
	i := a.side + place
	for a.wins[i] = at; i > 1; i /= 2 {
		if first := min(a.wins[i], a.wins[i^1]); first != a.wins[i/2] {
			a.wins[i/2] = first
		} else {
			return
		}
	}
}

// first returns the earliest instant of all.
func (a *agenda) first() sample.Instant { return a.wins[1] }

// due calls show for every place that wants it by now, in their order. Show may call
// set for the place it is called with.
func (a *agenda) due(now sample.Instant, show func(place int)) { a.below(1, now, show) }

func (a *agenda) below(i int, now sample.Instant, show func(place int)) {
	switch {
	case a.wins[i] > now:
	case i >= a.side:
		show(i - a.side)
	default:
		a.below(2*i, now, show)
		a.below(2*i+1, now, show)
	}
}
