package export

import (
	"context"
	"fmt"
	"iter"

	"weald/ingest/sample"
)

// batchValues is how many values are fetched from a track at a time. Fetching
// row by row would cost a switch between goroutines for each.
const batchValues = 8192

// A batch is consecutive rows of one track, row by row in one slice.
type batch struct {
	at     []sample.Instant
	until  []sample.Instant // before when the values end
	values []float64        // finite or NaN
	width  int
}

func (b *batch) row(i int) []float64 { return b.values[i*b.width : (i+1)*b.width] }

func (b *batch) clear() { b.at, b.until, b.values = b.at[:0], b.until[:0], b.values[:0] }

// batches yields the rows of track i of r, checked: in order, within the
// recording, and of the right width. A batch is valid until the next iteration.
// It ends with the error of the track or of ctx, in a pair without a batch.
func (r *Recording) batches(ctx context.Context, i int) iter.Seq2[*batch, error] {
	return func(yield func(*batch, error) bool) {
		t := &r.Tracks[i]
		b := &batch{width: len(t.Signals)}
		full := max(1, batchValues/b.width)
		last, stale := r.Header.Start, t.stale()
		for row, err := range t.Rows {
			switch {
			case err != nil:
				yield(nil, fmt.Errorf("track %d (%s …): %w", i, t.Signals[0].Name, err))
				return
			case len(row.Values) != b.width:
				err = fmt.Errorf("%w: a row of track %d has %d values for %d signals", ErrRecording, i, len(row.Values), b.width)
			case row.At < r.Header.Start || row.At >= r.Header.End:
				err = fmt.Errorf("%w: a row of track %d is at %v, not within %v and %v",
					ErrRecording, i, row.At, r.Header.Start, r.Header.End)
			case row.At < last:
				err = fmt.Errorf("%w: track %d goes back from %v to %v", ErrRecording, i, last, row.At)
			}
			if err != nil {
				yield(nil, err)
				return
			}
			last = row.At
			until := row.At.Add(stale)
			if row.Until != 0 {
				until = max(min(until, row.Until), row.At.Add(1)) // a reading is one at its own instant
			}
			b.at, b.until = append(b.at, row.At), append(b.until, until)
			for _, v := range row.Values {
				b.values = append(b.values, finite(v))
			}
			if len(b.at) < full {
				continue
			}
			if err := context.Cause(ctx); err != nil {
				yield(nil, err)
				return
			}
			if !yield(b, nil) {
				return
			}
			b.clear()
		}
		if err := context.Cause(ctx); err != nil {
			yield(nil, err)
		} else if len(b.at) > 0 {
			yield(b, nil)
		}
	}
}

// A feed hands out the rows of one track one by one, on demand.
type feed struct {
	pull func() (*batch, error, bool)
	stop func()
	b    *batch
	next int // row of b
	err  error
}

// feed begins to read track i. The caller stops it.
func (r *Recording) feed(ctx context.Context, i int) *feed {
	pull, stop := iter.Pull2(r.batches(ctx, i))
	f := &feed{pull: pull, stop: stop, b: &batch{}}
	f.fill()
	return f
}

func (f *feed) fill() {
	for f.next == len(f.b.at) {
		b, err, ok := f.pull()
		if !ok || err != nil {
			f.b, f.next, f.err = &batch{}, 0, err
			return
		}
		f.b, f.next = b, 0
	}
}

// at is when the next row is, or sample.Never when there is none; see err then.
func (f *feed) at() sample.Instant {
	if f.next == len(f.b.at) {
		return sample.Never
	}
	return f.b.at[f.next]
}

// take copies the values of the next row into dst, says before when they end, and
// moves on.
func (f *feed) take(dst []float64) (until sample.Instant) {
	copy(dst, f.b.row(f.next))
	until = f.b.until[f.next]
	f.next++
	if f.next == len(f.b.at) {
		f.fill()
	}
	return until
}
