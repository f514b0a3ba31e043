// Package calibrating leads one calibration at a time at a running daemon: it hands
// the counts of a source to a protocol.Run, in whose hands the rest is, and keeps what
// came of it until somebody puts it into force or leaves it. With a Book, whatever has
// been read is on the disk before it is answered for, and outlives the daemon: the next
// one goes on with it (Resume).
package calibrating

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

	"weald/ingest/calib/figures"
	"weald/ingest/calib/fit"
	"weald/ingest/calib/protocol"
	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// An Ask is what somebody wants to calibrate, and how.
type Ask struct {
	Of fit.Circumstances // but for the channel and the time, which the run tells

	Index    int   // of the source in the plan
	Width    int   // channels of the source
	Channels []int // those under the cuff, each once

	Plan protocol.Plan // Under is filled in
	Fit  fit.Options   // but for the noise, which the levels show
}

// A Made is what came of one channel: one of the two is set.
type Made struct {
	Record  *record.Record // what may be put into force, unless it was rejected
	Refused fit.Refused

	channel int
	rows    []figures.Row // those of what was refused
}

// Errors of a desk.
var (
	ErrBusy     = errors.New("another calibration is going on")
	ErrNone     = errors.New("no calibration is going on")
	ErrOther    = errors.New("that calibration is over, and another one is going on")
	ErrStage    = errors.New("it is not time for that")
	ErrChannel  = errors.New("there is no such channel under the cuff")
	ErrTwice    = errors.New("a channel lies under the cuff once")
	ErrRejected = errors.New("a rejected calibration does not come into force")
)

// A stage is how far a run has come.
type stage int

const (
	reading  stage = iota // of pressures
	fitting               // what was read; nothing of the run changes any more
	finished              // what came of it is there
)

// A Desk leads calibrations. Its methods may be called at once.
type Desk struct {
	raw  func(source int, into []float64) ([]float64, sample.Instant)
	now  func() sample.Instant
	book Book

	keeping sync.Mutex // held while records come into force, so that none does twice

	mu    sync.Mutex
	ask   Ask
	run   *protocol.Run // nil: none goes on
	id    string
	from  sample.Instant
	stage stage
	out   map[int]*Made  // once it is finished, by channel
	kept  map[int]string // the records that came into force, by channel

	// What did not come into force and is not in the record yet: of this run and of
	// former ones.
	unkept []refusal

	touched map[int]bool // parts of the run that are not on the disk as they are
	refused bool         // what did not come into force of this run is in the record
	unsaved error        // why the last part could not be kept
	saving  sync.Mutex   // held while parts are written; taken before mu
}

// A refusal is what did not come into force, and when that was found out.
type refusal struct {
	of *record.Refused
	at sample.Instant
}

// A Book keeps what a desk has to keep. Its errors are shown, and what was not kept is
// tried again.
type Book interface {
	// Refuse keeps what did not come into force, as written at an instant; it is on the disk when
	// this returns. It is tried again with the same arguments.
	Refuse(ctx context.Context, r *record.Refused, written sample.Instant) error

	// Write keeps a part of the run that goes on, in place of what it was; it is on
	// the disk when this returns. Read returns it, empty where there is none.
	Write(ctx context.Context, part string, body []byte) error
	Read(ctx context.Context, part string) ([]byte, error)
}

// New returns a desk that reads counts from raw, such as Pipeline.Raw, and the
// time from now. A nil book keeps nothing.
func New(raw func(int, []float64) ([]float64, sample.Instant), now func() sample.Instant, book Book) *Desk {
	return &Desk{raw: raw, now: now, book: book}
}

const (
	readEvery = 50 * time.Millisecond  // counts; what a source delivers in between is passed over
	lookEvery = 500 * time.Millisecond // for plateaus
	tryEvery  = time.Second            // to keep what is to be kept
)

// Run reads counts, and fits what was read, until ctx ends.
func (d *Desk) Run(ctx context.Context) error {
	tick := time.NewTicker(readEvery)
	defer tick.Stop()
	var raw []float64
	looked, tried := sample.Past, time.Time{}
	for {
		select {
		case <-ctx.Done():
			ctx := context.WithoutCancel(ctx)
			d.refuse(ctx)
			d.save(ctx)
			return context.Cause(ctx)
		case <-tick.C:
			raw, looked = d.step(raw, looked)
			d.fit()
			if d.dirty() {
				d.save(ctx)
			}
			if now := time.Now(); now.Sub(tried) >= tryEvery {
				tried = now
				d.refuse(ctx)
			}
		}
	}
}

// step takes a scan, if pressures are being read.
func (d *Desk) step(raw []float64, looked sample.Instant) ([]float64, sample.Instant) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run == nil || d.stage != reading {
		return raw, looked
	}
	raw, at := d.raw(d.ask.Index, raw[:0])
	if len(raw) > 0 && at != sample.Past {
		d.run.Take(at, raw)
	}
	now := d.now()
	if looked == sample.Past || now.Sub(looked) >= lookEvery || now < looked {
		looked = now
		if before := len(d.run.Taken()); d.run.Look(now) {
			if len(d.run.Taken()) > before {
				d.touch(before)
			}
			if d.run.Done() {
				d.finish()
			}
		}
	}
	return raw, looked
}

// finish ends the reading of pressures. The caller holds mu.
func (d *Desk) finish() {
	d.stage = fitting
	if d.touch(theHead); d.run.Plan().Hold > 0 {
		d.touch(theHold)
	}
}

// fit works out what came of a run whose pressures have been read. Many channels
// take seconds, in which others may look at the run, or leave it: it is not locked
// meanwhile, as nobody changes a run at this stage.
func (d *Desk) fit() {
	d.mu.Lock()
	id, run, ask, due := d.id, d.run, d.ask, d.run != nil && d.stage == fitting
	d.mu.Unlock()
	if !due {
		return
	}
	out := made(run, ask)
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run != nil && d.id == id {
		d.out, d.stage = out, finished
		d.touch(theHead)
		for _, c := range ask.Channels {
			if r := out[c].refused(ask, run); r != nil && d.book != nil && !d.refused {
				d.unkept = append(d.unkept, refusal{r, d.now()})
			}
		}
	}
}

// dirty reports whether some of the run is not on the disk, and is worth trying: what
// could not be kept is tried again with what comes next.
func (d *Desk) dirty() bool {
	d.mu.Lock()
	defer d.mu.Unlock()
	return len(d.touched) > 0 && d.unsaved == nil
}

// refused returns what is kept of what does not come into force; nil of all else.
func (m *Made) refused(ask Ask, run *protocol.Run) *record.Refused {
	taken := run.Taken()
	switch {
	case len(taken) == 0:
	case m.Refused != nil:
		of := ask.Of
		of.Channel, of.At = m.channel, taken[len(taken)-1].At.Time()
		return m.Refused.Record(m.rows, of, ask.Fit)
	case m.Record.Verdict == record.Rejected:
		return record.Reject(m.Record)
	}
	return nil
}

// refuse keeps what did not come into force, until something cannot be kept.
func (d *Desk) refuse(ctx context.Context) {
	for {
		d.mu.Lock()
		waits := d.unkept
		if len(waits) == 0 && d.run != nil && d.stage == finished && !d.refused {
			d.refused = true
			d.touch(theHead)
		}
		again := d.unsaved != nil
		d.mu.Unlock()
		if again {
			d.save(ctx)
		}
		if len(waits) == 0 || d.book.Refuse(ctx, waits[0].of, waits[0].at) != nil {
			return
		}
		d.mu.Lock()
		d.unkept = d.unkept[1:]
		d.mu.Unlock()
	}
}

// made fits every channel of a run.
func made(run *protocol.Run, ask Ask) map[int]*Made {
	all := map[int]*Made{}
	out, err := run.Outcomes(ask.Fit)
	if err != nil {
		for _, c := range ask.Channels {
			all[c] = &Made{Refused: fit.Refused{{Reason: err.Error(), Advice: "calibrate again"}}, channel: c}
		}
	}
	for _, o := range out {
		one := &Made{Refused: o.Refused, channel: o.Channel, rows: o.Rows}
		if o.Refused == nil {
			of, taken := ask.Of, run.Taken()
			of.Channel, of.At = o.Channel, taken[len(taken)-1].At.Time()
			one.Record = o.Result.Record(o.Rows, of, o.Options)
		}
		all[o.Channel] = one
	}
	return all
}

// Begin begins a run, which id names from then on. Its errors wrap ErrBusy,
// ErrChannel or ErrTwice, or are those of the plan.
func (d *Desk) Begin(id string, a Ask) error {
	under, err := a.under()
	if err != nil {
		return err
	}
	a.Plan.Under = under
	defer d.save(context.Background())
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run != nil {
		return fmt.Errorf("%s/%s, by %s: %w", d.ask.Of.Bridge, d.ask.Of.Source, d.ask.Of.By, ErrBusy)
	}
	run, err := protocol.New(a.Plan, d.now())
	if err != nil {
		return err
	}
	d.ask, d.run, d.id, d.from, d.stage, d.out, d.kept, d.refused = a, run, id, d.now(), reading, nil, map[int]string{}, false
	d.touch(theHead)
	return nil
}

// under says which channels lie under the cuff. Its errors wrap ErrChannel or ErrTwice.
func (a *Ask) under() ([]bool, error) {
	under := make([]bool, a.Width)
	for _, c := range a.Channels {
		switch {
		case c < 0 || c >= a.Width:
			return nil, fmt.Errorf("channel %d of %s/%s: %w", c, a.Of.Bridge, a.Of.Source, ErrChannel)
		case under[c]:
			return nil, fmt.Errorf("channel %d is named twice: %w", c, ErrTwice)
		}
		under[c] = true
	}
	return under, nil
}
