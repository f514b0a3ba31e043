package config

import "weald/rules"

// A band is a part of a bed's length, up to a share of it from the head.
type band struct {
	id string
	to float64
}

// bedBands split a bed: our own split, common practice, no source.
var bedBands = []band{
	{"head", 0.12}, {"shoulders", 0.25}, {"back", 0.42}, {"pelvis", 0.58}, {"thighs", 0.75}, {"calves", 0.90}, {"heels", 1},
}

// template returns the regions of a mat for which the file gives none. Bands
// without a cell, on a very short mat, are left out.
func template(kind rules.PlaceKind, m *Mat) []Region {
	switch kind {
	case rules.Bed:
		return bedRegions(m)
	case rules.Seat:
		return seatRegions(m)
	}
	return nil
}

func bedRegions(m *Mat) []Region {
	n := m.Rows
	if m.Head == FirstColumn || m.Head == LastColumn {
		n = m.Columns
	}
	var out []Region
	first := 0
	for _, b := range bedBands {
		last := first
		for last < n && (float64(last)+0.5)/float64(n) <= b.to {
			last++
		}
		if last > first {
			out = append(out, m.fromHead(b.id, first, last-1))
		}
		first = last
	}
	return out
}

// fromHead returns the lines first to last across the person, counted from the
// edge at the head.
func (m *Mat) fromHead(id string, first, last int) Region {
	r := Region{ID: id, Rows: [2]int{0, m.Rows - 1}, Columns: [2]int{0, m.Columns - 1}}
	switch m.Head {
	case FirstRow:
		r.Rows = [2]int{first, last}
	case LastRow:
		r.Rows = [2]int{m.Rows - 1 - last, m.Rows - 1 - first}
	case FirstColumn:
		r.Columns = [2]int{first, last}
	case LastColumn:
		r.Columns = [2]int{m.Columns - 1 - last, m.Columns - 1 - first}
	}
	return r
}

// seatRegions are the quarters of a seat as the seated person sees them. With
// an odd number of rows or columns the middle ones go to the back and to the
// right. A seat of one row or one column has no quarters.
func seatRegions(m *Mat) []Region {
	depth, width := m.Rows, m.Columns
	sideways := m.Head == FirstColumn || m.Head == LastColumn
	if sideways {
		depth, width = width, depth
	}
	if depth < 2 || width < 2 {
		return nil
	}
	back := [2]int{0, (depth+1)/2 - 1} // counted from the back edge
	front := [2]int{(depth + 1) / 2, depth - 1}
	left := [2]int{0, width/2 - 1} // counted from the person's left
	right := [2]int{width / 2, width - 1}

	quarter := func(id string, along, across [2]int) Region {
		// The person looks away from the back edge. Seen from above that puts
		// their left at the right of the map for first_row, at its left for
		// last_row, at its top for first_column, at its bottom for last_column.
		if m.Head == LastRow || m.Head == LastColumn {
			along = flip(along, depth)
		}
		if m.Head == FirstRow || m.Head == LastColumn {
			across = flip(across, width)
		}
		if sideways {
			along, across = across, along
		}
		return Region{ID: id, Rows: along, Columns: across}
	}
	return []Region{
		quarter("front_left", front, left), quarter("front_right", front, right),
		quarter("back_left", back, left), quarter("back_right", back, right),
	}
}

// flip counts a span of n lines from the other end.
func flip(span [2]int, n int) [2]int { return [2]int{n - 1 - span[1], n - 1 - span[0]} }
