package assembly

import (
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// A memory has the frames that were taken lately: those of the last
// sample.HeardFor, but at least sample.LeastHeard and at most sample.MostHeard.
// By it those are known that a link delivers once more. Other than the sequence
// it does not begin anew with the device. The nil memory has none.
type memory struct {
	all   []known // a ring, once it is full
	next  int     // where the oldest is then
	found int     // where the one was that came again last
}

// A known frame. What is not known of one that a former Assembler had is its
// channels (anyReadings) and its digest (0).
type known struct {
	seq, ms uint32
	first   int32
	digest  uint32
	arrival sample.Instant
}

func newMemory() *memory { return &memory{all: make([]known, 0, sample.LeastHeard)} }

// add notes a frame, and forgets the oldest if that has become too old.
func (m *memory) add(r received, arrival sample.Instant) {
	if m == nil {
		return
	}
	k := known{seq: r.seq, ms: r.ms, first: int32(r.first), digest: r.digest, arrival: arrival}
	switch n := len(m.all); {
	case n < cap(m.all):
		m.all = append(m.all, k)
	case n < sample.MostHeard && arrival.Sub(m.all[m.next].arrival) < sample.HeardFor:
		grown := make([]known, 0, 2*n)
		grown = append(append(grown, m.all[m.next:]...), m.all[:m.next]...)
		m.all, m.next, m.found = append(grown, k), 0, (m.found+n-m.next)%n
	default:
		m.all[m.next] = k
		m.next = (m.next + 1) % n
	}
}

// has reports whether a frame is one of those. They are delivered again in the
// order in which they came, so it looks behind the one before.
func (m *memory) has(r received) bool {
	if m == nil {
		return false
	}
	for i := range m.all {
		if i += m.found + 1; i >= len(m.all) {
			i -= len(m.all)
		}
		if m.all[i].is(&r) {
			m.found = i
			return true
		}
	}
	return false
}

func (k *known) is(r *received) bool {
	return k.seq == r.seq && k.ms == r.ms && (k.first == int32(r.first) || k.first == anyReadings) &&
		(k.digest == r.digest || k.digest == 0 || r.digest == 0)
}

// step moves arrivals with the host's clock.
func (m *memory) step(by time.Duration) {
	if m == nil {
		return
	}
	for i := range m.all {
		m.all[i].arrival = m.all[i].arrival.Add(by)
	}
}

// Remember says that the link of the source may deliver frames again (see
// Again): those that were taken are remembered from now on. Heard is what Recall
// was told. Once is enough.
func (a *Assembler) Remember(heard []sample.Heard) {
	if a.memory != nil || a.config.OwnTime || a.config.Unnumbered {
		return
	}
	a.memory = newMemory()
	eachFrame(heard, func(h *sample.Heard, seq uint32) {
		a.memory.add(received{seq: seq, ms: h.Millis, first: anyReadings}, h.Arrived)
	})
}

// Again takes a frame, as Frame does, that its link says it may have delivered
// before. If it is remembered it is a repeat, however many have come since and
// whether or not the device has started again. If it is not, it is a frame like any
// other: the link may well say so of one that never came here.
func (a *Assembler) Again(f *frame.Frame, arrival sample.Instant) *frame.Bad {
	return a.take(f, arrival, true)
}
