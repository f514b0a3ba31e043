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
}

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
	return Band{hi: [2]float64{hi, less(hi, deadband)}, lo: [2]float64{lo, -less(-lo, deadband)}}
}

// less returns limit - deadband as the decimal that a person would write for
// it: 0.3 - 0.1 is 0.2, not 0.19999999999999998, or a reading of exactly 0.2
// would count as above it.
func less(limit, deadband float64) float64 {
	d := limit - deadband
	if math.IsInf(d, 0) || d == 0 {
		return d
	}
	scale := math.Pow(10, 12-math.Ceil(math.Log10(math.Max(math.Abs(limit), math.Abs(deadband)))))
	if r := math.Round(d*scale) / scale; !math.IsNaN(r) && !math.IsInf(r, 0) {
		return r
	}
	return d
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
	lo, hi := b.lo[0], b.hi[0]
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
