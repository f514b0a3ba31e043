package rules

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// A site with at least leastToDisagree members drops one that differs from the
// median of the others by more than mostDiffering combined standard
// uncertainties for dropAfter, and takes it back when it has agreed for backAfter.
const (
	leastToDisagree = 3
	mostDiffering   = 3.0
	dropAfter       = 30 * time.Second
	backAfter       = 60 * time.Second
)

// doubting is how long is what: the hold of a disagreement.
var doubting = hold.Spec{OnDelay: dropAfter, OffDelay: backAfter, ForgetAfter: DefaultForgetAfter}

// disagree finds out which members differ from the others now.
//
// The others are those that are known and not in doubt themselves, and at least
// two. One that is far off moves the median of two others, so the one that
// differs most is put aside first and the rest are judged without it, until none
// differs. Where half or more of the members would be put aside, nobody can tell
// who is right: none differs and none agrees. The same goes for a member of
// which the uncertainty is not known, its own or that of the others.
//
// What the members have in common, the reference, does not count: it makes no
// difference between them.
func (s *siteState) disagree() {
	if len(s.members) < leastToDisagree {
		return
	}
	aside, known := 0, 0
	for i := range s.members {
		m := &s.members[i]
		if m.differs = sample.Maybe; m.known() {
			known++
			if m.doubt.Raised {
				aside++
			}
		}
	}
	for {
		worst, most := -1, 1.0
		for i := range s.members {
			m := &s.members[i]
			if !m.counts() || m.differs == sample.Yes {
				continue
			}
			r := s.ratio(i)
			if m.differs = sample.No; math.IsNaN(r) {
				m.differs = sample.Maybe
			}
			if r > most {
				worst, most = i, r
			}
		}
		if worst < 0 {
			break
		}
		s.members[worst].differs = sample.Yes
		aside++
	}
	for i := range s.members {
		if m := &s.members[i]; m.known() && m.doubt.Raised {
			if r := s.ratio(i); !math.IsNaN(r) {
				m.differs = sample.Of(r > 1)
			}
		}
	}
	for i := range s.members { // last, as the others' ratios go by who differs
		if m := &s.members[i]; 2*aside >= known && !m.doubt.Raised {
			m.differs = sample.Maybe
		}
	}
}

// ratio returns how far member i is from the median of the others, as a share of
// how far it may be; NaN where that cannot be said.
func (s *siteState) ratio(i int) float64 {
	var buffer [16]float64
	others, uu := buffer[:0], 0.0
	for k := range s.members {
		if m := &s.members[k]; k != i && m.counts() && m.differs != sample.Yes {
			others = append(others, m.value)
			uu += m.u * m.u
		}
	}
	n := len(others)
	if n < leastToDisagree-1 {
		return math.NaN()
	}
	slices.Sort(others)
	median := (others[(n-1)/2] + others[n/2]) / 2
	uu /= float64(n * n)
	if n > 2 {
		uu *= math.Pi / 2 // a median scatters more than a mean: the limit for many normal values
	}
	m := &s.members[i]
	return math.Abs(m.value-median) / (mostDiffering * math.Sqrt(m.u*m.u+uu))
}

// pass lets time pass with the members as they are.
func (s *siteState) pass(span time.Duration) {
	if len(s.members) < leastToDisagree {
		return
	}
	for i := range s.members {
		m := &s.members[i]
		if change, _ := m.doubt.Advance(&doubting, span, m.differs); change != hold.None {
			s.turned = true
		}
	}
}

// turns says in how much time a member is dropped or comes back; false if time
// alone changes nothing.
func (s *siteState) turns() (in time.Duration, ok bool) {
	if len(s.members) < leastToDisagree {
		return 0, false
	}
	for i := range s.members {
		m := &s.members[i]
		if need, will := m.doubt.Next(&doubting, m.differs); will && (!ok || need < in) {
			in, ok = need, true
		}
	}
	return in, ok
}
