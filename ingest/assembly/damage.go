package assembly

import (
	"math"
	"math/bits"
)

// What makes a scan suspect; the package documentation says why.
const (
	coarseStep   = 256 // a reading that is a multiple of it has an empty low byte
	suspectOf    = 32  // readings >= coarseStep that there must be, at least
	suspectKinds = 8   // different multiples among them, at least

	glanceFrom = 1024 // channels from which a glance pays
	glanceAt   = 5    // multiples in every fourth channel that make a second look worth it
)

// suspect reports whether raw bears the signature of damage: of its readings
// >= 256, which are at least 32 and all whole numbers, more than half are
// multiples of 256, and of at least 8 different ones. NaN is no reading.
//
// It meets every cell of every mat, and a glance settles the common case: damage
// goes through a whole scan, so in a large one it has to show in every fourth
// channel already, by a few multiples that an honest scan does not have unless
// it has thousands of large readings.
func suspect(raw []float64) bool {
	if len(raw) >= glanceFrom && !glance(raw) {
		return false
	}
	large, multiples, kinds := 0, 0, 0
	var seen [256]bool // multiples beyond 65,535 share their places
	for _, v := range raw {
		if !(v >= coarseStep) {
			continue
		}
		if v != math.Trunc(v) {
			return false
		}
		large++
		if k := v / coarseStep; k == math.Trunc(k) {
			multiples++
			if at := &seen[uint8(uint64(k))]; !*at {
				*at = true
				kinds++
			}
		}
	}
	return large >= suspectOf && 2*multiples > large && kinds >= suspectKinds
}

// glance reports whether every fourth channel of raw has at least glanceAt
// multiples of 256 other than 0.
//
// Adding 2^52 to a number below it leaves its whole part in the low bits of the
// sum. Turned by a byte, the low byte comes to lie above the rest, so that one
// subtraction and one shift tell "low byte empty, and not 0 altogether". A
// fraction is rounded away, which only makes the answer yes more often, and NaN
// has too many bits set to pass.
func glance(raw []float64) bool {
	const (
		whole = 1 << 52
		turn  = -8
		one   = 0x433<<44 + 1 // the exponent of 2^52, turned; and 1, to make 0 wrap
	)
	found := 0
	for i := 0; i < len(raw); i += 4 {
		if (bits.RotateLeft64(math.Float64bits(raw[i]+whole), turn)-one)>>48 == 0 {
			found++
		}
	}
	return found >= glanceAt
}

// digits says how a scan without the signature counts.
type digits uint8

const (
	mute   digits = iota // no reading but 0: nothing to tell by
	coarse               // mostly in multiples of 256
	fine                 // mostly not
)

func digitsOf(raw []float64) digits {
	some, multiples := 0, 0
	for _, v := range raw {
		if v > 0 {
			some++
			if k := v / coarseStep; k == math.Trunc(k) {
				multiples++
			}
		}
	}
	switch {
	case some == 0:
		return mute
	case 2*multiples > some:
		return coarse
	}
	return fine
}
