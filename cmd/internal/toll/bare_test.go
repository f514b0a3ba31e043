package toll

// sink keeps what bare loops find from being nothing.
var sink float64

// The loops are functions of their own, as what stands within b.Loop adds up in memory.

//go:noinline
func add(values []float64) (sum float64) {
	for _, v := range values {
		sum += v
	}
	return sum
}

//go:noinline
func move(to, from []float64) {
	for i, v := range from {
		to[i] = 0.05 * v
	}
}

// reads looks at every byte, and writes every cell.
//
//go:noinline
func reads(to []float64, from []byte) {
	x := byte(0)
	for _, b := range from {
		x ^= b
	}
	for i := range to {
		to[i] = float64(x)
	}
}
