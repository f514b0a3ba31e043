package archive

import (
	"context"
	"errors"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/record"
)

// knownSuffix makes the name of the series that says how many seconds of a
// point were known. No signal's name has a space in it.
const knownSuffix = " known"

// rolled are the tiers that are made of seconds.
var rolled = []record.Tier{record.Minute, record.Quarter}

const hour = sample.Instant(time.Hour)

// floor returns the last multiple of step that is not after at.
func floor(at, step sample.Instant) sample.Instant {
	rest := at % step
	if rest < 0 {
		rest += step
	}
	return at - rest
}

// A sum is some points taken together.
type sum struct {
	least, greatest, total float64
	known                  float64 // s
}

func (s *sum) add(p record.Point, known float64) {
	if s.known == 0 {
		s.least, s.greatest = float64(p.Min), float64(p.Max)
	}
	s.least, s.greatest = min(s.least, float64(p.Min)), max(s.greatest, float64(p.Max))
	s.total += float64(p.Mean) * known
	s.known += known
}

func (s *sum) mean() float64 { return s.total / s.known }

// coarser makes points of a tier out of seconds, which are in order of time,
// and says how many seconds each rests on.
func coarser(seconds []record.Point, tier record.Tier) (points, known []record.Point) {
	step := sample.Instant(tier.Step())
	for from := 0; from < len(seconds); {
		at := floor(seconds[from].At, step)
		var s sum
		for ; from < len(seconds) && seconds[from].At < at+step; from++ {
			s.add(seconds[from], 1)
		}
		n := float32(s.known)
		points = append(points, record.Point{At: at, Min: float32(s.least), Mean: float32(s.mean()), Max: float32(s.greatest)})
		known = append(known, record.Point{At: at, Min: n, Mean: n, Max: n})
	}
	return points, known
}

// rollUp sums up an hour of a series whose seconds are kept. Nothing comes back
// where that has been done.
func rollUp(ctx context.Context, j journal.History, place, series string, from sample.Instant) ([]record.Stretch, error) {
	seconds, err := kept(ctx, j, place, series, record.Second, from, from+hour, nil)
	if err != nil || len(seconds) == 0 {
		return nil, err
	}
	var out []record.Stretch
	for _, tier := range rolled {
		points, known := coarser(seconds, tier)
		was, err := kept(ctx, j, place, series, tier, from, from+hour, nil)
		if err != nil {
			return nil, err
		}
		if slices.Equal(was, points) {
			continue
		}
		out = append(out, record.Stretch{Place: place, Series: series, Tier: tier, Points: points})
		was, err = kept(ctx, j, place, series+knownSuffix, tier, from, from+hour, nil)
		if err != nil {
			return nil, err
		}
		// One that is whole now may have been counted as less before.
		known = slices.DeleteFunc(known, func(p record.Point) bool {
			_, counted := slices.BinarySearchFunc(was, p.At, record.Point.Compare)
			return float64(p.Mean) == tier.Step().Seconds() && !counted
		})
		if len(known) > 0 {
			out = append(out, record.Stretch{Place: place, Series: series + knownSuffix, Tier: tier, Points: known})
		}
	}
	return out, nil
}

// kept appends points to dst. What is damaged is a gap; Check of the journal tells of it.
func kept(ctx context.Context, j journal.History, place, series string, tier record.Tier, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
	points, err := j.History(ctx, place, series, tier, from, to, dst)
	var loss *journal.Loss
	if errors.As(err, &loss) {
		err = nil
	}
	return points, err
}
