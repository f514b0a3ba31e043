package pipeline

import (
	"context"
	"math"
	"slices"
	"time"

	"weald/ingest/calib/record"
	"weald/ingest/sample"
)

// restFor is for how long, by event time, channels are looked at that are to be at
// rest or under one pressure, and leastHalf the scans that each half of it holds at
// least.
const (
	restFor   = 3 * time.Second
	leastHalf = 2
)

// A watch gathers what channels of a source show for some seconds.
type watch struct {
	source   int
	channels []int
	since    sample.Instant // Past before the first scan
	n        [2]int         // scans in each half
	sums     [][2]float64   // of pressures without zeroings, by channel and half
	raw      []float64      // sums of counts
	done     chan struct{}
}

// Rest looks at channels of a source for some seconds from now: what they show on
// the average, without any zeroing, in mmHg, and their counts. A channel that had no
// value in any scan has none. It waits for scans until ctx ends.
func (p *Pipeline) Rest(ctx context.Context, source int, channels []int) (shown []record.Rest, raw []float64, err error) {
	w := &watch{source: source, channels: channels, since: sample.Past, done: make(chan struct{}),
		sums: make([][2]float64, len(channels)), raw: make([]float64, len(channels))}
	if err := p.do(ctx, func(*State) { p.watches = append(p.watches, w) }); err != nil {
		return nil, nil, err
	}
	select {
	case <-w.done:
		shown, raw = w.means()
		return shown, raw, nil
	case <-ctx.Done():
		err = context.Cause(ctx)
	case <-p.done:
		return nil, nil, ErrStopped
	}
	_ = p.do(context.WithoutCancel(ctx), func(*State) { p.unwatch(w) }) // it fails only where nothing is watched any more
	return nil, nil, err
}

func (p *Pipeline) unwatch(w *watch) {
	p.watches = slices.DeleteFunc(p.watches, func(x *watch) bool { return x == w })
}

// look gives a scan to whoever watches its source.
func (p *Pipeline) look(s *sample.Scan) {
	for _, w := range slices.Clone(p.watches) { // some go meanwhile
		if w.source != s.Source || s.Stored || s.At < w.since {
			continue
		}
		if w.take(s, p.applied.Offset) {
			p.unwatch(w)
			close(w.done)
		}
	}
}

// take adds a scan, and reports whether that was enough.
func (w *watch) take(s *sample.Scan, offset func(source, channel int) float64) bool {
	if w.since == sample.Past {
		w.since = s.At
	}
	half := 0
	if w.n[0] >= leastHalf && s.At.Sub(w.since) >= restFor/2 {
		half = 1
	}
	w.n[half]++
	for i, c := range w.channels {
		w.sums[i][half] += s.Values[c] + offset(w.source, c)
		w.raw[i] += s.Raw[c]
	}
	return w.n[1] >= leastHalf && s.At.Sub(w.since) >= restFor
}

func (w *watch) means() (shown []record.Rest, raw []float64) {
	first, second := float64(w.n[0]), float64(w.n[1])
	for i, s := range w.sums {
		shown = append(shown, record.Rest{Mean: (s[0] + s[1]) / (first + second), Moved: s[1]/second - s[0]/first})
		raw = append(raw, w.raw[i]/(first+second))
		if math.IsInf(raw[i], 0) {
			raw[i] = math.NaN()
		}
	}
	return shown, raw
}
