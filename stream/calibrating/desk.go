// Package calibrating leads one calibration at a time at a running daemon: it hands
// the counts of a source to a protocol.Run, in whose hands the rest is, and keeps what
// came of it until somebody puts it into force or leaves it. A run is of the daemon's
// present: it does not outlive it, and what was not put into force then is lost.
package calibrating

import (
	"context"
	"errors"
	"fmt"
	"sync"
	"time"

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
	Channels []int // those under the cuff

	Plan protocol.Plan // Under is filled in
	Fit  fit.Options   // but for the noise, which the levels show
}

// A Made is what came of one channel: one of the two is set.
type Made struct {
	Record  *record.Record // what may be put into force, unless it was rejected
	Refused fit.Refused
}

// Errors of a desk.
var (
	ErrBusy    = errors.New("another calibration is going on")
	ErrNone    = errors.New("no calibration is going on")
	ErrStage   = errors.New("it is not time for that")
	ErrChannel = errors.New("there is no such channel under the cuff")
)

// A Desk leads calibrations. Its methods may be called at once.
type Desk struct {
	raw func(source int, into []float64) ([]float64, sample.Instant)
	now func() sample.Instant

	mu   sync.Mutex
	ask  Ask
	run  *protocol.Run // nil: none goes on
	id   string
	from sample.Instant
	out  map[int]*Made  // once it is finished, by channel
	kept map[int]string // the records that came into force, by channel
}

// New returns a desk that reads counts from raw, such as Pipeline.Raw, and the
// time from now.
func New(raw func(int, []float64) ([]float64, sample.Instant), now func() sample.Instant) *Desk {
	return &Desk{raw: raw, now: now}
}

const (
	readEvery = 50 * time.Millisecond  // counts; what a source delivers in between is passed over
	lookEvery = 500 * time.Millisecond // for plateaus
)

// Run reads counts until ctx ends.
func (d *Desk) Run(ctx context.Context) error {
	tick := time.NewTicker(readEvery)
	defer tick.Stop()
	var raw []float64
	looked := sample.Past
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-tick.C:
			raw, looked = d.step(raw, looked)
		}
	}
}

// step takes a scan, if a run goes on.
func (d *Desk) step(raw []float64, looked sample.Instant) ([]float64, sample.Instant) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run == nil || d.out != nil {
		return raw, looked
	}
	raw, at := d.raw(d.ask.Index, raw[:0])
	if len(raw) > 0 && at != sample.Past {
		d.run.Take(at, raw)
	}
	now := d.now()
	if looked == sample.Past || now.Sub(looked) >= lookEvery || now < looked {
		looked = now
		if d.run.Look(now) && d.run.Done() {
			d.finish()
		}
	}
	return raw, looked
}

// finish fits what was read.
func (d *Desk) finish() {
	d.out = map[int]*Made{}
	out, err := d.run.Outcomes(d.ask.Fit)
	if err != nil {
		for _, c := range d.ask.Channels {
			d.out[c] = &Made{Refused: fit.Refused{{Reason: err.Error(), Advice: "calibrate again"}}}
		}
	}
	for _, o := range out {
		one := &Made{Refused: o.Refused}
		if o.Refused == nil {
			of, taken := d.ask.Of, d.run.Taken()
			of.Channel, of.At = o.Channel, taken[len(taken)-1].At.Time()
			one.Record = o.Result.Record(o.Rows, of, o.Options)
		}
		d.out[o.Channel] = one
	}
}

// Begin begins a run. Its errors wrap ErrBusy or ErrChannel, or are those of the
// plan.
func (d *Desk) Begin(id string, a Ask) error {
	a.Plan.Under = make([]bool, a.Width)
	for _, c := range a.Channels {
		if c < 0 || c >= a.Width {
			return fmt.Errorf("channel %d of %s/%s: %w", c, a.Of.Bridge, a.Of.Source, ErrChannel)
		}
		a.Plan.Under[c] = true
	}
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run != nil {
		return fmt.Errorf("%s/%s, by %s: %w", d.ask.Of.Bridge, d.ask.Of.Source, d.ask.Of.By, ErrBusy)
	}
	run, err := protocol.New(a.Plan, d.now())
	if err != nil {
		return err
	}
	d.ask, d.run, d.id, d.from, d.out, d.kept = a, run, id, d.now(), nil, map[int]string{}
	return nil
}

// during calls f with the run that goes on and has not been finished.
func (d *Desk) during(f func() error) error {
	d.mu.Lock()
	defer d.mu.Unlock()
	switch {
	case d.run == nil:
		return ErrNone
	case d.out != nil:
		return fmt.Errorf("every pressure has been read: %w", ErrStage)
	}
	return f()
}

// Ready says that the next pressure is there.
func (d *Desk) Ready() error { return d.during(func() error { d.run.Ready(); return nil }) }

// Again takes back the pressure that was read last.
func (d *Desk) Again() error { return d.during(func() error { return d.run.Again(d.now()) }) }

// Gauge says what the gauge showed at a level, from 0, in mmHg.
func (d *Desk) Gauge(level int, mmHg float64) error {
	return d.during(func() error { return d.run.Gauge(level, mmHg) })
}

// Finish fits what has been read so far, though pressures are left.
func (d *Desk) Finish() error { return d.during(func() error { d.finish(); return nil }) }

// Leave ends the run. What was put into force stays so.
func (d *Desk) Leave() error {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.run == nil {
		return ErrNone
	}
	d.run, d.out = nil, nil
	return nil
}

// Record returns what may be put into force of a channel. Its errors wrap ErrNone,
// ErrStage, ErrChannel, or are why the channel was refused or rejected.
func (d *Desk) Record(channel int) (*record.Record, error) {
	d.mu.Lock()
	defer d.mu.Unlock()
	made := d.out[channel]
	switch {
	case d.run == nil:
		return nil, ErrNone
	case d.out == nil:
		return nil, fmt.Errorf("pressures are still being read: %w", ErrStage)
	case made == nil:
		return nil, fmt.Errorf("channel %d: %w", channel, ErrChannel)
	case made.Refused != nil:
		return nil, made.Refused
	}
	return made.Record, nil
}

// Kept notes that the record of a channel came into force.
func (d *Desk) Kept(channel int, id string) {
	d.mu.Lock()
	defer d.mu.Unlock()
	if d.kept != nil {
		d.kept[channel] = id
	}
}
