package history

import (
	"math"

	"weald/ingest/sample"
	"weald/stream/record"
)

// Seconds appends to dst the finished seconds of a series with from <= At that
// are remembered and in which something was known, and returns them with the
// begin of the second that is still being filled: what comes before it will not
// change any more. Before the first reading that is sample.Past.
func (s *Store) Seconds(place, series int, from sample.Instant, dst []record.Point) ([]record.Point, sample.Instant) {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	t := &p.tiers[series]
	if !t.begun {
		return dst, sample.Past
	}
	for i := max(ceilSecond(from), t.oldest()); i < t.open; i++ {
		dst = t.look(i).point(i, dst)
	}
	return dst, sample.Instant(t.open) * second
}

// Tail appends to dst the seconds from the one that is being filled on, as they
// will be if no reading comes any more: the last value stands to its end, but
// not beyond an instant.
func (s *Store) Tail(place, series int, to sample.Instant, dst []record.Point) []record.Point {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	if !p.tiers[series].begun {
		return dst
	}
	// What passes is accounted for in a copy, with chunks of its own.
	t := p.tiers[series]
	first := t.open
	t.chunks, t.spare, t.gone = nil, nil, math.MinInt64
	t.pass(max(t.at, to))
	for i := first; i <= t.open; i++ {
		dst = t.look(i).point(i, dst)
	}
	return dst
}

// Reach returns the instant from which on the seconds of a place are remembered
// without exception; Never while nothing is.
func (s *Store) Reach(place int) sample.Instant {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	first, kept := int64(math.MaxInt64), int64(math.MinInt64)
	for k := range p.tiers {
		t := &p.tiers[k]
		if !t.begun {
			continue
		}
		oldest := t.oldest()
		kept = max(kept, oldest)
		for i := oldest; i <= min(t.open, first-1); i++ {
			if b := t.look(i); b.mean == b.mean {
				first = i
				break
			}
		}
	}
	if first == math.MaxInt64 {
		return sample.Never
	}
	return sample.Instant(max(first, kept, firstSecond)) * second
}

// Kept says that all seconds of a place before an instant are kept elsewhere, so
// that they may be forgotten here before their hour is over. Those of the chunk that
// is being filled stay.
func (s *Store) Kept(place int, before sample.Instant) {
	p := &s.places[place]
	p.mu.Lock()
	defer p.mu.Unlock()
	newest := int64(math.MinInt64)
	for k := range p.tiers {
		if t := &p.tiers[k]; t.begun {
			newest = max(newest, t.open)
		}
	}
	if newest == math.MinInt64 {
		return
	}
	gone := floorChunk(min(floorSecond(before), newest)) * chunkSeconds
	for k := range p.tiers {
		t := &p.tiers[k]
		t.forget(gone)
		t.gone = max(t.gone, gone)
	}
}

func (b bucket) point(i int64, dst []record.Point) []record.Point {
	if b.mean != b.mean {
		return dst
	}
	return append(dst, record.Point{At: sample.Instant(i) * second, Min: b.min, Mean: b.mean, Max: b.max})
}

func ceilSecond(at sample.Instant) int64 {
	s := floorSecond(at)
	if at%second != 0 {
		s++
	}
	return s
}
