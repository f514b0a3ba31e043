package emulate

import (
	"testing"
	"time"

	"weald/rules/posture"
)

// The emulator's bodies were drawn by hand, before anything was fitted to
// recordings, and are nobody's.
func TestInventedBodies(t *testing.T) {
	for _, size := range [][2]int{{64, 32}, {32, 16}, {64, 27}, {24, 12}} {
		rec := posture.New(posture.Mat{Rows: size[0], Columns: size[1]})
		for _, c := range []struct {
			lies Posture
			want posture.Position
		}{{Supine, posture.Supine}, {OnLeft, posture.Left}, {OnRight, posture.Right}} {
			for seed := range uint64(5) {
				bed := NewBed(size[0], size[1], 0.6+0.2*float64(seed), []Lie{{Posture: c.lies, For: time.Hour}}, seed)
				values := make([]float64, size[0]*size[1])
				for at := time.Minute; at < 30*time.Minute; at += 10 * time.Minute {
					bed.At(at, values)
					if a := rec.Recognise(values); a.Position != c.want {
						t.Errorf("%v cells, seed %d, %v: %+v, want %v", size, seed, at, a, c.want)
					}
				}
			}
		}
	}
}
