package keeper

import (
	"math"
	"slices"
	"testing"

	"pgregory.net/rapid"

	"weald/stream/record"
)

// The readings of a block that grows come back to the bit, whatever devices send.
func TestReadingsOfAnOpenBlockComeBack(t *testing.T) {
	reading := rapid.OneOf(
		rapid.Map(rapid.IntRange(0, 4095), func(n int) float64 { return float64(n) }),
		rapid.SampledFrom([]float64{math.NaN(), 0, noCount - 1, noCount, noCount + 1}),
	)
	odd := rapid.OneOf(reading, rapid.Float64(), rapid.SampledFrom([]float64{math.Copysign(0, -1), 0.5, -1, math.Inf(1)}))
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 20).Draw(t, "channels")
		scans := make([]record.Scan, rapid.IntRange(1, 5).Draw(t, "scans"))
		for i := range scans {
			of := reading
			if rapid.Bool().Draw(t, "odd") {
				of = odd
			}
			scans[i] = record.Scan{Ord: uint64(i), Raw: rapid.SliceOfN(of, n, n).Draw(t, "raw")}
		}
		var o open
		var counts spares[uint16]
		var raw spares[float64]
		same := rapid.IntRange(0, len(scans)-1).Draw(t, "kept before")
		if same > 0 {
			o.set(record.Block{Scans: scans[:same]}, 0, &counts)
		}
		o.set(record.Block{Scans: scans}, same, &counts)
		for i, got := range o.scans(&raw) {
			if !alike(&got, &scans[i]) {
				t.Fatalf("scan %d is %v, was %v", i, got, scans[i])
			}
		}
		if o.channels() != n || len(o.block.Scans) != len(scans) {
			t.Fatalf("%d scans of %d channels", len(o.block.Scans), o.channels())
		}
	})
}

// alike reports whether two scans have the same bits, but for which NaN it is.
func alike(a, b *record.Scan) bool {
	return a.Ord == b.Ord && slices.EqualFunc(a.Raw, b.Raw, func(x, y float64) bool {
		return math.Float64bits(x) == math.Float64bits(y) || x != x && y != y
	})
}
