package history

import "math/bits"

// first is the number of the oldest map that is remembered: the first of a group.
func (g *grid) first() int {
	n := max(0, g.next-oldMaps)
	return (n + mapGroup - 1) / mapGroup * mapGroup
}

// cells returns the codes of one of the maps that are remembered.
func (g *grid) cells(n int) []int16 {
	codes := make([]int16, g.now.Rows*g.now.Columns)
	for k := n / mapGroup * mapGroup; k <= n; k++ {
		unpack(codes, g.old[k%oldMaps].cells)
	}
	return codes
}

// A difference takes as many ones as fit into it with low bits cut off, a zero, and
// those bits (Rice 1979). From longest ones on it is written as it is instead.
const (
	longest   = 12
	wholeBits = 17 // enough for any difference of two codes
	mostLow   = 8  // bits that are cut off, at most
)

// zigzag makes small numbers of small differences, positive or negative.
func zigzag(code, before int16) uint32 {
	d := int32(code) - int32(before)
	return uint32(d<<1 ^ d>>31)
}

// pack appends by how much codes differ from those before: first how many low bits
// are cut off, then the differences. A body that lies still is noise, which is small:
// two bits a cell and a little more.
func pack(dst []byte, codes, before []int16) []byte {
	low := fewestBits(codes, before)
	w := writer{out: append(dst, byte(low))}
	for i, c := range codes {
		z := zigzag(c, before[i])
		if ones := z >> low; ones < longest {
			w.put(1<<ones-1, int(ones)+1)
			w.put(z&(1<<low-1), low)
			continue
		}
		w.put(1<<longest-1, longest)
		w.put(z, wholeBits)
	}
	return w.end()
}

// fewestBits is how many low bits to cut off for the shortest text.
func fewestBits(codes, before []int16) int {
	var all [mostLow + 1]int
	for i, c := range codes {
		z := zigzag(c, before[i])
		for low := range all {
			if ones := z >> low; ones < longest {
				all[low] += int(ones) + 1 + low
			} else {
				all[low] += longest + wholeBits
			}
		}
	}
	best := 0
	for low, n := range all {
		if n < all[best] {
			best = low
		}
	}
	return best
}

// unpack adds to codes what pack has written.
func unpack(codes []int16, b []byte) {
	low := int(b[0])
	r := reader{in: b[1:]}
	for i := range codes {
		var z uint32
		if ones := r.ones(); ones < longest {
			z = uint32(ones)<<low | r.get(low)
		} else {
			z = r.get(wholeBits)
		}
		codes[i] += int16(int32(z>>1) ^ -int32(z&1))
	}
}

// A writer writes bits, the low ones of a byte first.
type writer struct {
	out  []byte
	bits uint64
	n    int
}

// put writes the n low bits of v, n at most 32.
func (w *writer) put(v uint32, n int) {
	w.bits |= uint64(v) << w.n
	for w.n += n; w.n >= 8; w.n -= 8 {
		w.out = append(w.out, byte(w.bits))
		w.bits >>= 8
	}
}

func (w *writer) end() []byte {
	w.put(0, 7) // what is begun is written
	return w.out
}

// A reader reads what a writer wrote.
type reader struct {
	in   []byte
	bits uint64
	n    int
}

func (r *reader) fill() {
	for ; r.n <= 32 && len(r.in) > 0; r.in = r.in[1:] {
		r.bits |= uint64(r.in[0]) << r.n
		r.n += 8
	}
}

func (r *reader) get(n int) uint32 {
	r.fill()
	v := uint32(r.bits) & (1<<n - 1)
	r.bits >>= n
	r.n -= n
	return v
}

// ones reads ones, and the zero that ends them unless they are longest.
func (r *reader) ones() int {
	r.fill()
	n := min(bits.TrailingZeros64(^r.bits), longest)
	skip := min(n+1, longest)
	r.bits >>= skip
	r.n -= skip
	return n
}
