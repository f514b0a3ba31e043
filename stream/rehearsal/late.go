package rehearsal

import (
	"cmp"
	"context"
	"slices"

	"weald/ingest/sample"
)

// lateOnes plays an input once and returns copies of its late scans, those that
// are older than one of their source before them, by event time. They are few,
// so that a recording of any length can be put in order without holding it.
func lateOnes(ctx context.Context, in Input) ([]*sample.Scan, error) {
	newest := map[int]sample.Instant{}
	var late []*sample.Scan
	err := in(ctx, func(s *sample.Scan) {
		if at, seen := newest[s.Source]; seen && s.At < at {
			kept := new(sample.Scan)
			kept.Set(s)
			late = append(late, kept)
			return
		}
		newest[s.Source] = s.At
	})
	slices.SortStableFunc(late, func(a, b *sample.Scan) int { return cmp.Compare(a.At, b.At) })
	return late, err
}

// byEventTime plays an input with its late scans where they belong. Every scan
// then arrives at the instant that it is of.
func byEventTime(in Input, late []*sample.Scan) Input {
	return func(ctx context.Context, out func(*sample.Scan)) error {
		newest := map[int]sample.Instant{}
		rest := late
		put := func(s *sample.Scan) {
			now := *s
			now.Arrived = now.At
			out(&now)
		}
		err := in(ctx, func(s *sample.Scan) {
			if at, seen := newest[s.Source]; seen && s.At < at {
				return // has been put in its place
			}
			newest[s.Source] = s.At
			for len(rest) > 0 && rest[0].At < s.At {
				put(rest[0])
				rest = rest[1:]
			}
			put(s)
		})
		for _, s := range rest {
			put(s)
		}
		return err
	}
}
