package sqlite

import (
	"context"
	"maps"
	"slices"

	"weald/stream/journal"
	"weald/stream/record"
)

// A watch sees whether the numbers of each source come without holes.
type watch struct {
	heads   map[string]sourceHead // when it began
	end     uint64                // the greatest ordinal then
	last    uint64                // up to where inputs are asked for
	seen    map[string]uint64
	retired []record.Retired
}

func (s *Store) newWatch(ctx context.Context, last uint64) (*watch, error) {
	gone, err := s.retiredRanges(ctx)
	if err != nil {
		return nil, err
	}
	s.days.write.Lock()
	defer s.days.write.Unlock()
	return &watch{heads: maps.Clone(s.days.heads), end: s.head.now().Ord, last: last, seen: map[string]uint64{}, retired: gone}, nil
}

// saw takes note of a block, whole or with an error, and returns what is lost:
// that block, and those that should have come before it.
func (w *watch) saw(source string, number uint64, err error) []error {
	var lost []error
	if before := w.seen[source]; before > 0 && number > before+1 {
		lost = append(lost, w.hole(source, before+1, number-1)...)
	}
	w.seen[source] = number
	if err != nil {
		lost = append(lost, err)
	}
	return lost
}

// hole returns the losses of a hole, without what was deleted on purpose.
func (w *watch) hole(source string, first, last uint64) []error {
	var lost []error
	for _, r := range missing(first, last, source, w.retired, nil) {
		lost = append(lost, &journal.Loss{Source: source, First: r.first, Last: r.last})
	}
	return lost
}

// tails returns the losses at the end: what each source had come to, and nobody
// saw. first is the least ordinal that was asked for.
func (w *watch) tails(first uint64) []error {
	var lost []error
	for _, source := range slices.Sorted(maps.Keys(w.heads)) {
		h, seen := w.heads[source], w.seen[source]
		switch {
		case h.ord > w.last || h.ord < first:
			continue // the end was not asked for
		case seen == 0:
			seen = h.number - 1 // nothing is known of those before
		}
		if seen < h.number {
			lost = append(lost, w.hole(source, seen+1, h.number)...)
		}
	}
	return lost
}
