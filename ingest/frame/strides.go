package frame

// Of a frame with many short runs, most of the time of a walk from code to code is spent
// waiting: where the next one is, only the last one tells. So such a frame is walked from
// four codes at once, three of which are guesses: whoever begins anywhere and goes on as
// if it had found a code comes upon a true one after a few runs, and from there on upon
// nothing else. Whether it did shows when the walk before it arrives just there.

const (
	stridesFrom = 512 // bytes of a frame from which it pays
	guessRuns   = 24  // runs that a guess takes to come upon a code

	// Of all runs of the guesses: if as many are empty the frame is walked faster eight
	// at a time, and if they have as many bytes there are few to wait for.
	mostEmpty = 3 * guessRuns * 4 / 5
	mostBytes = 3 * guessRuns * 16
)

// guess returns where three walks are to begin, about a quarter of b from each other, or
// false where one walk is as good.
func guess(b []byte) (x, y, z int, ok bool) {
	if len(b) < stridesFrom {
		return 0, 0, 0, false
	}
	quarter := len(b) / 4
	x, y, z = quarter, 2*quarter, 3*quarter
	empty := 0
	for range guessRuns {
		if x >= len(b) || y >= len(b) || z >= len(b) {
			return 0, 0, 0, false
		}
		c, d, e := int(b[x]), int(b[y]), int(b[z])
		x, y, z = x+c, y+d, z+e
		empty -= (c-2)>>8 + (d-2)>>8 + (e-2)>>8 // one less than zero for a code of 1
	}
	ok = x < y && y < z && z < len(b) && empty < mostEmpty && x+y+z-6*quarter < mostBytes
	return x, y, z, ok
}

// strideCOBS decodes b in place, from its beginning and from three guesses, and reports
// whether they were right, the frame ends with a run and none is a full one. If not, b is
// spoilt. It needs all registers, and stays out of its caller also where a build by a
// profile would put it there.
//
//go:noinline
func strideCOBS(b []byte, x, y, z int) bool {
	var ended [1]byte // where a walk that has ended stays: its run is of no bytes
	p, q, r, s := b[:x], b[:y], b[:z], b
	i, j, k, l := uint(0), uint(x), uint(y), uint(z)
	full := uint(0)
	for range 4 {
		for i < uint(len(p)) && j < uint(len(q)) && k < uint(len(r)) && l < uint(len(s)) {
			c, d, e, f := uint(p[i]), uint(q[j]), uint(r[k]), uint(s[l])
			p[i], q[j], r[k], s[l] = 0, 0, 0, 0
			i, j, k, l = i+c, j+d, k+e, l+f
			full |= (c + 1) | (d + 1) | (e + 1) | (f + 1)
		}
		switch {
		case i >= uint(len(p)):
			if i > uint(len(p)) {
				return false
			}
			p, i = ended[:], 0
		case j >= uint(len(q)):
			if j > uint(len(q)) {
				return false
			}
			q, j = ended[:], 0
		case k >= uint(len(r)):
			if k > uint(len(r)) {
				return false
			}
			r, k = ended[:], 0
		default:
			if l > uint(len(s)) {
				return false
			}
			s, l = ended[:], 0
		}
	}
	return full&(fullRun+1) == 0
}
