package field

import (
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// A Trace is what a signal did. Each step lasts to the next one, and the last one
// to End. It spans less than a Duration can say.
type Trace struct {
	At    []sample.Instant // ascending; two may be the same
	Value []float64        // NaN unknown
	U     []float64        // standard uncertainty, NaN not known; nil for a signal without
	Shut  []bool           // the gate is not open; nil if it always is
	End   sample.Instant   // not before the last step
}

// Add appends a step. All steps have a gate or none.
func (t *Trace) Add(at sample.Instant, value float64) {
	t.At, t.Value = append(t.At, at), append(t.Value, value)
}

// span returns how long a step lasts.
func (t *Trace) span(i int) time.Duration {
	if i+1 < len(t.At) {
		return t.At[i+1].Sub(t.At[i])
	}
	return t.End.Sub(t.At[i])
}

func (t *Trace) open(i int) bool { return t.Shut == nil || !t.Shut[i] }

// judge says what the condition is in a step.
func (t *Trace) judge(band *hold.Certain, i int, m hold.Memory) (sample.Truth, hold.Memory) {
	u := sample.Unknown
	if t.U != nil {
		u = t.U[i]
	}
	return band.Judge(t.Value[i], u, m)
}

// An Alert is one that a hold raised over a trace.
type Alert struct {
	From, To sample.Instant // To is the end of the trace where it Stands
	Stands   bool
}

// Alerts returns what one hold raises over a trace.
func Alerts(t *Trace, band *hold.Certain, spec *hold.Spec) (out []Alert) {
	walk(t, band, spec, func(c hold.Change, at sample.Instant) {
		switch c {
		case hold.Raised:
			out = append(out, Alert{From: at, To: t.End, Stands: true})
		case hold.Cleared:
			last := &out[len(out)-1]
			last.To, last.Stands = at, false
		}
	})
	return out
}

// walk lets a hold live through a trace, as the engine does: a step is looked at
// when it begins, and then its time passes.
func walk(t *Trace, band *hold.Certain, spec *hold.Spec, tell func(hold.Change, sample.Instant)) {
	var h hold.State
	var m hold.Memory
	for i := range t.At {
		var is sample.Truth
		if is, m = t.judge(band, i, m); !t.open(i) {
			continue
		}
		for _, span := range [2]time.Duration{0, t.span(i)} {
			if c, after := h.Advance(spec, span, is); c != hold.None {
				tell(c, t.At[i].Add(after))
			}
		}
	}
}
