package history

import (
	"bytes"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"pgregory.net/rapid"
)

// Whatever two maps hold, the second is had again from the first and what was packed.
func TestPackedMapsAreHadAgain(t *testing.T) {
	code := rapid.OneOf(rapid.Int16(), rapid.Int16Range(-3, 3), rapid.SampledFrom([]int16{NoCell, math.MaxInt16}))
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(1, 70).Draw(t, "cells")
		before, codes := rapid.SliceOfN(code, n, n).Draw(t, "before"), rapid.SliceOfN(code, n, n).Draw(t, "codes")
		packed := pack([]byte("kept"), codes, before)
		if !bytes.HasPrefix(packed, []byte("kept")) {
			t.Fatalf("what stood before is gone: %q", packed)
		}
		got := slices.Clone(before)
		if unpack(got, packed[4:]); !slices.Equal(got, codes) {
			t.Fatalf("got %v, want %v", got, codes)
		}
	})
}

// Packed noise is near to the entropy of it, which nothing can go below (Shannon 1948):
// of rounded normal noise with a standard deviation of s steps, 0.5 log2(2 pi e s^2)
// bits a cell. A Rice code of normal noise is known to be within a tenth and a half bit.
func TestPackedNoiseIsNearItsEntropy(t *testing.T) {
	random := rand.New(rand.NewPCG(1, 2))
	const cells = 2048
	for _, s := range []float64{1, 2, 8, 50} {
		before, codes := make([]int16, cells), make([]int16, cells)
		for i := range codes {
			before[i] = int16(random.IntN(400))
			codes[i] = before[i] + int16(math.Round(s*random.NormFloat64()))
		}
		least := 0.5 * math.Log2(2*math.Pi*math.E*s*s)
		got := float64(8*len(pack(nil, codes, before))) / cells
		t.Logf("noise of %v steps: %.2f bits a cell, entropy %.2f", s, got, least)
		if got < least-0.1 || got > 1.1*least+0.5 {
			t.Errorf("noise of %v steps takes %.2f bits a cell, its entropy is %.2f", s, got, least)
		}
	}
}
