package sqlite

import (
	"slices"

	"weald/stream/record"
)

// A span is some consecutive numbers.
type span struct{ first, last uint64 }

// spans are numbers, as few spans as possible if they come in order.
type spans []span

// add takes in a number.
func (s *spans) add(n uint64) {
	if k := len(*s); k > 0 && (*s)[k-1].last+1 == n {
		(*s)[k-1].last = n
		return
	}
	*s = append(*s, span{n, n})
}

// merged returns the same numbers in order, without overlaps.
func (s spans) merged() spans {
	all := slices.Clone(s)
	slices.SortFunc(all, func(a, b span) int {
		if a.first < b.first {
			return -1
		} else if a.first > b.first {
			return 1
		}
		return 0
	})
	var out spans
	for _, r := range all {
		if k := len(out); k > 0 && r.first <= out[k-1].last+1 {
			out[k-1].last = max(out[k-1].last, r.last)
			continue
		}
		out = append(out, r)
	}
	return out
}

// missing returns which of the numbers first…last of a source are neither there
// nor retired.
func missing(first, last uint64, source string, retired []record.Retired, there spans) spans {
	have := slices.Clone(there)
	for _, r := range retired {
		if r.Source == source {
			have = append(have, span{r.First, r.Last})
		}
	}
	var out spans
	next := first
	for _, r := range have.merged() {
		if r.first > last {
			break
		}
		if r.first > next {
			out = append(out, span{next, r.first - 1})
		}
		next = max(next, r.last+1)
	}
	if next <= last {
		out = append(out, span{next, last})
	}
	return out
}
