package fit

import (
	"math"

	"weald/ingest/calib/budget"
	"weald/ingest/calib/figures"
)

// deviations returns, in mmHg and for each row, what its curve says less the
// reference. They take care of levels that were not hit exactly.
func deviations(rows []figures.Row, c candidate) []float64 {
	out := make([]float64, len(rows))
	for i, r := range rows {
		f := c.up
		if c.down != nil && r.Direction == figures.Down {
			f = *c.down
		}
		out[i] = f.curve.At(r.Raw) - r.Reference
	}
	return out
}

// scatter is what readings at one level and in one direction do, in mmHg.
type scatter struct {
	within  float64 // standard deviation about the level, within a cycle
	df      float64 // its degrees of freedom
	between float64 // standard deviation of whole cycles against each other, beyond what the above explains
	cycles  int
	known   bool
}

type mean struct{ sum, n float64 }

func (m *mean) add(v float64) { m.sum, m.n = m.sum+v, m.n+1 }
func (m *mean) of() float64   { return m.sum / m.n }

// side numbers a row's direction: up or not said, and down.
func side(r figures.Row) int { return btoi(r.Direction == figures.Down) }

// measure splits the scatter of deviations about those of their level and
// direction into what a whole cycle is off and the rest. It goes through slices
// only, so that equal tables give equal records.
func measure(rows []figures.Row, of []int, e []float64) scatter {
	var levels [2][]mean
	levels[0], levels[1] = make([]mean, len(rows)), make([]mean, len(rows))
	for i, r := range rows {
		levels[side(r)][of[i]].add(e[i])
	}
	repeated := func(i int) *mean {
		if m := &levels[side(rows[i])][of[i]]; m.n > 1 {
			return m
		}
		return nil
	}
	// Cycles are taken in the order in which they come: numbers may be anything.
	index := map[int]int{}
	var offs []mean
	n := 0
	for i, r := range rows {
		if m := repeated(i); m != nil {
			k, ok := index[r.Cycle]
			if !ok {
				k = len(offs)
				index[r.Cycle], offs = k, append(offs, mean{})
			}
			offs[k].add(e[i] - m.of())
			n++
		}
	}
	s := scatter{cycles: len(offs)}
	shifts, within := 0.0, 0.0
	for _, m := range offs {
		shifts += m.of() * m.of()
	}
	for i, r := range rows {
		if m := repeated(i); m != nil {
			d := e[i] - m.of()
			if s.cycles > 1 {
				d -= offs[index[r.Cycle]].of()
			}
			within += d * d
		}
	}
	keys := 0
	for _, direction := range levels {
		for _, m := range direction {
			keys += btoi(m.n > 1)
		}
	}
	df := n - keys - max(s.cycles-1, 0)
	if df < 1 {
		return s
	}
	s.known, s.df = true, float64(df)
	s.within = math.Sqrt(within / s.df)
	if s.cycles > 1 {
		explained := within / s.df * float64(s.cycles) / float64(n)
		s.between = math.Sqrt(max(shifts/float64(s.cycles-1)-explained, 0))
	}
	return s
}

// live returns the standard uncertainty of one reading in another cycle, with
// what a single reading is noisy beyond what the table shows. It is enlarged
// for how few cycles and readings it was learnt from, so that 1.96 times it is
// a 95 % interval (JCGM 100, G.2 and G.3).
func (s scatter) live(noise float64) float64 {
	c := []budget.Component{{Name: "noise", U: noise, DF: math.Inf(1)}}
	if s.known {
		c = append(c, budget.Component{Name: "within", U: s.within, DF: s.df})
	}
	if s.cycles > 1 {
		// The mean of the cycles is not known better either.
		c = append(c, budget.Component{Name: "cycles", U: s.between * math.Sqrt(1+1/float64(s.cycles)), DF: float64(s.cycles - 1)})
	}
	u, df := budget.Combined(c...)
	if u == 0 {
		return 0
	}
	return u * budget.Student(df) / budget.Student(math.Inf(1))
}

// bySide returns the mean of e at each level, on the way up and down.
func bySide(rows []figures.Row, of []int, levels int, e []float64) (at [2][]mean) {
	at[0], at[1] = make([]mean, levels), make([]mean, levels)
	for i, r := range rows {
		at[side(r)][of[i]].add(e[i])
	}
	return at
}

// loops returns the width of the loop at each level, in mmHg, beyond what the
// scatter makes of no loop at all; 0 where it is not known.
func loops(rows []figures.Row, of []int, levels int, e []float64, s scatter) []float64 {
	at := bySide(rows, of, levels, e)
	out := make([]float64, levels)
	for l := range out {
		if up, down := at[0][l], at[1][l]; up.n > 0 && down.n > 0 {
			d := up.of() - down.of()
			out[l] = math.Sqrt(max(d*d-s.within*s.within*(1/up.n+1/down.n), 0))
		}
	}
	return out
}

// unexplainedAt returns by how much the curves miss each level's mean, in mmHg,
// beyond its scatter: a curve may do well on the whole and badly at one place,
// such as where a sensor begins to answer. With one curve for both directions it
// is the middle of the loop that is missed.
func unexplainedAt(rows []figures.Row, of []int, levels int, e []float64, s scatter, branches bool) []float64 {
	at := bySide(rows, of, levels, e)
	out := make([]float64, levels)
	for l := range out {
		up, down := at[0][l], at[1][l]
		switch {
		case up.n == 0:
			up = down
		case down.n == 0:
			down = up
		}
		d := max(math.Abs(up.of()), math.Abs(down.of()))
		if !branches {
			d = math.Abs(up.of()+down.of()) / 2
		}
		out[l] = math.Sqrt(max(d*d-s.within*s.within/min(up.n, down.n), 0))
	}
	return out
}
