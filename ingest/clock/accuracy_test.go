package clock

import (
	"fmt"
	"math"
	"math/rand/v2"
	"testing"
)

// Event times are within 20 ms of the truth from 60 s on, whatever the road does
// to the frames.
func TestWithin20ms(t *testing.T) {
	const settle, limit = 60, 0.020
	seeds := uint64(12)
	roads := []struct {
		name    string
		period  float64
		inOrder bool
		delay   func(*rand.Rand, float64) float64
	}{
		{"no delay, 10/s", 0.1, true, constant(0)},
		{"exponential 5 ms, 10/s", 0.1, true, exponential(0.005)},
		{"exponential 20 ms, 10/s", 0.1, true, exponential(0.020)},
		{"exponential 50 ms, 10/s", 0.1, true, exponential(0.050)},
		{"exponential 100 ms, 10/s, overtaking", 0.1, false, exponential(0.100)},
		{"exponential 300 ms, 10/s, overtaking", 0.1, false, exponential(0.300)},
		{"exponential 50 ms, 100/s", 0.01, false, exponential(0.050)},
		{"exponential 20 ms, 1/s", 1, true, exponential(0.020)},
		{"exponential 50 ms, 1/s", 1, true, exponential(0.050)},
		{"stalls of up to 5 s, then all at once", 0.1, true, stalls(20, 5, 0.010)},
		{"stalls of up to 5 s, every 10 s", 0.1, true, stalls(10, 5, 0.020)},
		{"up to 5 s for 20 s of every 60", 0.1, false, bursts(60, 20, 5, 0.010)},
		{"up to 5 s for 30 s of every 60, 2/s", 0.5, false, bursts(60, 30, 5, 0.010)},
	}
	for _, road := range roads {
		t.Run(road.name, func(t *testing.T) {
			worst, where, mean, worstSkew := 0.0, "", 0.0, 0.0
			for _, skew := range []float64{-500, -20, 0, 137, 500} {
				for seed := range seeds {
					d := device{period: road.period, skew: skew, lasting: 900, delay: road.delay, inOrder: road.inOrder}
					if road.period < 0.1 {
						d.lasting = 200
					}
					o := follow(t, d, seed, after(settle))
					if o.clock.Status().Epochs != 1 {
						t.Errorf("skew %v, seed %d: %d epochs, want 1", skew, seed, o.clock.Status().Epochs)
					}
					if o.worst > worst {
						worst, where = o.worst, fmt.Sprintf("skew %v ppm, seed %d, at %.0f s", skew, seed, o.worstAt)
					}
					mean = max(mean, o.mean)
					worstSkew = max(worstSkew, math.Abs(o.clock.Status().Skew-skew))
				}
			}
			t.Logf("worst %.2f ms (%s), worst mean %.2f ms, skew within %.1f ppm", 1000*worst, where, 1000*mean, worstSkew)
			if worst > limit {
				t.Errorf("off by up to %.1f ms (%s), want at most 20", 1000*worst, where)
			}
		})
	}
}
