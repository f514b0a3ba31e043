package history

import (
	"math"
	"slices"

	"weald/ingest/sample"
)

const (
	second       = sample.Instant(1e9)
	chunkSeconds = 20
	tierSeconds  = 186 * chunkSeconds // more than an hour, and what is being filled
)

// A bucket is what a series did in one second. Its mean is weighted with the
// time that each value stood; NaN where nothing was known.
type bucket struct{ min, mean, max float32 }

var nothing = bucket{float32(math.NaN()), float32(math.NaN()), float32(math.NaN())}

// A chunk is a third of a minute of a series.
type chunk struct {
	number int64
	all    *[chunkSeconds]bucket // nil: every second was as same says
	same   bucket
}

// close gives the memory of a chunk that needs none back.
func (c *chunk) close() (spare *[chunkSeconds]bucket) {
	first := c.all[0].bits()
	for i := range c.all {
		if c.all[i].bits() != first {
			return nil
		}
	}
	spare = c.all
	c.same, c.all = spare[0], nil
	return spare
}

func (b bucket) bits() [3]uint32 {
	return [3]uint32{math.Float32bits(b.min), math.Float32bits(b.mean), math.Float32bits(b.max)}
}

// A tier remembers the seconds of one series. A value stands until its
// successor or until its end, whichever is first: a slow series has no holes
// between its readings, a silent one has.
type tier struct {
	chunks []chunk               // ascending; those of which nothing is known are left out
	spare  *[chunkSeconds]bucket // for the next one
	gone   int64                 // seconds before this are forgotten, however young

	begun bool
	at    sample.Instant // the value stands from here, accounted up to here
	value float64
	until sample.Instant

	open     int64 // the second that is being filled
	sum      float64
	standing float64 // ns of the open second that are accounted
	min, max float64 // NaN while nothing is known
}

// add takes a reading. One that is older than the last is not taken: it would
// have to be put into seconds that are closed.
func (t *tier) add(at sample.Instant, v float64, until sample.Instant) {
	if !t.begun {
		t.begun = true
		t.at, t.open = at, floorSecond(at)
		t.min, t.max = math.NaN(), math.NaN()
	} else if at < t.at {
		return
	}
	t.pass(at)
	t.at, t.value, t.until = at, v, until
	t.roll(floorSecond(at))
	t.widen(v)
}

// pass accounts for the value up to an instant.
func (t *tier) pass(to sample.Instant) {
	if sample.IsUnknown(t.value) {
		return
	}
	end := min(to, t.until)
	t.at = max(t.at, end.Add(-Span)) // older seconds would be forgotten at once
	for t.at < end {
		s := floorSecond(t.at)
		t.roll(s)
		stop := min(end, sample.Instant(s+1)*second)
		t.widen(t.value)
		t.sum += t.value * float64(stop-t.at)
		t.standing += float64(stop - t.at)
		t.at = stop
	}
}

func (t *tier) widen(v float64) {
	if sample.IsUnknown(v) {
		return
	}
	if sample.IsUnknown(t.min) {
		t.min, t.max = v, v
		return
	}
	t.min, t.max = min(t.min, v), max(t.max, v)
}

// roll closes the open second if s is a later one.
func (t *tier) roll(s int64) {
	if s <= t.open {
		return
	}
	if now := t.current(); now.mean == now.mean {
		*t.slot(t.open) = now
	}
	t.open, t.sum, t.standing = s, 0, 0
	t.min, t.max = math.NaN(), math.NaN()
}

// current is the open second so far.
func (t *tier) current() bucket {
	if sample.IsUnknown(t.min) {
		return nothing
	}
	mean := (t.min + t.max) / 2
	if t.standing > 0 {
		mean = t.sum / t.standing
	}
	return bucket{float32(t.min), float32(mean), float32(t.max)}
}

// slot is where a second goes that is later than all that were closed before.
func (t *tier) slot(s int64) *bucket {
	m := floorChunk(s)
	n := len(t.chunks)
	if n == 0 || t.chunks[n-1].number != m {
		if n > 0 {
			if spare := t.chunks[n-1].close(); spare != nil {
				t.spare = spare
			}
		}
		t.forget(s - tierSeconds + 1)
		all := t.spare
		if t.spare = nil; all == nil {
			all = new([chunkSeconds]bucket)
		}
		for i := range all {
			all[i] = nothing
		}
		t.chunks = append(t.chunks, chunk{number: m, all: all})
		n = len(t.chunks)
	}
	return &t.chunks[n-1].all[s-m*chunkSeconds]
}

// forget lets go of the chunks that end before a second, but of none that is
// still being filled.
func (t *tier) forget(before int64) {
	n := 0
	for n < len(t.chunks) && t.chunks[n].number < floorChunk(before) && t.chunks[n].number < floorChunk(t.open) {
		if t.spare == nil {
			t.spare = t.chunks[n].all
		}
		n++
	}
	t.chunks = slices.Delete(t.chunks, 0, n)
}

// oldest is the first second that is remembered if anything was known in it.
func (t *tier) oldest() int64 { return max(t.gone, t.open-tierSeconds+1) }

// look returns the bucket of a second, whatever is asked for.
func (t *tier) look(s int64) bucket {
	switch {
	case !t.begun || s > t.open:
		return nothing
	case s == t.open:
		return t.current()
	case s < t.oldest():
		return nothing
	}
	m := floorChunk(s)
	// Most often it is as far from the end as its number says.
	i := len(t.chunks) - 1 - int(min(floorChunk(t.open)-m, int64(len(t.chunks))))
	for i = max(i, 0); i < len(t.chunks) && t.chunks[i].number <= m; i++ {
		if c := &t.chunks[i]; c.number == m {
			if c.all == nil {
				return c.same
			}
			return c.all[s-m*chunkSeconds]
		}
	}
	return nothing
}

func floorChunk(s int64) int64            { return floorDiv(s, chunkSeconds) }
func floorSecond(at sample.Instant) int64 { return floorDiv(int64(at), int64(second)) }

// floorDiv is a/by, rounded down.
func floorDiv(a, by int64) int64 {
	q := a / by
	if a%by < 0 {
		q--
	}
	return q
}
