package hold

import (
	"math"

	"weald/ingest/sample"
)

// A Certain is a band that is judged by probability: a value is beyond it while
// the probability that the true value is beyond is at least P, where the value
// and its standard uncertainty are the mean and the spread of a normal
// distribution (JCGM 106). For one bound that is the bound moved by a guard
// band of z(P) uncertainties; for two it is the sum of both tails.
//
// The deadband moves the bounds as it does for a Band. A P of 0.5 compares the
// value itself, exactly as a Band does.
//
// Where the uncertainty of a value is not known, its probability is not either,
// and the safe side is the one that speaks. A value that is beyond is beyond with
// at least 0.5, so it counts as beyond whatever P is: that somebody asked to be
// sure must not silence a sensor of which nobody knows how good it is. For a
// value within, P above 0.5 says No; below 0.5 it cannot be excluded that the
// truth is beyond, nor be said, and the answer is Maybe, which clears nothing.
type Certain struct {
	Band
	p float64
	z float64 // of the standard normal distribution, at p; 0 for 0.5 exactly
}

// Half is the certainty that compares the value itself.
const Half = 0.5

// At returns the band judged with certainty p, 0 < p < 1.
func (b Band) At(p float64) Certain {
	c := Certain{Band: b, p: p}
	if p != Half {
		c.z = math.Sqrt2 * math.Erfinv(2*p-1)
	}
	return c
}

// Plain reports whether the value itself is compared.
func (c *Certain) Plain() bool { return c.p == Half }

// Certainty returns P.
func (c *Certain) Certainty() float64 { return c.p }

// Judge is Band.Judge for a value with its standard uncertainty, NaN unknown.
func (c *Certain) Judge(v, u float64, m Memory) (sample.Truth, Memory) {
	switch {
	case c.p == Half || v != v:
		return c.Band.Judge(v, m)
	case !(u >= 0): // which NaN is not
		return c.unstated(v, m)
	}
	// At least P: a value on the moved bound is beyond it, so exact counts the
	// other way than where more is asked than the bound itself.
	hi, lo := c.hi[m&1]-2*exact, c.lo[m>>1&1]+2*exact
	above, below := v-c.z*u > hi, v+c.z*u < lo
	switch {
	case above && below: // wide doubt: the nearer side is the one to remember
		if hi-v <= v-lo {
			return sample.Yes, wasAbove
		}
		return sample.Yes, wasBelow
	case above:
		return sample.Yes, wasAbove
	case below:
		return sample.Yes, wasBelow
	}
	if up, down := tail((hi-v)/u), tail((v-lo)/u); up > 0 && down > 0 && up+down >= c.p {
		if up >= down {
			return sample.Yes, wasAbove
		}
		return sample.Yes, wasBelow
	}
	return sample.No, 0
}

// unstated judges a value whose uncertainty is not known.
func (c *Certain) unstated(v float64, m Memory) (sample.Truth, Memory) {
	truth, next := c.Band.Judge(v, m)
	if truth == sample.No && c.p < Half {
		return sample.Maybe, m
	}
	return truth, next
}

// tail is the probability that a standard normal number is above z: 0 at +Inf.
func tail(z float64) float64 { return math.Erfc(z/math.Sqrt2) / 2 }
