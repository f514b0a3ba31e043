package pipeline

import (
	"context"
	"errors"

	"weald/rules/alert"
)

// ErrNoState is returned by Snapshot where the judge has no state to write down.
var ErrNoState = errors.New("the judge has no snapshots")

// A snapshotter is a Judge whose state can be written down.
type snapshotter interface {
	SnapshotPlace(place int, b []byte) []byte
}

// Snapshot calls f, on the pipeline's goroutine, with the ordinal of the last input,
// the number of places, and what appends the state of a place after that input.
func (p *Pipeline) Snapshot(ctx context.Context, f func(ord uint64, places int, state func(place int, b []byte) []byte)) error {
	judge, ok := p.state.judge.(snapshotter)
	if !ok {
		return ErrNoState
	}
	return p.do(ctx, func(s *State) { f(p.ord, len(s.places), judge.SnapshotPlace) })
}

// standing returns the state of a place as the judge writes it down, nil if it
// does not.
func (p *Pipeline) standing(place string) []byte {
	judge, ok := p.state.judge.(snapshotter)
	i, known := p.state.index[place]
	if !ok || !known {
		return nil
	}
	return judge.SnapshotPlace(i, nil)
}

// takeUp lists the alerts of former runs, without telling anybody, and lays out
// for telling what a former run had no time to tell.
func (p *Pipeline) takeUp(past, found []alert.Event) {
	for i := range past {
		if !past[i].Quiet {
			p.state.alerts.apply(&past[i])
		}
	}
	p.found = append(p.found, found...)
}
