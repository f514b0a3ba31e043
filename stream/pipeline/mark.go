package pipeline

import (
	"context"
	"errors"
	"fmt"

	"weald/ingest/sample"
)

// A Mark is what a person noted at a place, which the rules go by.
type Mark struct {
	At     sample.Instant // the place's present; Pipeline.Mark sets it
	Word   string
	Text   string
	Author string
}

// Mark keeps a mark and has the rules go by it from the next scan on. When it returns,
// the mark is in the record, as an input like a scan; it returns its position there and
// its instant, or an error that wraps ErrNotKept, and then nothing was done, or ErrWaits,
// and then it was; or the error is that of Do, and nobody knows. Without a recorder nothing can be marked.
func (p *Pipeline) Mark(ctx context.Context, place int, m Mark) (position uint64, at sample.Instant, err error) {
	asked := p.do(ctx, func(s *State) {
		for n := len(p.in); n > 0; n-- { // what was felt before has its say before
			p.take(<-p.in)
		}
		m.At = s.PlaceNow(place)
		if p.recorder == nil {
			err = fmt.Errorf("%w: there is no record", ErrNotKept)
			return
		}
		do, answer := p.decide(func(r Recorder, ord uint64) (err error) { position, err = r.Mark(ord, place, m); return err })
		if err = answer; !do {
			return
		}
		s.judge.Mark(place, m.Word, m.At)
		s.expect(place)
	})
	return position, m.At, errors.Join(asked, err)
}
