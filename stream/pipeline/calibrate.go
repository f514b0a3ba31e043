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
// calibration stays in force then; or they are those of Do, and nobody knows. The
// record must not be changed afterwards.
func (p *Pipeline) Calibrate(ctx context.Context, r *record.Record) (err error) {
	asked := p.Do(ctx, func(*State) { err = p.calibrate(r) })
	return errors.Join(asked, err)
}

func (p *Pipeline) calibrate(r *record.Record) error {
	if err := p.applied.Permits(r); err != nil {
		return err
	}
	for n := len(p.in); n > 0; n-- { // what was felt before is converted as before
		p.take(<-p.in)
	}
	var failed error
	p.record(func(k Recorder, ord uint64) { failed = k.Calibrate(ord, r) })
	if failed != nil {
		return fmt.Errorf("%w: %w", ErrNotKept, failed)
	}
	if err := p.applied.Apply(r); err != nil {
		return err // it was permitted; the set has a bug
	}
	for i := range p.state.plan.Sources {
		if p.applied.Any(i) {
			p.state.views.Calibrated(i)
		}
	}
	return nil
}
