package assembly

import (
	"math"
	"math/rand/v2"
	"testing"
)

func BenchmarkSuspect(b *testing.B) {
	const n = 2048
	r := rand.New(rand.NewPCG(1, 2))
	fill := func(f func(i int) float64) []float64 {
		raw := make([]float64, n)
		for i := range raw {
			raw[i] = f(i)
		}
		return raw
	}
	for _, c := range []struct {
		name string
		raw  []float64
	}{
		{"a body on a mat", fill(func(i int) float64 {
			if i/32%16 == 3 && i%32 > 20 {
				return float64(256 + r.IntN(1500))
			}
			return float64(r.IntN(200))
		})},
		{"every cell high", fill(func(int) float64 { return float64(256 + r.IntN(3840)) })},
		{"every other cell high", fill(func(int) float64 { return float64(r.IntN(512)) })},
		{"one in eight high", fill(func(int) float64 { return float64(r.IntN(300)) })},
		{"nothing delivered", fill(func(int) float64 { return math.NaN() })},
		{"damaged", fill(func(int) float64 { return float64(256 * r.IntN(16)) })},
	} {
		b.Run(c.name, func(b *testing.B) {
			b.ReportAllocs()
			for b.Loop() {
				suspect(c.raw)
			}
			b.ReportMetric(float64(b.Elapsed().Nanoseconds())/float64(b.N)/n, "ns/cell")
		})
	}
}
