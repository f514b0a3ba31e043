package history

import (
	"fmt"
	"math"
	"time"

	"weald/ingest/sample"
)

// MostPoints is how many points a series of an answer has at most, and MostSpan
// how much time an answer covers.
const (
	MostPoints = 5000
	MostSpan   = 366 * 24 * time.Hour
)

// A Query asks for what happened at a place.
type Query struct {
	Place    int
	Names    []string // of series; none means all
	From, To sample.Instant
	Points   int // how many points are of use, 1 to MostPoints
}

// An Answer covers [From, To) in steps. Where a step is shorter than a second
// the points are the readings themselves, each at its own instant, and least,
// mean and greatest are one; otherwise a point stands for the step that begins
// at its instant.
type Answer struct {
	From, To sample.Instant
	Step     time.Duration
	Series   []Line
}

// A Line is one series of an Answer. NaN is a gap.
type Line struct {
	Name, Unit     string
	T              []sample.Instant
	Min, Mean, Max []float64
}

func (l *Line) add(at sample.Instant, lo, mean, hi float64) {
	l.T = append(l.T, at)
	l.Min, l.Mean, l.Max = append(l.Min, lo), append(l.Mean, mean), append(l.Max, hi)
}

// Outline returns the answer to q without its step and its points, and which
// series of the place its lines are. Its errors are ErrBackward, ErrTooLong and
// ErrNoSeries, which names the series.
func (s *Store) Outline(q Query) (*Answer, []int, error) {
	switch {
	case q.To <= q.From:
		return nil, nil, ErrBackward
	case uint64(q.To)-uint64(q.From) > uint64(MostSpan): // which a Duration may be too short for
		return nil, nil, ErrTooLong
	}
	p := &s.places[q.Place]
	which, err := p.find(q.Names)
	if err != nil {
		return nil, nil, err
	}
	a := &Answer{From: q.From, To: q.To, Series: make([]Line, len(which))}
	for i, k := range which {
		a.Series[i].Name, a.Series[i].Unit = p.series[k].Name, p.series[k].Unit
	}
	return a, which, nil
}

// Query answers q from raw readings where they reach back far enough and are
// no more than was asked for, else from seconds. Its errors are those of
// Outline.
func (s *Store) Query(q Query) (*Answer, error) {
	a, which, err := s.Outline(q)
	if err != nil {
		return nil, err
	}
	p := &s.places[q.Place]
	points := min(max(q.Points, 1), MostPoints)

	p.mu.Lock()
	defer p.mu.Unlock()
	a.Step = q.To.Sub(q.From) / time.Duration(points)
	if a.Step < time.Second && p.rows.reach(q.From, q.To, points) {
		for i, k := range which {
			p.raw(&a.Series[i], k, q.From, q.To)
		}
		return a, nil
	}
	step := int64(max(1, math.Ceil(a.Step.Seconds())))
	a.Step = time.Duration(step) * time.Second
	for i, k := range which {
		p.tiers[k].line(&a.Series[i], floorSecond(q.From), floorSecond(q.To-1), step)
	}
	return a, nil
}

func (p *place) find(names []string) ([]int, error) {
	var which []int
	if len(names) == 0 {
		for k := range p.series {
			which = append(which, k)
		}
	}
next:
	for _, name := range names {
		for k := range p.series {
			if p.series[k].Name == name {
				which = append(which, k)
				continue next
			}
		}
		return nil, fmt.Errorf("%q: %w", name, ErrNoSeries)
	}
	return which, nil
}

// reach reports whether the raw rows hold all of [from, to), in no more than
// twice as many rows as points.
func (r *rows) reach(from, to sample.Instant, points int) bool {
	first := r.first()
	if r.next == 0 || first > 0 && r.at[r.index(first)] > from {
		return false
	}
	n := 0
	for i := first; i < r.next; i++ {
		if at := r.at[r.index(i)]; at >= from && at < to {
			n++
		}
	}
	return n <= 2*points
}

// raw adds the readings of a series, and a gap where one did not last until the
// next.
func (p *place) raw(l *Line, series int, from, to sample.Instant) {
	ends := sample.Never
	for i := p.rows.first(); i < p.rows.next; i++ {
		at := p.rows.at[p.rows.index(i)]
		v := p.rows.row(i)[series]
		if at < from || at >= to || IsAbsent(v) {
			continue
		}
		if ends < at {
			l.add(ends, math.NaN(), math.NaN(), math.NaN())
		}
		l.add(at, float64(v), float64(v), float64(v))
		ends = at.Add(p.series[series].Lasts)
	}
}

// firstSecond is the first whole second that an Instant can hold.
const firstSecond = math.MinInt64 / int64(second)

// line adds one point for every step seconds that hold any of the seconds from
// first to last.
func (t *tier) line(l *Line, first, last, step int64) {
	first -= ((first % step) + step) % step
	for s := first; s <= last; s += step {
		lo, hi, sum, known := math.NaN(), math.NaN(), 0.0, 0
		// Nothing is known beyond what is remembered, however long the step.
		for i := max(s, t.oldest()); i < min(s+step, t.open+1); i++ {
			b := t.look(i)
			if b.mean != b.mean {
				continue
			}
			if known++; known == 1 {
				lo, hi = float64(b.min), float64(b.max)
			}
			lo, hi = min(lo, float64(b.min)), max(hi, float64(b.max))
			sum += float64(b.mean)
		}
		mean := math.NaN()
		if known > 0 {
			mean = sum / float64(known)
		}
		l.add(sample.Instant(max(s, firstSecond))*second, lo, mean, hi)
	}
}
