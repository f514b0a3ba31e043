package rehearsal

import (
	"context"
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules"
	"weald/rules/field"
	"weald/stream/record"
)

// Seconds appends what was kept of a signal with from <= At < to to dst, at
// record.Second, in order of time.
type Seconds func(ctx context.Context, signal string, from, to sample.Instant, dst []record.Point) ([]record.Point, error)

// LongestField is the longest span that is looked at second by second; a trace of
// it takes at most 45 MB.
const LongestField = 31 * 24 * time.Hour

// atOnce is how much is read at a time.
const atOnce = 6 * time.Hour

// A Second is a signal by the second, as a rule's field sees it: a second is known
// if any of it is, and its value is its mean.
type Second struct {
	field.Trace
	Known    time.Duration // how much of the span is known, and the gate open
	Low      float64       // of what counted; NaN where nothing did
	High     float64
	From, To sample.Instant
}

// ReadSeconds reads the signal of a rule and what its gate asks for, over a span of
// whole seconds that is at most LongestField, and tells how far it has come, 0 to 1.
// Where nothing changes from one second to the next there is no step.
func ReadSeconds(ctx context.Context, v *rules.Varied, from, to sample.Instant, read Seconds, tell func(float64)) (*Second, error) {
	second := sample.Instant(time.Second)
	from, to = from-from%second, to-to%second
	out := &Second{Trace: field.Trace{End: to}, From: from, To: to, Low: math.Inf(1), High: math.Inf(-1)}
	names := append([]string{v.Signal}, v.Gate.Signals...)
	rows := make([][]float64, len(names))
	at := make([]float64, len(names))
	var points []record.Point
	for begin := from; begin < to; begin += sample.Instant(atOnce) {
		end := min(begin+sample.Instant(atOnce), to)
		n := int((end - begin) / second)
		for k, name := range names {
			var err error
			if points, err = read(ctx, name, begin, end, points[:0]); err != nil {
				return nil, err
			}
			rows[k] = slices.Grow(rows[k][:0], n)[:n]
			for i := range rows[k] {
				rows[k][i] = sample.Unknown
			}
			for _, p := range points {
				rows[k][(p.At-begin)/second] = float64(p.Mean)
			}
		}
		for i := range n {
			for k := range rows {
				at[k] = rows[k][i]
			}
			out.put(begin+sample.Instant(i)*second, at[0], v.Gate.Open(at[1:]))
		}
		tell(float64(end-from) / float64(to-from))
	}
	if out.Known == 0 {
		out.Low, out.High = sample.Unknown, sample.Unknown
	}
	return out, nil
}

// put adds a second.
func (t *Second) put(at sample.Instant, value float64, open bool) {
	if open && value == value {
		t.Known += time.Second
		t.Low, t.High = min(t.Low, value), max(t.High, value)
	}
	if n := len(t.At); n > 0 && t.Shut[n-1] == !open && math.Float64bits(t.Value[n-1]) == math.Float64bits(value) {
		return
	}
	t.Add(at, value)
	t.Shut = append(t.Shut, !open)
}
