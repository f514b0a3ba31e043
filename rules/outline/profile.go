package outline

import "math"

// A profile is the load of each row from head to feet, drawn over some width.
type profile []float64

func (s *sheet) profile() profile {
	sums := make(profile, s.Rows)
	for r := range sums {
		sums[r] = s.load(box{r, r, 0, s.Columns - 1})
	}
	reach := int(math.Round((drawn/s.AlongMM - 1) / 2))
	if reach < 1 {
		return sums
	}
	// A triangle, whose middle counts most.
	p := make(profile, len(sums))
	for r := range p {
		weight := 0.0
		for k := -reach; k <= reach; k++ {
			if 0 <= r+k && r+k < len(sums) {
				w := float64(reach + 1 - max(k, -k))
				p[r] += w * sums[r+k]
				weight += w
			}
		}
		p[r] /= weight
	}
	return p
}

// heaviest returns the row with the most load from one row to another, the first
// of equals. Rows beyond the ends are left out; at least one must be within.
func (p profile) heaviest(from, to int) int {
	from, to = max(from, 0), min(to, len(p)-1)
	at := from
	for r := from; r <= to; r++ {
		if p[r] > p[at] {
			at = r
		}
	}
	return at
}

// summit returns the heaviest row within from and to that its neighbours do not
// surpass, and false where the load only rises or only falls.
func (p profile) summit(from, to int) (at int, ok bool) {
	for r := max(from, 1); r <= min(to, len(p)-2); r++ {
		if p[r] >= p[r-1] && p[r] >= p[r+1] && (!ok || p[r] > p[at]) {
			at, ok = r, true
		}
	}
	return at, ok
}

// ends returns the first and the last row of the outline.
func (p profile) ends() (first, last int) {
	least := edgeLoad * p[p.heaviest(0, len(p)-1)]
	for last = len(p) - 1; last > 0 && p[last] < least; last-- {
	}
	for first < last && p[first] < least {
		first++
	}
	return first, last
}

// centre is the row in which the load's middle is.
func (p profile) centre() float64 {
	sum, by := 0.0, 0.0
	for r, v := range p {
		sum, by = sum+v, by+v*float64(r)
	}
	return by / sum
}
