package archive

import (
	"context"
	"math"
	"slices"
	"sync"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/journal"
	"weald/stream/pipeline"
	"weald/stream/record"
)

// A Reader answers questions about any time. Any goroutine may ask.
type Reader struct {
	memory  *history.Store
	journal journal.History
	ids     []string
}

// NewReader returns a Reader for the places with the given ids, in the order of
// the memory.
func NewReader(memory *history.Store, ids []string, j journal.History) *Reader {
	return &Reader{memory, j, ids}
}

// atOnce is how many series are read side by side.
const atOnce = 4

// Query answers q from the memory if that reaches back to q.From. Otherwise the
// steps are those of the coarsest kept resolution that is at most half as coarse
// again as q asks, or a multiple of them; where the beginning of q is kept at a
// coarser one only, of that. Steps begin at multiples of themselves, so the
// first may begin before q.From.
//
// Its errors are those of history.Store.Outline, and those of the journal. What
// the journal has lost is a gap.
func (r *Reader) Query(ctx context.Context, q history.Query) (*history.Answer, error) {
	if _, _, err := r.memory.Outline(q); err != nil {
		return nil, err
	}
	reach := r.memory.Reach(q.Place)
	if q.From >= reach {
		return r.memory.Query(q)
	}
	q.From = max(q.From, sample.Past+2*hour) // a step begins before it
	asked := q.To.Sub(q.From) / time.Duration(min(max(q.Points, 1), history.MostPoints))
	tier := fitting(asked)
	best, err := r.read(ctx, q, tier, asked, reach)
	for next := tier + 1; err == nil && next <= record.Quarter; next++ {
		margin := sample.Instant(next.Step())
		if best.first-margin <= q.From {
			break // it reaches back far enough
		}
		var other *reading
		if other, err = r.read(ctx, q, next, asked, reach); err == nil && other.first < best.first-margin {
			best = other
		}
	}
	if err != nil {
		return nil, err
	}
	return best.answer, nil
}

// fitting returns the coarsest tier whose steps are of use where asked is wanted.
func fitting(asked time.Duration) record.Tier {
	fit := record.Second
	for _, t := range record.Tiers() {
		if t.Step() <= asked+asked/2 {
			fit = t
		}
	}
	return fit
}

// A reading is an answer from one tier and the memory, and the begin of what it
// knows.
type reading struct {
	answer *history.Answer
	first  sample.Instant // Never if nothing is known
}

func (r *Reader) read(ctx context.Context, q history.Query, tier record.Tier, asked time.Duration, reach sample.Instant) (*reading, error) {
	a, which, err := r.memory.Outline(q)
	if err != nil {
		return nil, err
	}
	unit := tier.Step()
	a.Step = max(1, (asked+unit-1)/unit) * unit
	out := &reading{answer: a, first: sample.Never}
	firsts := make([]sample.Instant, len(which))
	group, ctx := errgroup.WithContext(ctx)
	group.SetLimit(atOnce)
	for i, k := range which {
		group.Go(func() error {
			l := newLine(q, a.Step)
			err := r.fill(ctx, l, q, k, tier, reach)
			l.into(&a.Series[i])
			firsts[i] = l.known
			return err
		})
	}
	if err := group.Wait(); err != nil {
		return nil, err
	}
	for _, at := range firsts {
		out.first = min(out.first, at)
	}
	return out, nil
}

// rooms are for points on their way into a line: a daemon would have to collect
// hundreds of kilobytes for each line otherwise, while it looks for the rest.
var rooms = sync.Pool{New: func() any { return new([]record.Point) }}

// fill adds all that is known of a series: of a tier up to where the seconds begin, of
// seconds to where the memory does, and then of the memory. An hour that may not be
// summed up yet has seconds alone, or more of them than of anything else.
func (r *Reader) fill(ctx context.Context, l *line, q history.Query, series int, tier record.Tier, reach sample.Instant) error {
	place, name := r.ids[q.Place], r.memory.Series(q.Place)[series].Name
	unit := sample.Instant(tier.Step())
	cut := min(floor(reach, unit), q.To)
	room := rooms.Get().(*[]record.Point)
	defer rooms.Put(room)
	summed := max(l.from, min(floor(reach.Add(-2*every), hour), cut))
	points, err := r.Seconds(ctx, q.Place, name, summed, q.To, (*room)[:0])
	*room = points
	if err != nil {
		return err
	}
	for _, p := range points {
		l.add(p, 1)
	}
	if len(points) > 0 && points[0].At < cut {
		cut = summed
	}
	points, err = kept(ctx, r.journal, place, name, tier, l.from, cut, points[:0])
	*room = points
	if err != nil {
		return err
	}
	var partly []record.Point
	if tier != record.Second {
		if partly, err = kept(ctx, r.journal, place, name+knownSuffix, tier, l.from, cut, nil); err != nil {
			return err
		}
	}
	for _, p := range points {
		known := tier.Step().Seconds()
		for len(partly) > 0 && partly[0].At < p.At {
			partly = partly[1:]
		}
		if len(partly) > 0 && partly[0].At == p.At {
			known = float64(partly[0].Mean)
		}
		l.add(p, known)
	}
	return nil
}

// Seconds appends the seconds of a series with from <= At < to to dst, those that
// the journal has and then those of the memory. Where nothing was known there is
// no point; what the journal has lost is a gap too. An unknown series has none.
func (r *Reader) Seconds(ctx context.Context, place int, series string, from, to sample.Instant, dst []record.Point) ([]record.Point, error) {
	k := slices.IndexFunc(r.memory.Series(place), func(s pipeline.Series) bool { return s.Name == series })
	if k < 0 || from >= to {
		return dst, nil
	}
	cut := max(from, min(floor(r.memory.Reach(place), sample.Instant(time.Second)), to))
	dst, err := kept(ctx, r.journal, r.ids[place], series, record.Second, from, cut, dst)
	if err != nil || cut >= to {
		return dst, err
	}
	points, _ := r.memory.Seconds(place, k, cut, nil)
	for _, p := range r.memory.Tail(place, k, sample.Past, points) {
		if p.At >= cut && p.At < to { // what came before is in the journal
			dst = append(dst, p)
		}
	}
	return dst, nil
}

// A line is one series on its way into an answer: a sum for every step.
type line struct {
	from  sample.Instant // of the first step
	step  sample.Instant
	sums  []sum
	known sample.Instant // the first point; Never without one
}

func newLine(q history.Query, step time.Duration) *line {
	l := &line{step: sample.Instant(step), known: sample.Never}
	l.from = floor(q.From, l.step)
	l.sums = make([]sum, (q.To-1-l.from)/l.step+1)
	return l
}

func (l *line) add(p record.Point, known float64) {
	if p.At < l.from || !(known > 0) {
		return
	}
	l.known = min(l.known, p.At)
	if i := int((p.At - l.from) / l.step); i < len(l.sums) {
		l.sums[i].add(p, known)
	}
}

func (l *line) into(out *history.Line) {
	n := len(l.sums)
	out.T = make([]sample.Instant, n)
	out.Min, out.Mean, out.Max = make([]float64, n), make([]float64, n), make([]float64, n)
	for i := range l.sums {
		s := &l.sums[i]
		out.T[i] = l.from + sample.Instant(i)*l.step
		out.Min[i], out.Mean[i], out.Max[i] = math.NaN(), math.NaN(), math.NaN()
		if s.known > 0 {
			out.Min[i], out.Mean[i], out.Max[i] = s.least, s.mean(), s.greatest
		}
	}
}
