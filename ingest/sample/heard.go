package sample

import (
	"slices"
	"time"
)

// A Heard is what is remembered of a scan to know its frames when they come
// again, and to go on with the clock of its device.
type Heard struct {
	First, Seq  uint32 // of its frames
	Millis      uint32 // what the device's counter said
	At, Arrived Instant
	Stored      bool // it was recorded earlier and sent late
}

// How many of the last scans of a source are remembered: all that arrived within
// HeardFor before the newest, but at least LeastHeard and at most MostHeard. A link
// that was not told that frames arrived may deliver so many again.
const (
	LeastHeard = 256
	MostHeard  = 8192
	HeardFor   = time.Minute
)

// Lately are the last scans of sources, by what these are called: what has to be known so
// that frames which come again are repeats, and device clocks go on.
type Lately map[string][]Heard

// Hear notes a scan of a source, if its device counts: its readings do not matter.
func (l Lately) Hear(source string, s *Scan) {
	if s.Counted {
		l.Add(source, Heard{First: s.First, Seq: s.Seq, Millis: s.Millis, At: s.At, Arrived: s.Arrived, Stored: s.Stored})
	}
}

// Add notes what is remembered of a scan.
func (l Lately) Add(source string, h Heard) {
	all := l[source]
	if len(all) == cap(all) && len(all) >= 2*LeastHeard {
		if last := lately(all); len(last) <= len(all)/2 { // moved seldom, and grown until that is enough
			all = all[:copy(all, last)]
		}
	}
	l[source] = append(all, h)
}

// Last returns the last scans of a source, in the order in which they came.
func (l Lately) Last(source string) []Heard { return lately(l[source]) }

// lately returns the end of all that is remembered.
func lately(all []Heard) []Heard {
	n := min(len(all), LeastHeard)
	for n < min(len(all), MostHeard) && all[len(all)-1].Arrived.Sub(all[len(all)-1-n].Arrived) < HeardFor {
		n++
	}
	return all[len(all)-n:]
}

// Clone returns a copy that whoever owns it may add to, while the other is read.
func (l Lately) Clone() Lately {
	out := make(Lately, len(l))
	for source, all := range l {
		out[source] = slices.Clone(lately(all))
	}
	return out
}
