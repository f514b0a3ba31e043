package pipeline

import (
	"context"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
	"weald/rules/alert"
)

// A Recorder keeps what the engine is given and what it made of it. It is
// called on the pipeline's goroutine.
//
// Every input of the engine has an ordinal, one higher than the last one's.
// The engine is a function of its inputs in that order, so a record of them is
// a record of everything that it did.
type Recorder interface {
	// Scan keeps a scan; s is valid until the call returns. Tick keeps that a
	// place was shown an instant. Neither waits for a disk.
	Scan(ord uint64, s *sample.Scan)
	Tick(ord uint64, place int, now sample.Instant)

	// Act keeps what a person does, and every input before it, on the disk
	// before it returns. An error means that it must not be done, unless it wraps ErrWaits:
	// then it may be kept already, and has to be done. So it is with the three below.
	Act(ord uint64, k alert.Key, a alert.Action) error

	// Mark keeps a mark that people set at a place, as Act does with what they do with
	// an alert, and returns its position among what is kept of people.
	Mark(ord uint64, place int, m Mark) (uint64, error)

	// Calibrate keeps that a calibration comes into force, and every input before
	// it, on the disk before it returns. An error means that it must not.
	Calibrate(ord uint64, r *record.Record) error

	// Zero keeps that channels are zeroed, as Calibrate does.
	Zero(ord uint64, z *record.Zeroing) error

	// Commit makes the events, and all inputs so far, durable before it
	// returns. Until then nobody is told of them. Where those inputs cannot be
	// kept it may keep how the places of the events stand instead, which state
	// returns (nil if nothing does): as an input with the ordinal next. It says
	// whether it has.
	Commit(next uint64, events []alert.Event, state func(place string) []byte) (took bool, err error)
}

// record gives the input that comes next its ordinal.
func (p *Pipeline) record(keep func(Recorder, uint64)) {
	p.ord++
	if p.recorder != nil {
		keep(p.recorder, p.ord)
	}
}

// Tell tells followers of a change of an alert that is not one of the rules: of
// the daemon's own, which has no place. It is shown like all others. Whoever tells
// it has kept it.
func (p *Pipeline) Tell(ctx context.Context, e alert.Event) error {
	return p.do(ctx, func(st *State) {
		a := st.alerts.apply(&e)
		for _, f := range p.followers {
			f.Alert(a, e.What)
		}
	})
}

// settle tells what the last input has brought about, once it is durable. An
// event that cannot be kept is told all the same: a full disk must not silence
// an alert. That it was not kept is the recorder's to say.
func (p *Pipeline) settle() {
	if len(p.found) == 0 {
		return
	}
	if p.recorder != nil {
		took, err := p.recorder.Commit(p.ord+1, p.found, p.standing)
		if took {
			p.ord++
		}
		if err != nil {
			p.unkept.Add(uint64(len(p.found)))
		}
	}
	st := p.state
	for i := range p.found {
		e := &p.found[i]
		if e.Quiet {
			continue
		}
		if e.What == alert.Raised || e.What == alert.Cleared {
			if place, ok := st.index[e.Place]; ok {
				p.delay(max(0, st.PlaceNow(place).Sub(e.At)))
			}
		}
		a := st.alerts.apply(e)
		for _, f := range p.followers {
			f.Alert(a, e.What)
		}
	}
	clear(p.found)
	p.found = p.found[:0]
}
