package history

import "slices"

// Succeed takes over from another memory, to which nothing is told any more, what a
// place there, which is this place now, did: of the series that both have, and its maps,
// if the mat has the same form. What is taken over is no longer there. It returns, by
// series here, which series there it was, -1 for none.
func (s *Store) Succeed(place int, former *Store, was int, sameMat bool) []int {
	p, old := &s.places[place], &former.places[was]
	old.mu.Lock()
	defer old.mu.Unlock()
	from := make([]int, len(p.series))
	for k := range p.series {
		from[k] = slices.Index(old.series, p.series[k])
		if j := from[k]; j >= 0 {
			p.tiers[k], p.told[k] = old.tiers[j], old.told[j]
			old.tiers[j] = tier{}
		}
	}
	p.rows = old.rows.with(len(p.series), from)
	if sameMat && p.peak >= 0 {
		p.grid = old.grid
	}
	return from
}

// with returns the rows with other series, each of which was one of these or is absent.
func (r *rows) with(width int, from []int) rows {
	out := rows{width: width}
	for n := r.first(); n < r.next; n++ {
		i, was := r.index(n), r.row(n)
		row := out.add(r.at[i], r.came[i])
		for k, j := range from {
			if row[k] = absent; j >= 0 {
				row[k] = was[j]
			}
		}
	}
	return out
}
