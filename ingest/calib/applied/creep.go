package applied

import (
	"math"
	"math/bits"
	"time"

	"weald/ingest/calib/curve"
	"weald/ingest/sample"
)

// A crept is what the creep does to a channel's stretch at the age that its load
// has: a logarithm costs more than all else, and a load that stays has the same age
// for many scans, to what counts.
type crept struct {
	until        sample.Instant // from then on the age is another
	p, dp        float64        // the stretch without creep
	uu, level    float32        // square of its uncertainty, and the pressure in its middle
	perDecade    float32        // as of a curve.Creep
	dwell, doubt float32        // its dwell in decades, its uncertainty
	vague        float32        // what share of a pressure is in doubt at the age
	shrink       float64        // what a pressure is to be multiplied by
}

func newCrept(c *curve.Creep) crept {
	if c == nil {
		return crept{until: sample.Never}
	}
	return crept{until: sample.Past, perDecade: float32(c.PerDecade), dwell: float32(math.Log10(1 + c.Dwell)), doubt: float32(c.U)}
}

// begin forgets the age.
func (c *crept) begin() {
	if c.until != sample.Never {
		c.until = sample.Past
	}
}

// The age of a load counts to one in 1<<finestAge, and from leastAge on. The
// longest is more than a year.
const (
	finestAge = 4
	leastAge  = 20 // as a power of 2 ns: a millisecond
	mostAge   = 56
)

// decades has log10(1 + age/1 s) in the middle of what counts as one age, so that
// many cells on which something is put at once cost no logarithm each.
var decades = func() (table [(mostAge - leastAge) << finestAge]float32) {
	for i := range table {
		octave, part := i>>finestAge+leastAge, i&(1<<finestAge-1)
		age := time.Duration(2<<finestAge+2*part+1) << (octave - finestAge - 1)
		table[i] = float32(math.Log10(1 + age.Seconds()))
	}
	return table
}()

// ripen lets a load be as old as it is at an instant.
func (c *crept) ripen(since, at sample.Instant) {
	age := max(at.Sub(since), 0)
	d := float32(0)
	if octave := bits.Len64(uint64(age)) - 1; octave < leastAge {
		c.until = at.Add(1<<leastAge - age)
	} else {
		part := octave - finestAge
		c.until = at.Add(age>>part<<part + 1<<part - age)
		d = decades[min(octave-leastAge, mostAge-leastAge-1)<<finestAge|int(age>>part)&(1<<finestAge-1)]
	}
	c.shrink = (1 + float64(float64(c.perDecade)*float64(c.dwell))) / (1 + float64(float64(c.perDecade)*float64(d)))
	c.vague = c.doubt * (d - c.dwell)
}

// lay puts the stretch where it is at the age, and returns the square of the
// uncertainty.
func (c *crept) lay(t *stretch) float64 {
	t.p, t.dp = c.p*c.shrink, c.dp*c.shrink
	doubt := float64(c.level) * c.shrink * float64(c.vague)
	return float64(c.uu) + float64(doubt*doubt)
}

// flock is how many channels are looked at together to see whether the load of one
// of them has another age.
const flock = 64

// ripen lets the loads of all channels be as old as they are at an instant.
func (s *source) ripen(at sample.Instant) {
	for f, due := range s.due {
		if at < due {
			continue
		}
		due = sample.Never
		for k := f * flock; k < min((f+1)*flock, len(s.crepts)); k++ {
			c := &s.crepts[k]
			if t := &s.stretches[k]; at >= c.until && t.width > 0 {
				c.ripen(s.courses[k].Since(), at)
				s.u[s.channels[k].index] = math.Sqrt(c.lay(t))
			}
			if c.until > at {
				due = min(due, c.until)
			}
		}
		s.due[f] = due
	}
}
