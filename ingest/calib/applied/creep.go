package applied

import (
	"math"
	"math/bits"
	"time"

	"weald/ingest/sample"
)

// A crept is what a creep does at the age that the load of one channel has: a
// logarithm costs more than all else, and a load that stays has the same age for
// many scans, to what counts.
type crept struct {
	until  sample.Instant // from then on the age is another
	shrink float64        // what a pressure is to be multiplied by
	uu     float64        // square of the share of a pressure that its uncertainty is
}

// The age of a load counts to one in 1<<finestAge, and from leastAge on. The
// longest is more than a year.
const (
	finestAge = 7
	leastAge  = 20 // as a power of 2 ns: a millisecond
	mostAge   = 56
)

// decades has log10(1 + age/1 s) for the ages that count, so that many cells on
// which something is put at once cost no logarithm each.
var decades = func() (table [(mostAge - leastAge) << finestAge]float64) {
	for i := range table {
		octave, part := i>>finestAge+leastAge, i&(1<<finestAge-1)
		age := time.Duration(1<<finestAge+part) << (octave - finestAge)
		table[i] = math.Log10(1 + age.Seconds())
	}
	return table
}()

// at prepares c for a load that is of some age at an instant, on a channel with
// creep.
func (c *crept) at(m *moves, at sample.Instant, age time.Duration) {
	age = max(age, 0)
	d := 0.0
	if octave := bits.Len64(uint64(age)) - 1; octave < leastAge {
		c.until = at.Add(1<<leastAge - age)
	} else {
		part := octave - finestAge
		whole := age >> part << part
		c.until = at.Add(whole + 1<<part - age)
		d = decades[min(octave-leastAge, mostAge-leastAge-1)<<finestAge|int(age>>part)&(1<<finestAge-1)]
	}
	c.shrink = (1 + m.creep.PerDecade*m.dwell) / (1 + m.creep.PerDecade*d)
	u := m.creep.U * (d - m.dwell)
	c.uu = u * u
}
