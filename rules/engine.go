package rules

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// grace is how long after a due instant, on the host's clock, a tick is wanted,
// so that a reading that is on its way can still have its say. With the timer's
// own delay it stays within the 250 ms that an alert may be late.
const grace = 200 * time.Millisecond

// An Engine judges the scans of all places.
//
// It is deterministic: given the same plan and the same calls in the same
// order, it tells its Sink the same, to the byte. It reads no clock, owns no
// goroutine and does no I/O; one goroutine owns it.
//
// Everything is evaluated in event time, place by place. A scan that is older
// than what has been evaluated for its place is told to Sink.Late and not
// evaluated. Alerts that become due between readings are told by Tick, stamped
// with the exact instant.
type Engine struct {
	plan     *Plan
	places   []*place
	bySource [][]*place
	last     sample.Instant // newest event time of all input
}

// Scan feeds one scan; s may be reused when Scan has returned. Its Arrived is
// taken as the present on the host's clock.
func (e *Engine) Scan(s *sample.Scan) {
	e.last = max(e.last, s.At)
	for _, p := range e.bySource[s.Source] {
		p.accept(s)
	}
}

// ScanPlace is Scan for one place of those that have the source. It is for
// catching up with a record, of which the places know different parts already.
func (e *Engine) ScanPlace(place int, s *sample.Scan) {
	if p := e.places[place]; p.feedOf(s.Source) >= 0 {
		e.last = max(e.last, s.At)
		p.accept(s)
	}
}

// Tick lets time pass to now on the host's clock: what has become due is told.
func (e *Engine) Tick(now sample.Instant) {
	for i := range e.places {
		e.TickPlace(i, now)
	}
}

// TickPlace is Tick for one place, whose present is now. It is for places whose
// sources live in a time of their own, as recordings do that are played with the
// times they were made at.
func (e *Engine) TickPlace(place int, now sample.Instant) {
	p := e.places[place]
	p.drain(now)
	for p.due != sample.Never && p.due.Add(grace) <= now {
		due := p.due
		if p.release(due); p.due <= due { // else what waits until then has its turn first
			p.tick(p.due)
		}
	}
}

// Next returns when Tick wants to be called next on the host's clock, or
// sample.Never.
func (e *Engine) Next() sample.Instant {
	next := sample.Never
	for i := range e.places {
		next = min(next, e.NextPlace(i))
	}
	return next
}

// NextPlace returns when TickPlace wants to be called next for a place, or
// sample.Never.
func (e *Engine) NextPlace(place int) sample.Instant {
	p := e.places[place]
	next := p.due.Add(grace)
	if len(p.queue.waiting) > 0 {
		next = min(next, p.queue.deadline())
	}
	return next
}

// Places returns how many places there are.
func (e *Engine) Places() int { return len(e.places) }

// Finish evaluates what is still waiting and lets time pass to the newest
// reading of all, where a rehearsal ends.
func (e *Engine) Finish() {
	for _, p := range e.places {
		p.drain(sample.Never)
		if p.at != sample.Past && p.at < e.last {
			p.tick(e.last)
		}
	}
}

// Signals returns the present signals of a place. The slice is the engine's:
// read it before the next call.
func (e *Engine) Signals(place int) []Signal { return e.places[place].signals }

// Measured returns how many of a place's signals, which come first, are those of
// sites, mats and regions that every scan is tallied for. The others are made of
// them.
func (e *Engine) Measured(place int) int { return e.places[place].basic }

// Cells returns the present cells of a place's mat; false without a mat. Values
// is the engine's: read it before the next call. Loaded is filled into the
// given buffer, which is grown as needed; a lean plan has none.
func (e *Engine) Cells(place int, loaded []time.Duration) (Cells, bool) {
	m := e.places[place].mat
	if m == nil {
		return Cells{}, false
	}
	return Cells{
		At: m.at, Rows: m.spec.Rows, Columns: m.spec.Columns,
		Values: m.values, Loaded: m.loaded.Held(loaded),
	}, true
}

// Progress appends the holds of a place to dst.
func (e *Engine) Progress(place int, dst []Progress) []Progress {
	p := e.places[place]
	for _, w := range p.watches {
		dst = w.progress(p, dst)
	}
	return dst
}

func newLoaded(m *Mat, cells int) *hold.Cells {
	return hold.NewCells(cells, nil,
		hold.Spec{OnDelay: hold.Forever, ResetsAfter: m.LoadedResets, ForgetAfter: DefaultForgetAfter},
		hold.Above(m.LoadedAbove, 0))
}
