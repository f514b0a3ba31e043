package assembly

import (
	"math/rand/v2"
	"testing"

	"pgregory.net/rapid"

	"weald/ingest/calib"
)

// A mat makes scans of 2,048 cells.
type mat struct{ r *rand.Rand }

func newMat() mat { return mat{rand.New(rand.NewPCG(5, 6))} }

// body is somebody lying: most cells low, some up to 2,000, as a 12-bit
// converter counts them.
func (m mat) body() []float64 {
	raw := make([]float64, 2048)
	for i := range raw {
		raw[i] = float64(m.r.IntN(200))
		if i%512 < 40 {
			raw[i] = float64(200 + m.r.IntN(1800))
		}
	}
	return raw
}

// load is a body with n cells at about the given count.
func (m mat) load(n int, count float64, noise int) []float64 {
	raw := m.body()
	for i := range n {
		raw[100+i] = count + float64(m.r.IntN(noise+1)-noise/2)
	}
	return raw
}

// garbled is a damaged scan: low bytes lost, high ones anything.
func (m mat) garbled() []float64 {
	raw := m.body()
	for i := range 900 {
		raw[i*2] = float64(256 * m.r.IntN(16))
		if i%20 == 0 {
			raw[i*2]++
		}
	}
	return raw
}

// upper is a body as a device counts that has eight bits in the upper byte.
func (m mat) upper(loaded int) []float64 {
	raw := make([]float64, 2048)
	for i := range loaded {
		raw[(i*37)%2048] = float64(256 * (1 + m.r.IntN(15)))
	}
	return raw
}

// No load is ever taken for damage, or kept back for one scan, however much of
// it there is and however suddenly it comes.
func TestLoads(t *testing.T) {
	m := newMat()
	for _, c := range []struct {
		name string
		load func() []float64
	}{
		{"500 cells at 2048 exactly", func() []float64 { return m.load(500, 2048, 0) }},
		{"500 cells about 2048", func() []float64 { return m.load(500, 2048, 40) }},
		{"500 cells at 4000", func() []float64 { return m.load(500, 4000, 0) }},
		{"all but 100 cells at 4095", func() []float64 { return m.load(1900, 4095, 0) }},
		{"every cell at 3840 exactly", func() []float64 { return m.load(1948, 3840, 0) }},
		{"1900 cells about 3840", func() []float64 { return m.load(1900, 3840, 300) }},
		{"30 cells far above the rest", func() []float64 { return m.load(30, 3900, 100) }},
		{"a seventh of the cells at each of seven multiples", func() []float64 {
			raw := m.body()
			for i := range raw {
				raw[i] = float64(256 * (1 + i%7))
			}
			return raw
		}},
	} {
		t.Run(c.name, func(t *testing.T) {
			r := newMatRig(t)
			r.send(m.body())
			for range 200 {
				r.send(c.load())
				if len(r.got) != r.n {
					t.Fatalf("scan %d is kept back", r.n-1)
				}
			}
			r.send(m.body())
			r.out("all of it, as it was", 202)
		})
	}
}

// The rule looks at digits, not at amounts: with the same amounts and other
// digits a damaged scan is honest, and with the same digits and other amounts it
// is still damaged.
func TestDigitsNotAmounts(t *testing.T) {
	m := newMat()
	for range 50 {
		raw := m.garbled()
		if !suspect(raw) {
			t.Fatal("a damaged scan is not suspect")
		}
		other := make([]float64, len(raw))
		for i, v := range raw {
			if other[i] = v; v >= 256 {
				other[i] = v + float64(1+m.r.IntN(6)) // a thousandth of it
			}
		}
		if suspect(other) {
			t.Fatal("a scan with ordinary digits is suspect for its amounts")
		}
		for i, v := range raw {
			if other[i] = 0; v >= 256 && i%8 == 0 {
				other[i] = float64(256 * (1 + i/8%8)) // an eighth of the load, at most 2,048
			}
		}
		if !suspect(other) {
			t.Fatal("a light scan with damaged digits is not suspect")
		}
	}
}

// The quick answer is the exact one, but that damage in a large scan has to show
// in every fourth channel.
func TestSuspectIsTheRule(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		r := rand.New(rand.NewPCG(rapid.Uint64().Draw(t, "seed"), 1))
		n := rapid.SampledFrom([]int{1, 31, 32, 33, 64, 256, 1023, 1024, 2047, 2048}).Draw(t, "cells")
		share := rapid.Float64Range(0, 1).Draw(t, "multiples")
		large := rapid.Float64Range(0, 1).Draw(t, "large")
		kinds := rapid.IntRange(6, 10).Draw(t, "kinds")
		odd := rapid.SampledFrom([]float64{0, 0, 0.01}).Draw(t, "fractions")
		raw := make([]float64, n)
		big, multiples, whole, seen, fourth := 0, 0, true, map[int]bool{}, 0
		for i := range raw {
			switch {
			case r.Float64() < 0.05:
				raw[i] = nan
				continue
			case r.Float64() >= large:
				raw[i] = float64(r.IntN(256))
				continue
			case r.Float64() < share:
				k := 1 + r.IntN(kinds)
				raw[i] = float64(256 * k)
				multiples++
				seen[k] = true
				if i%4 == 0 {
					fourth++
				}
			default:
				raw[i] = float64(256*(1+r.IntN(255)) + 1 + r.IntN(255))
				if r.Float64() < odd {
					raw[i] += 0.5
					whole = false
				}
			}
			big++
		}
		want := whole && big >= 32 && 2*multiples > big && len(seen) >= 8
		if n >= glanceFrom && fourth < glanceAt {
			want = false
		}
		if got := suspect(raw); got != want {
			t.Fatalf("%d large, %d multiples of %d kinds, whole %v, %d in every fourth: suspect %v, want %v", big, multiples, len(seen), whole, fourth, got, want)
		}
	})
}

func TestMMHgIsNeverSuspect(t *testing.T) {
	m := newMat()
	r := newRig(t, Config{Channels: 2048, Unit: calib.MMHg})
	r.give(0, scan(0, 0, m.garbled()...))
	r.wants("pressure has no digits to lose", 0)
}
