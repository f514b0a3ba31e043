package hold

import (
	"math"

	"weald/ingest/sample"
)

// A Band is a limit with a deadband. A value is beyond it above hi or below lo;
// once beyond, it stays so until it is back inside by the deadband. The two
// sides remember apart: a value that was too high is not held "beyond" by the
// deadband of the low side.
type Band struct {
	hi [2]float64 // the upper bound, without and with the memory of having been above
	lo [2]float64 // the lower bound likewise

	limit [2]float64 // lower and upper, as asked
}

// exact is by how much a value must pass a bound to be beyond it. Means and
// calibrated readings carry the rounding of binary arithmetic; without this a
// mean of 9.3, 9.4 and 11.3 would be above 10. It is far below what any sensor
// resolves.
const exact = 1e-9

// A Memory is what a Band remembers of the last known value. Its zero value is
// "inside".
type Memory uint8

const (
	wasAbove Memory = 1 << iota
	wasBelow
)

// Above is beyond when v > limit, and stays so while v > limit - deadband.
func Above(limit, deadband float64) Band {
	return Outside(math.Inf(-1), limit, deadband)
}

// Below is beyond when v < limit, and stays so while v < limit + deadband.
func Below(limit, deadband float64) Band {
	return Outside(limit, math.Inf(1), deadband)
}

// Outside is either of the two.
func Outside(lo, hi, deadband float64) Band {
	return Band{
		hi:    [2]float64{hi + exact, hi - deadband + exact},
		lo:    [2]float64{lo - exact, lo + deadband - exact},
		limit: [2]float64{lo, hi},
	}
}

// Judge says whether v is beyond the band, given the memory, and what to
// remember next. NaN is unknown and changes no memory.
func (b *Band) Judge(v float64, m Memory) (sample.Truth, Memory) {
	if v != v {
		return sample.Maybe, m
	}
	above, below := v > b.hi[m&1], v < b.lo[m>>1&1]
	switch {
	case above:
		return sample.Yes, wasAbove
	case below:
		return sample.Yes, wasBelow
	}
	return sample.No, 0
}

// Limit returns the bound that v is compared with: the one that it is beyond,
// or else the nearer one. For a value nobody knows it is the upper one, where
// there is one.
func (b *Band) Limit(v float64) float64 {
	lo, hi := b.limit[0], b.limit[1]
	switch {
	case math.IsInf(lo, -1):
		return hi
	case math.IsInf(hi, 1):
		return lo
	case v < (lo+hi)/2:
		return lo
	}
	return hi
}
