// Package tally adds up what the signals of a place were over a stretch of time, as
// the rules engine makes them of the readings.
//
// Everything is weighted by time: a value counts for as long as it lasted, which is
// until the next one, but no longer than its source's readings last; what came after
// that is not known and counts for nothing but itself. Nothing is counted as readings
// times a nominal period. Memory holds what is added up, whatever the length.
package tally

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/alert"
)

// A Value is that of a signal with its standard uncertainty; NaN is not known.
type Value struct{ V, U float64 }

// Known reports whether there is one.
func (v Value) Known() bool { return v.V == v.V }

// A Piece is a stretch in which no signal changed. Values are those of the signals
// that are followed, in the order of Follow; they are the follower's.
type Piece struct {
	From, To sample.Instant
	Values   []Value
}

// Span is how long it is.
func (p *Piece) Span() time.Duration { return p.To.Sub(p.From) }

// A Follower is the sink of an engine of one place. What it tells covers all of the
// stretch from From to To, without overlap and in order.
type Follower struct {
	From, To sample.Instant
	Each     func(*Piece)
	Now      func(at sample.Instant) // after every scan; may be nil
	Last     sample.Instant          // the last reading so far; Past before the first

	engine *rules.Engine
	which  []int // of the engine's signals
	at     sample.Instant
	last   []rules.Signal // as of at
	piece  Piece
}

// Of sets the engine, before it is given anything.
func (f *Follower) Of(engine *rules.Engine) { f.engine, f.at, f.Last = engine, f.From, sample.Past }

// Follow adds a signal and returns where it is among a piece's values; -1 if the
// place has none of that name.
func (f *Follower) Follow(name string) int {
	k := slices.IndexFunc(f.engine.Signals(0), func(s rules.Signal) bool { return s.Name == name })
	if k < 0 {
		return -1
	}
	f.which = append(f.which, k)
	f.last = append(f.last, rules.Signal{Value: sample.Unknown, Until: sample.Past})
	f.piece.Values = append(f.piece.Values, Value{})
	return len(f.which) - 1
}

// Updated implements rules.Sink.
func (f *Follower) Updated(_ int, at sample.Instant) {
	f.reach(at)
	signals := f.engine.Signals(0)
	for i, k := range f.which {
		f.last[i] = signals[k]
	}
	if at < f.From || at >= f.To {
		return
	}
	f.Last = at
	if f.Now != nil {
		f.Now(at)
	}
}

// Finish tells the rest of the stretch, once the engine is finished.
func (f *Follower) Finish() { f.reach(f.To) }

// reach tells pieces up to an instant: one, unless values end on the way.
func (f *Follower) reach(at sample.Instant) {
	at = min(at, f.To)
	for f.at < at {
		next := at
		for i := range f.last {
			if until := f.last[i].Until; until > f.at {
				next = min(next, until)
			}
		}
		f.piece.From, f.piece.To = f.at, next
		for i := range f.last {
			v := Value{sample.Unknown, sample.Unknown}
			if s := &f.last[i]; s.Until > f.at {
				v = Value{s.Value, s.U}
			}
			f.piece.Values[i] = v
		}
		f.at = next
		f.Each(&f.piece)
	}
}

// Alert implements rules.Sink: what people were told is in the record.
func (*Follower) Alert(alert.Event) {}

// Late implements rules.Sink; in the order of event time nothing is late.
func (*Follower) Late(int, *sample.Scan) {}

// A Mean adds up one signal.
type Mean struct {
	Band  *[2]float64 // that is aimed for; nil for none
	Known time.Duration
	Below time.Duration // the band
	In    time.Duration
	Above time.Duration

	low, high    float64
	sum          float64 // value times seconds
	uSum, uKnown float64 // of what has an uncertainty
}

// Add counts a value for a span.
func (m *Mean) Add(v Value, span time.Duration) {
	if !v.Known() || span <= 0 {
		return
	}
	if m.Known == 0 {
		m.low, m.high = v.V, v.V
	}
	m.low, m.high = min(m.low, v.V), max(m.high, v.V)
	m.Known += span
	m.sum += v.V * span.Seconds()
	if v.U == v.U {
		m.uSum += v.U * span.Seconds()
		m.uKnown += span.Seconds()
	}
	switch b := m.Band; {
	case b == nil:
	case v.V < b[0]:
		m.Below += span
	case v.V > b[1]:
		m.Above += span
	default:
		m.In += span
	}
}

// Merge adds what another one of the same signal has added up.
func (m *Mean) Merge(o *Mean) {
	if o.Known == 0 {
		return
	}
	if m.Known == 0 {
		m.low, m.high = o.low, o.high
	}
	m.low, m.high = min(m.low, o.low), max(m.high, o.high)
	m.Known += o.Known
	m.Below += o.Below
	m.In += o.In
	m.Above += o.Above
	m.sum += o.sum
	m.uSum += o.uSum
	m.uKnown += o.uKnown
}

// Mean is the mean over time, NaN if nothing is known.
func (m *Mean) Mean() float64 { return over(m.sum, m.Known.Seconds()) }

// Low and High are the least and the greatest value, NaN if nothing is known.
func (m *Mean) Low() float64 { return m.orUnknown(m.low) }

// High is the greatest value, NaN if nothing is known.
func (m *Mean) High() float64 { return m.orUnknown(m.high) }

// U is the standard uncertainty of a value, the mean over the time in which it was
// known; NaN if it never was. Values of one sensor err alike, so that of the mean is
// no smaller.
func (m *Mean) U() float64 { return over(m.uSum, m.uKnown) }

// Dose is the value times the time, in the signal's unit times hours; NaN if nothing
// is known.
func (m *Mean) Dose() float64 { return m.orUnknown(m.sum / 3600) }

func (m *Mean) orUnknown(v float64) float64 {
	if m.Known == 0 {
		return sample.Unknown
	}
	return v
}

func over(sum, seconds float64) float64 {
	if seconds == 0 {
		return math.NaN()
	}
	return sum / seconds
}
