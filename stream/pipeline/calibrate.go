package pipeline

import (
	"context"
	"errors"
	"fmt"

	"weald/ingest/calib/record"
)

// Calibrate puts a calibration record into force for its channel, from the next
// scan on. When it returns, that is in the record, as an input like a scan. Its
// errors are those of applied.Set.Apply, or wrap ErrNotKept, and the former
// calibration stays in force then; or ErrWaits, and this one is; or they are those of Do, and nobody knows. The
// record must not be changed afterwards.
func (p *Pipeline) Calibrate(ctx context.Context, r *record.Record) (err error) {
	asked := p.do(ctx, func(*State) { err = p.calibrate(r) })
	return errors.Join(asked, err)
}

func (p *Pipeline) calibrate(r *record.Record) error {
	if err := p.applied.Permits(r); err != nil {
		return err
	}
	do, answer := p.convertOtherwise(func(k Recorder, ord uint64) error { return k.Calibrate(ord, r) })
	if !do {
		return answer
	}
	if err := p.applied.Apply(r); err != nil {
		return err // it was permitted; the set has a bug
	}
	for i := range p.state.plan.Sources {
		if p.applied.Any(i) {
			p.state.views.Calibrated(i)
		}
	}
	return answer
}

// Zero puts a zeroing into force, or takes back what were the last ones of its
// channels, as Calibrate does with a record. Unless it takes back, it looks for some
// seconds at what the channels show; Shown and At are filled in. Its errors are
// those of Rest, of record.Zeroing and of applied.Set.Zero, or wrap ErrNotKept.
func (p *Pipeline) Zero(ctx context.Context, source int, z *record.Zeroing) error {
	if !z.Undo {
		shown, _, err := p.Rest(ctx, source, z.Channels)
		if err != nil {
			return fmt.Errorf("the channels were not heard: %w", err)
		}
		if err := z.Rests(shown); err != nil {
			return err
		}
	}
	var err error
	asked := p.do(ctx, func(s *State) { z.At = s.Now().Time(); err = p.zero(z) })
	return errors.Join(asked, err)
}

func (p *Pipeline) zero(z *record.Zeroing) error {
	if err := p.applied.PermitsZero(z); err != nil {
		return err
	}
	do, answer := p.convertOtherwise(func(k Recorder, ord uint64) error { return k.Zero(ord, z) })
	if !do {
		return answer
	}
	return errors.Join(p.applied.Zero(z), answer)
}

// convertOtherwise keeps an input by which the scans after it are converted
// otherwise. What was felt before is converted as before.
func (p *Pipeline) convertOtherwise(keep func(Recorder, uint64) error) (do bool, answer error) {
	for n := len(p.in); n > 0; n-- {
		p.take(<-p.in)
	}
	return p.decide(keep)
}

// An Off is what is taken off the pressures of a channel, in mmHg.
type Off struct {
	Source, Channel int
	MMHg            float64
}

// TakenOff returns what zeroings take off, by source and channel. Any goroutine may
// ask; the error is that of Do.
func (p *Pipeline) TakenOff(ctx context.Context) (all []Off, err error) {
	err = p.Do(ctx, func(s *State) {
		for i := range s.plan.Sources {
			for c, mmHg := range p.applied.Offsets(i) {
				all = append(all, Off{i, c, mmHg})
			}
		}
	})
	return all, err
}
