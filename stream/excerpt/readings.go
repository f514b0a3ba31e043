package excerpt

import (
	"cmp"
	"errors"
	"iter"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// Readings are fetched a window of time at a time, which grows and shrinks so
// that it holds about so many values: megabytes, not gigabytes.
const (
	fewValues  = 200_000
	manyValues = 2_000_000

	leastWindow = 10 * time.Second
	firstWindow = time.Minute
	mostWindow  = 15 * time.Minute // beyond silence there may be anything
)

// A reading is one scan as it was kept.
type reading struct {
	source string
	scan   *record.Scan
}

// errMany says that a window holds more than there is room for.
var errMany = errors.New("too much for one window")

// readings yields the scans of the place's sources in order of their times;
// those of the same instant as they came.
func (x *Excerpt) readings() iter.Seq2[reading, error] {
	return func(yield func(reading, error) bool) {
		window := firstWindow
		for from := x.from; from < x.to; {
			to := min(from.Add(window), x.to)
			batch, values, err := x.fetch(from, to, window > leastWindow)
			if errors.Is(err, errMany) {
				window = max(window/4, leastWindow)
				continue
			}
			if err != nil {
				yield(reading{}, err)
				return
			}
			for _, r := range batch {
				if !yield(r, nil) {
					return
				}
			}
			switch from = to; {
			case values < fewValues:
				window = min(2*window, mostWindow)
			case values > manyValues/2:
				window = max(window/2, leastWindow)
			}
		}
	}
}

// fetch returns the scans with from <= At < to in order, and how many values
// they have.
func (x *Excerpt) fetch(from, to sample.Instant, bounded bool) (batch []reading, values int, err error) {
	for _, s := range x.sources {
		id := x.plan.Sources[s].ID
		for block, err := range journal.Readable(x.journal.Readings(x.ctx, id, from, to), x.lose) {
			if err != nil {
				return nil, 0, err
			}
			for i := range block.Scans {
				if one := &block.Scans[i]; one.At >= from && one.At < to {
					batch = append(batch, reading{id, one})
					values += len(one.Raw)
				}
			}
			if bounded && values > manyValues {
				return nil, 0, errMany
			}
		}
	}
	slices.SortStableFunc(batch, func(a, b reading) int {
		return cmp.Or(cmp.Compare(a.scan.At, b.scan.At), cmp.Compare(a.scan.Ord, b.scan.Ord))
	})
	return batch, values, nil
}
