package excerpt

import (
	"math"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
	"weald/stream/export"
)

// A taker makes rows of what an engine tells. A row waits until time moves on,
// since of two readings of the same instant the second counts.
type taker struct {
	x      *Excerpt
	engine *rules.Engine
	which  []int
	yield  func(export.Row, error) bool
	told   []said
	row    export.Row
	waits  bool // row is not yielded yet
	done   bool // nobody wants more
}

// A said is a value as it was told.
type said struct {
	at, until sample.Instant
	value     uint64 // bits: a NaN is the same as itself
}

func (x *Excerpt) newTaker(which []int, yield func(export.Row, error) bool) *taker {
	t := &taker{x: x, which: which, yield: yield, told: make([]said, len(which))}
	t.row.Values, t.row.U, t.row.Doubts = make([]float64, len(which)), make([]float64, len(which)), make([]export.Doubt, len(which))
	for i := range t.told {
		t.told[i].at = sample.Past
	}
	t.engine = rules.NewEngine(x.plan, t)
	return t
}

// Updated implements rules.Sink.
func (t *taker) Updated(_ int, at sample.Instant) {
	if t.done || at < t.x.from || at >= t.x.to {
		return
	}
	if t.waits && at > t.row.At {
		t.flush()
	}
	signals := t.engine.Signals(0)
	news := false
	for i, k := range t.which {
		s := &signals[k]
		if now := (said{s.At, s.Until, math.Float64bits(s.Value)}); s.At != sample.Past && now != t.told[i] {
			t.told[i], news = now, true
		}
	}
	if t.done || !news {
		return
	}
	t.row.At, t.row.Until, t.waits = at, 0, true
	for i, k := range t.which {
		if s := &signals[k]; s.Value == s.Value && (t.row.Until == 0 || s.Until < t.row.Until) {
			t.row.Until = s.Until
		}
		t.row.Values[i], t.row.U[i], t.row.Doubts[i] = current(&signals[k], at)
	}
}

// flush yields the row that waits.
func (t *taker) flush() {
	if t.waits && !t.done {
		t.done = !t.yield(t.row, nil)
	}
	t.waits = false
}

// current returns a signal's value at an instant, its standard uncertainty, and why it
// is in doubt.
func current(s *rules.Signal, at sample.Instant) (value, u float64, d export.Doubt) {
	if s.Until < at {
		return sample.Unknown, sample.Unknown, 0
	}
	if s.Extrapolated {
		d |= export.Extrapolated
	}
	if s.Expired {
		d |= export.Expired
	}
	return s.Value, s.U, d
}

// Alert implements rules.Sink; there are no rules.
func (*taker) Alert(alert.Event) {}

// Late implements rules.Sink; in the order of event time nothing is late.
func (*taker) Late(int, *sample.Scan) {}

// quiet is the sink of an engine that is only asked for its signals.
type quiet struct{}

func (quiet) Updated(int, sample.Instant) {}
func (quiet) Alert(alert.Event)           {}
func (quiet) Late(int, *sample.Scan)      {}
