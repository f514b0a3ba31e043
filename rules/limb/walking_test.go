package limb_test

import (
	"math"
	"strconv"
	"strings"
	"testing"
	"time"

	"weald/ingest/recorded"
	"weald/ingest/sample"
	"weald/rules/limb"
)

// The walks of five recordings, of the force under the left foot, by SciPy
// 1.10.1 and NumPy: strides a second by the highest peak of the autocorrelation
// and by the median time between heel strikes; median of the greatest less
// median of the least force of a stride.
var walks = []struct {
	file             string
	periodic, median float64
	swing            float64 // N
}{
	{"GaCo01_01.txt", 0.813, 0.820, 1100.9},
	{"GaCo02_01.txt", 0.909, 0.909, 952.3},
	{"GaCo02_02.txt", 0.952, 0.952, 977.6},
	{"GaCo04_01.txt", 0.806, 0.813, 909.9},
	{"GaCo04_02.txt", 0.826, 0.826, 901.1},
}

// leftFoot returns the force under the left foot in N, 100 a second.
func leftFoot(t testing.TB, file string) (force []float64) {
	t.Helper()
	for line := range strings.Lines(string(recorded.Text(t, "walking", file))) {
		words := strings.Fields(line)
		v, err := strconv.ParseFloat(words[17], 64)
		if err != nil {
			t.Fatal(err)
		}
		force = append(force, v)
	}
	return force
}

// Real walks, at the rate that they were recorded with and at every rate that
// carries the amplitude; below that it is refused, however it looks.
func TestRealWalks(t *testing.T) {
	for _, w := range walks {
		force := leftFoot(t, w.file)
		for _, every := range []int{1, 4, 8, 10, 12, 20, 50} { // 100 to 2 a second
			s := limb.NewStrides(20)
			var hertz, swing []float64
			looked := 0
			for i := 0; i < len(force); i += every {
				at := sample.Instant(i) * 10e6
				s.Add(at, force[i])
				if i < 1000 || i%100 >= every { // from 10 s on, once a second
					continue
				}
				looked++
				if walk, ok := s.Walk(at); ok {
					hertz = append(hertz, walk.Hertz)
					if walk.Rate < limb.PerStride*walk.Hertz-1e-9 != math.IsNaN(walk.Swing) {
						t.Fatalf("%s at %d/s: %+v", w.file, 100/every, walk)
					}
					if !math.IsNaN(walk.Swing) {
						swing = append(swing, walk.Swing)
					}
				}
			}
			rate := 100 / float64(every)
			if rate < limb.PerStride*w.median*0.97 {
				if len(swing) > looked/20 {
					t.Errorf("%s at %.0f/s: an amplitude %d times of %d, where the rate cannot carry it", w.file, rate, len(swing), looked)
				}
				continue
			}
			share := float64(len(hertz)) / float64(looked)
			gotHertz, gotSwing := middle(hertz), middle(swing)
			t.Logf("%s at %.1f/s: walks %.0f %% of the time, %.3f strides/s (%.3f by autocorrelation), amplitude %.0f N (%.0f)",
				w.file, rate, 100*share, gotHertz, w.periodic, gotSwing, w.swing)
			// The two methods differ by as much as 1 % themselves.
			if share < 0.9 || gotHertz < 0.98*w.periodic || gotHertz > 1.02*w.median {
				t.Errorf("%s at %.0f/s: walks %.0f %% of the time with %.3f strides/s, want %.3f to %.3f", w.file, rate, 100*share, gotHertz, w.periodic, w.median)
			}
			// Of a sinusoid cos(π f/fs) of the swing is caught at worst; a foot's
			// force has harmonics, which cost about half as much again.
			most := 0.02 + 1.5*(1-math.Cos(math.Pi*w.median/rate))
			if math.Abs(gotSwing/w.swing-1) > most {
				t.Errorf("%s at %.0f/s: amplitude %.0f N, want %.0f", w.file, rate, gotSwing, w.swing)
			}
		}
	}
}

func middle(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	low := append([]float64(nil), v...)
	return limb.Amplitude(low, []float64{0})
}

// The same walks as a wrap could feel them (an invented scale): a rest, the walk,
// a rest. At 25 a second every second of it is told right but for the changes.
func TestActivityOfRealWalks(t *testing.T) {
	for _, w := range walks {
		force := leftFoot(t, w.file)
		l := limb.New(1)
		right, wrong := 0, 0
		for i := 0; i < 3000+len(force)+3000; i += 4 {
			v := 40.0
			walking := i >= 3000 && i < 3000+len(force)
			if walking {
				v += force[i-3000] / 40
			}
			l.Add(sample.Instant(i)*10e6, []float64{v}, time.Second)
			settled := i > 500 && (i < 3000 || i > 3600) && (i < 3000+len(force) || i > 3600+len(force))
			if !settled || i%100 != 0 {
				continue
			}
			a := l.Activity()
			if walking && a.Walking == sample.Yes || !walking && a.Still == sample.Yes {
				right++
			} else {
				wrong++
			}
		}
		if wrong > right/25 { // the walkers turn round now and then, on one foot
			t.Errorf("%s: %d s told right, %d wrong", w.file, right, wrong)
		}
	}
}
