package export

import (
	"context"
	"slices"
	"time"

	"weald/ingest/sample"
)

// A grid resamples all tracks to the samples of data records, record by record.
type grid struct {
	lanes    []lane
	duration time.Duration
	from     sample.Instant // where record 0 begins
	end      sample.Instant // nothing is known from here on, but for rows that came before and stand here
	index    int64          // of the record in the lanes
	slack    time.Duration  // how much later than a sample a row may be that counts for it
}

// A lane is one track on a grid.
type lane struct {
	held
	f       *feed
	n       int           // samples a record
	step    time.Duration // between samples
	regular bool
	// follows says that the former sample had a row of its own.
	follows bool
	out     [][]float64      // of each signal: n samples, NaN where unknown
	read    []sample.Instant // of each sample: when the row was that it shows
	own     []bool           // whether that row came for it, and is not held from one before

	repeated int64 // samples that are known and have no row of their own
	skipped  int64 // rows that no sample shows
}

// grid begins to resample. The caller stops it.
func (r *Recording) grid(ctx context.Context, l *layout) *grid {
	g := &grid{
		duration: l.duration,
		from:     floorSecond(r.Header.Start),
		end:      r.Header.End,
		index:    -1,
		lanes:    make([]lane, len(r.Tracks)),
	}
	for i := range g.lanes {
		n := l.lanes[i].n
		g.lanes[i] = lane{
			held: newHeld(&r.Tracks[i]), f: r.feed(ctx, i), n: n, step: l.duration / time.Duration(n), regular: l.lanes[i].regular,
			read: make([]sample.Instant, n), own: make([]bool, n),
		}
		for range r.Tracks[i].Signals {
			g.lanes[i].out = append(g.lanes[i].out, make([]float64, n))
		}
		g.slack = max(g.slack, g.lanes[i].step)
	}
	return g
}

func (g *grid) stop() {
	for i := range g.lanes {
		g.lanes[i].f.stop()
	}
}

// begin is when the present record begins.
func (g *grid) begin() sample.Instant { return g.from.Add(time.Duration(g.index) * g.duration) }

// next fills the lanes with the next record in which anything is known. It
// returns false at the end of the recording, or with an error of a track.
func (g *grid) next() (bool, error) {
	for {
		g.index++
		g.skip()
		if g.begin() >= g.end && !g.rest() {
			return false, g.err()
		}
		known := false
		for i := range g.lanes {
			known = g.lanes[i].fill(g.begin(), g.end, g.duration) || known
		}
		if err := g.err(); err != nil {
			return false, err
		}
		if known {
			return true, nil
		}
	}
}

// rest reports whether rows are left that stand at a sample of their own: the last one may
// stand behind the end, from which it is less than a sample away.
func (g *grid) rest() bool {
	return slices.ContainsFunc(g.lanes, func(l lane) bool { return l.regular && l.f.at() != sample.Never })
}

// skip moves on to the record of the next row when nothing is in force.
func (g *grid) skip() {
	row := g.end
	for i := range g.lanes {
		if g.lanes[i].lasts(g.begin()) {
			return
		}
		row = min(row, g.lanes[i].f.at())
	}
	if to := int64(row.Add(-g.slack).Sub(g.from) / g.duration); to > g.index {
		g.index = to
		for i := range g.lanes {
			g.lanes[i].follows = false
		}
	}
}

func (g *grid) err() error {
	for i := range g.lanes {
		if err := g.lanes[i].f.err; err != nil {
			return err
		}
	}
	return nil
}

// fill computes the samples of the record that begins at begin, and reports
// whether any is known.
//
// On a lane that is not regular a sample is the value in force at its instant.
// On a regular one that would be wrong by a whole sample now and then, wherever
// rows come at about the instants of samples: a row that is a microsecond late
// would be missed. So there a row counts for the sample that is nearest to it,
// and the rows that follow count for the samples that follow, as long as they
// are within three quarters of a step. A clock that runs a little fast or slow
// then makes one sample in a long time be repeated or skipped, and jitter of
// less than a quarter of a step makes none.
func (l *lane) fill(begin, end sample.Instant, duration time.Duration) bool {
	known := false
	for k := range l.n {
		at := begin.Add(duration * time.Duration(k) / time.Duration(l.n))
		var own int64 // rows that came for this sample
		if l.regular {
			reach := l.step / 2
			if l.follows {
				reach = l.step * 3 / 4
			}
			for ; l.f.at() <= at.Add(-reach); own++ {
				l.take(l.f)
			}
			if l.f.at() < at.Add(reach) {
				l.take(l.f)
				own++
			}
			l.follows = own > 0
		} else {
			for ; l.f.at() <= at; own++ {
				l.take(l.f)
			}
		}
		l.read[k], l.own[k] = l.at, own > 0
		lasts := l.lasts(at) && (at < end || l.regular && own > 0)
		some := false
		for s := range l.out {
			v := sample.Unknown
			if lasts {
				v = l.values[s]
			}
			l.out[s][k] = v
			some = some || v == v
		}
		if some && own == 0 {
			l.repeated++
		}
		l.skipped += max(0, own-1)
		known = known || some
	}
	return known
}

// floorSecond returns the whole second at or before at.
func floorSecond(at sample.Instant) sample.Instant {
	past := at % sample.Instant(time.Second)
	if past < 0 {
		past += sample.Instant(time.Second)
	}
	return at - past
}
