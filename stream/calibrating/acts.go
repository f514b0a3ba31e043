package calibrating

import (
	"context"
	"errors"
	"fmt"

	"weald/ingest/calib/record"
)

// What somebody does with a run names it, so that a page that was left open does
// nothing to another one. The errors of all of it wrap ErrNone, ErrOther or ErrStage,
// or are the run's.

// of calls f with the run that is named, and keeps what became of it.
func (d *Desk) of(id string, f func() error) error {
	defer d.save(context.Background())
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.run == nil:
		return ErrNone
	case d.id != id:
		return ErrOther
	}
	return f()
}

// during calls f with the run that is named, if its pressures are being read.
func (d *Desk) during(id string, f func() error) error {
	return d.of(id, func() error {
		if d.stage != reading {
			return fmt.Errorf("every pressure has been read: %w", ErrStage)
		}
		return f()
	})
}

// Ready says that the next pressure is there.
func (d *Desk) Ready(id string) error {
	return d.during(id, func() error { d.run.Ready(); return nil })
}

// Again takes back the pressure that was read last.
func (d *Desk) Again(id string) error {
	return d.during(id, func() error {
		d.touch(len(d.run.Taken()) - 1)
		return d.run.Again(d.now())
	})
}

// Gauge says what the gauge showed at a level, from 0, in mmHg. What looks like kPa is
// refused unless somebody is sure.
func (d *Desk) Gauge(id string, level int, mmHg float64, sure bool) error {
	return d.during(id, func() error {
		d.touch(level, theHead)
		return d.run.Gauge(level, mmHg, sure)
	})
}

// Finish has what was read so far fitted, though pressures are left.
func (d *Desk) Finish(id string) error {
	return d.during(id, func() error {
		if len(d.run.Taken()) == 0 {
			return fmt.Errorf("no pressure has been read: %w", ErrStage)
		}
		d.finish()
		return nil
	})
}

// Leave ends the run. What was put into force stays so.
func (d *Desk) Leave(id string) error {
	return d.of(id, func() error { d.run, d.out = nil, nil; d.touch(theHead); return nil })
}

// Keep puts records into force by put, which says of each whether it is, one after the other,
// until one fails, be it in force or not: those
// of channels, or all that were accepted if channels is empty. What is in force
// already is passed over. Its errors wrap ErrChannel or ErrRejected too, or are why
// the channel was refused, or those of put.
func (d *Desk) Keep(id string, channels []int, put func(*record.Record) (inForce bool, err error)) error {
	d.keeping.Lock()
	defer d.keeping.Unlock()
	var records []*record.Record
	err := d.of(id, func() (err error) { records, err = d.toKeep(channels); return err })
	for _, r := range records {
		if err != nil {
			return err
		}
		inForce, failed := put(r)
		if err = failed; inForce {
			err = errors.Join(failed, d.of(id, func() error { d.kept[r.Channel] = r.ID(); d.touch(theHead); return nil }))
		}
	}
	return err
}

// toKeep returns the records of channels that are not in force yet.
func (d *Desk) toKeep(channels []int) (out []*record.Record, err error) {
	if d.stage != finished {
		return nil, fmt.Errorf("pressures are still being read: %w", ErrStage)
	}
	all := len(channels) == 0
	if all {
		channels = d.ask.Channels
	}
	for _, c := range channels {
		switch made := d.out[c]; {
		case d.kept[c] != "":
		case made == nil:
			return nil, fmt.Errorf("channel %d: %w", c, ErrChannel)
		case made.Refused == nil && made.Record.Verdict != record.Rejected:
			out = append(out, made.Record)
		case all: // of the accepted ones
		case made.Refused != nil:
			return nil, fmt.Errorf("channel %d: %w", c, made.Refused)
		default:
			return nil, fmt.Errorf("channel %d: %w", c, ErrRejected)
		}
	}
	return out, nil
}
