package history

import (
	"math"

	"weald/ingest/sample"
)

const (
	second       = sample.Instant(1e9)
	chunkSeconds = 341 // of 12 bytes: just within 4 KiB
	chunks       = 12  // more than an hour, and one that is being filled
	tierSeconds  = chunkSeconds * chunks
)

// A bucket is what a series did in one second. Its mean is weighted with the
// time that each value stood; NaN where nothing was known.
type bucket struct{ min, mean, max float32 }

var nothing = bucket{float32(math.NaN()), float32(math.NaN()), float32(math.NaN())}

// A tier remembers the seconds of one series. A value stands until its
// successor or until its end, whichever is first: a slow series has no holes
// between its readings, a silent one has.
type tier struct {
	chunks [chunks]*[chunkSeconds]bucket

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
	*t.slot(t.open) = t.current()
	for skipped := max(t.open+1, s-tierSeconds); skipped < s; skipped++ {
		*t.slot(skipped) = nothing
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

func (t *tier) slot(s int64) *bucket {
	i := int(((s % tierSeconds) + tierSeconds) % tierSeconds)
	c := &t.chunks[i/chunkSeconds]
	if *c == nil {
		*c = new([chunkSeconds]bucket)
		for k := range *c {
			(*c)[k] = nothing
		}
	}
	return &(*c)[i%chunkSeconds]
}

// look returns the bucket of a second, whatever is asked for.
func (t *tier) look(s int64) bucket {
	switch {
	case !t.begun || s > t.open || s <= t.open-tierSeconds:
		return nothing
	case s == t.open:
		return t.current()
	}
	i := int(((s % tierSeconds) + tierSeconds) % tierSeconds)
	if c := t.chunks[i/chunkSeconds]; c != nil {
		return c[i%chunkSeconds]
	}
	return nothing
}

func floorSecond(at sample.Instant) int64 {
	s := int64(at / second)
	if at%second < 0 {
		s--
	}
	return s
}
