package history

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

// large marks a difference that is written in the largeNibbles that follow.
const (
	large        = 15
	largeNibbles = 5 // 17 bits are enough for any difference
)

// pack appends by how much codes differ from those before: zig-zagged, half a byte
// each, the low one first, but for the large ones. A body that lies still is
// noise, which is small.
func pack(dst []byte, codes, before []int16) []byte {
	half, open := byte(0), false
	put := func(nibble uint32) {
		if open = !open; open {
			half = byte(nibble)
			return
		}
		dst = append(dst, half|byte(nibble)<<4)
	}
	for i, c := range codes {
		d := int32(c) - int32(before[i])
		z := uint32(d<<1 ^ d>>31)
		if z < large {
			put(z)
			continue
		}
		put(large)
		for k := range largeNibbles {
			put(z >> (4 * k) & 15)
		}
	}
	if open {
		put(0)
	}
	return dst
}

// unpack adds to codes what pack has written.
func unpack(codes []int16, b []byte) {
	k := 0
	get := func() uint32 {
		v := uint32(b[k/2]) >> (4 * (k % 2)) & 15
		k++
		return v
	}
	for i := range codes {
		z := get()
		if z == large {
			z = 0
			for k := range largeNibbles {
				z |= get() << (4 * k)
			}
		}
		codes[i] += int16(int32(z>>1) ^ -int32(z&1))
	}
}
