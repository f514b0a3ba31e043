package pipeline

import (
	"context"
	"errors"
	"maps"
	"slices"

	"weald/rules"
	"weald/rules/alert"
)

// HandOver ends the pipeline between two inputs, so that another one can go on from
// there with another plan. Everything that was put before has been judged and told by
// then; nobody may put anything meanwhile. keep is called with the ordinal of the last
// input, the number of places, and what appends the state of one after that input. If it
// returns an error everything goes on as if nothing had been asked, with ordinals behind those
// that it says it took. Its errors are that
// one, that of a context that ends before the pipeline hears of it, ErrStopped and
// ErrNoState.
func (p *Pipeline) HandOver(ctx context.Context, keep func(ord uint64, places int, state func(place int, b []byte) []byte) (took uint64, err error)) error {
	judge, ok := p.state.judge.(snapshotter)
	if !ok {
		return ErrNoState
	}
	var refused error
	asked := p.do(ctx, func(s *State) {
		for n := len(p.in); n > 0; n-- {
			p.take(<-p.in)
		}
		var took uint64
		took, refused = keep(p.ord, len(s.places), judge.SnapshotPlace)
		if p.ord += took; refused == nil {
			p.over.Store(true)
		}
	})
	return errors.Join(asked, refused)
}

// Standing returns how each alert that is not over was told of last. It is for a
// pipeline that has handed over without a record to take that from.
func (p *Pipeline) Standing() (last []alert.Event) {
	p.late.Lock()
	defer p.late.Unlock()
	for i := range p.state.alerts.entries {
		a := &p.state.alerts.entries[i]
		if e, ok := p.state.alerts.last[a.ID]; ok {
			last = append(last, e)
		}
	}
	return last
}

// succeed takes up what a pipeline that has handed over knew beside its engine of
// places and sources that are the same, and what it has counted.
func (p *Pipeline) succeed(former *Pipeline) {
	was, is := former.state, p.state
	p.scans.Store(former.scans.Load())
	p.full.Store(former.full.Load())
	p.unkept.Store(former.unkept.Load())
	former.late.Lock()
	is.alerts = book{slices.Clone(was.alerts.entries), maps.Clone(was.alerts.byID), maps.Clone(was.alerts.last)}
	former.late.Unlock()
	for i := range is.plan.Sources {
		for k := range was.plan.Sources {
			if was.plan.Sources[k].ID == is.plan.Sources[i].ID {
				is.sources[i] = was.sources[k]
			}
		}
	}
	for i := range is.places {
		k, ok := was.index[is.plan.Places[i].ID]
		if !ok || !sameFeeds(is.plan, was.plan, i, k) {
			continue
		}
		pl, old := &is.places[i], &was.places[k]
		pl.lag, pl.evaluated, pl.arrived, pl.late = old.lag, old.evaluated, old.arrived, old.late
		for s := range pl.known {
			for o := range old.known {
				if is.judge.Signals(i)[s].Name == was.judge.Signals(k)[o].Name {
					pl.known[s] = old.known[o]
				}
			}
		}
	}
}

// sameFeeds reports whether two places hear from the same sources.
func sameFeeds(a, b *rules.Plan, i, k int) bool {
	names := func(p *rules.Plan, place int) (ids []string) {
		for s := range p.Sources {
			if p.Places[place].Uses(s) {
				ids = append(ids, p.Sources[s].ID)
			}
		}
		slices.Sort(ids)
		return ids
	}
	return slices.Equal(names(a, i), names(b, k))
}
