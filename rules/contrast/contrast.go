package contrast

import (
	"cmp"
	"slices"
	"time"

	"weald/ingest/sample"
)

// A Kind is what becomes of an alert under the other rules.
type Kind string

// The kinds.
const (
	Comes Kind = "comes" // only the second rules raise it
	Goes  Kind = "goes"  // only the first rules raise it
	Moves Kind = "moves" // both do, at other times, of another subject or with another priority
	Stays Kind = "stays" // both do, alike
)

// A Change is an alert under both rules. Before is nil for one that comes, After
// for one that goes.
type Change struct {
	Kind          Kind
	Before, After *Episode
}

func (c *Change) any() *Episode {
	if c.Before != nil {
		return c.Before
	}
	return c.After
}

func (c *Change) begin() sample.Instant {
	if c.Before != nil && c.After != nil {
		return min(c.Before.From, c.After.From)
	}
	return c.any().From
}

// Counts says how many there are of each kind.
type Counts struct{ Comes, Goes, Moves, Stays int }

// Count counts changes.
func Count(changes []Change) (n Counts) {
	for i := range changes {
		switch changes[i].Kind {
		case Comes:
			n.Comes++
		case Goes:
			n.Goes++
		case Moves:
			n.Moves++
		default:
			n.Stays++
		}
	}
	return n
}

// Compare pairs what two rule sets raised. Every episode is in one change, and
// the changes are in order of their begin.
func Compare(before, after []Episode) []Change {
	partner := pairs(before, after)
	taken := make([]bool, len(after))
	var out []Change
	for i := range before {
		c := Change{Kind: Goes, Before: &before[i]}
		if k := partner[i]; k >= 0 {
			taken[k] = true
			c.After, c.Kind = &after[k], Moves
			if c.Before.same(c.After) {
				c.Kind = Stays
			}
		}
		out = append(out, c)
	}
	for k := range after {
		if !taken[k] {
			out = append(out, Change{Kind: Comes, After: &after[k]})
		}
	}
	return sorted(out)
}

// A match is two episodes that could be the same.
type match struct {
	before, after int
	apart         bool // of different subjects
	shared        time.Duration
}

// pairs finds for every episode before its partner after, or -1: the best
// matches first, each episode once.
func pairs(before, after []Episode) []int {
	partner := make([]int, len(before))
	for i := range partner {
		partner[i] = -1
	}
	matches := matching(before, after)
	slices.SortStableFunc(matches, func(a, b match) int {
		switch {
		case a.apart != b.apart && b.apart:
			return -1
		case a.apart != b.apart:
			return +1
		}
		return cmp.Compare(b.shared, a.shared)
	})
	taken := make([]bool, len(after))
	for _, m := range matches {
		if partner[m.before] < 0 && !taken[m.after] {
			partner[m.before], taken[m.after] = m.after, true
		}
	}
	return partner
}

// matching finds everything that could be the same. Episodes are looked at in
// order of their begin, so that each sees only those that stand with it.
func matching(before, after []Episode) (out []match) {
	type rule struct{ place, rule string }
	of := map[rule][]int{}
	for k := range after {
		r := rule{after[k].Place, after[k].Rule}
		of[r] = append(of[r], k)
	}
	first := map[rule]int{} // of those that have not ended before what is looked at
	for i := range before {
		b := &before[i]
		r := rule{b.Place, b.Rule}
		list := of[r]
		for first[r] < len(list) && after[list[first[r]]].To < b.From {
			first[r]++
		}
		for _, k := range list[first[r]:] {
			a := &after[k]
			if a.From > b.To {
				break
			}
			if shared, ok := b.shares(a); ok {
				out = append(out, match{i, k, a.Subject != b.Subject, shared})
			}
		}
	}
	return out
}
