package rules

import (
	"math"

	"weald/ingest/sample"
	"weald/rules/hold"
)

// A siteState is the present of one site: a member's last value lasts until
// its source delivers again or falls silent.
type siteState struct {
	signal  int // index into place.signals
	spec    *Site
	feeds   []int // by member: index into place.feeds
	members []member
	turned  bool // a member was dropped or came back, and the signal does not know yet
}

// A member is one channel of a site as it is now.
type member struct {
	value        float64
	u, shared    float64 // parts of its standard uncertainty in mmHg, NaN where not known
	extrapolated bool
	expired      bool // its calibration is past its date

	stated  float64      // what the configuration states as u
	differs sample.Truth // from the others: see disagree
	doubt   hold.State   // raised while it is dropped
}

func (m *member) known() bool { return !sample.IsUnknown(m.value) }

// counts reports whether the member has a part in the site's pressure.
func (m *member) counts() bool { return m.known() && !m.doubt.Raised }

// take reads the members that come from feed out of a scan.
func (s *siteState) take(feed int, scan *sample.Scan) bool {
	touched := false
	for i, f := range s.feeds {
		if f != feed {
			continue
		}
		c := s.spec.Channels[i].Index
		m := &s.members[i]
		m.value, m.u, m.shared, m.extrapolated = scan.Values[c], m.stated, 0, false
		if scan.U != nil {
			m.u, m.shared, m.extrapolated = scan.U[c], scan.Shared[c], scan.Extrapolated[c]
		}
		m.expired = scan.Expired != nil && scan.Expired[c]
		touched = true
	}
	return touched
}

// silence forgets the members that come from feed.
func (s *siteState) silence(feed int) {
	for i, f := range s.feeds {
		if f == feed {
			s.members[i].value = sample.Unknown
		}
	}
}

// mean puts the members that count into the site's signal: their mean, as long as
// they are at least half of all. Its independent uncertainty is that of a mean of
// independent values. The shared parts are of one gauge, so that all are wrong
// together and the mean is as wrong as they are: the mean of the parts. The
// uncertainty is NaN unless every member that counts states one.
func (s *siteState) mean(to *Signal) {
	var sum, uu, shared float64
	to.Value, to.U, to.Shared, to.Extrapolated, to.Expired = sample.Unknown, sample.Unknown, sample.Unknown, false, false
	to.Known, to.Dropped = 0, 0
	for i := range s.members {
		m := &s.members[i]
		switch {
		case m.counts():
			sum += m.value
			uu += m.u * m.u
			shared += m.shared
			to.Known++
			to.Extrapolated, to.Expired = to.Extrapolated || m.extrapolated, to.Expired || m.expired
		case m.doubt.Raised:
			to.Dropped++
		}
	}
	if to.Known == 0 || 2*to.Known < len(s.members) {
		to.Extrapolated, to.Expired = false, false
		return
	}
	n := float64(to.Known)
	to.Value, to.U, to.Shared = sum/n, math.Sqrt(uu)/n, shared/n
	if shared != 0 { // which NaN is not
		to.U = math.Hypot(to.U, to.Shared)
	}
}
