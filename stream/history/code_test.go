package history

import (
	"encoding/binary"
	"math"
	"math/rand/v2"
	"testing"
)

// roundedHalfUp is what a code is, as one formula for all pressures.
func roundedHalfUp(v float32, step float64) int16 {
	if v != v {
		return NoCell
	}
	return int16(min(max(math.Floor(float64(v)/step+0.5), NoCell+1), math.MaxInt16))
}

// A code is the formula's, on both sides of every bound between two codes, as close to
// it as pressures come; and for whatever else a float32 can be.
func TestCodesAreRoundedHalfUp(t *testing.T) {
	var buf []byte
	same := func(v float32, step float64) {
		if got, want := code(v, step), roundedHalfUp(v, step); got != want {
			t.Fatalf("%v (%#x) in steps of %v is %d, want %d", v, math.Float32bits(v), step, got, want)
		}
		if buf = AppendCodes(buf[:0], []float32{v}); step == MapStep && int16(binary.LittleEndian.Uint16(buf)) != roundedHalfUp(v, step) {
			t.Fatalf("%v (%#x) is appended as %x", v, math.Float32bits(v), buf)
		}
	}
	up, down := float32(math.Inf(1)), float32(math.Inf(-1))
	for _, step := range []float64{MapStep, OldMapStep} {
		bounds := 0
		for k := NoCell + 1; k <= math.MaxInt16; k++ {
			low, high := false, false
			v := float32((float64(k) - 0.5) * step)
			for range 3 {
				v = math.Nextafter32(v, down)
			}
			for range 7 {
				same(v, step)
				low, high = low || int(code(v, step)) < k, high || int(code(v, step)) == k
				v = math.Nextafter32(v, up)
			}
			// Below the lowest code there is none, as NoCell is no pressure's.
			if high && (low || k == NoCell+1) {
				bounds++
			}
		}
		if bounds != math.MaxUint16 {
			t.Errorf("in steps of %v %d bounds were met, want %d", step, bounds, math.MaxUint16)
		}
		r := rand.New(rand.NewPCG(1, 2))
		for range 2_000_000 {
			same(math.Float32frombits(r.Uint32()), step)
			same(float32(r.Float64()*300-20), step)
		}
		for _, v := range []float32{0, float32(math.Copysign(0, -1)), up, down, float32(math.NaN()), math.MaxFloat32, -math.MaxFloat32, math.SmallestNonzeroFloat32, -math.SmallestNonzeroFloat32} {
			same(v, step)
		}
	}
}
