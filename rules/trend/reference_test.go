package trend_test

import (
	"math"
	"testing"
	"time"

	"gonum.org/v1/gonum/stat"
	"pgregory.net/rapid"

	"weald/ingest/sample"
	"weald/ingest/tried"
	"weald/rules/state"
	"weald/rules/trend"
)

// A point is one reading.
type point struct {
	at sample.Instant
	v  float64
}

// slots are the means of the readings by slot of time, oldest first, of the last n up
// to that of the newest reading: when in seconds, and how high. It looks at the whole
// past each time.
func slots(past []point, slot time.Duration, n int) (xs, ys []float64) {
	number := func(at sample.Instant) int64 { return int64(math.Floor(float64(at) / float64(slot))) }
	newest := number(past[len(past)-1].at)
	for k := newest - int64(n) + 1; k <= newest; k++ {
		var when, values []float64
		for _, p := range past {
			if number(p.at) == k && !math.IsNaN(p.v) {
				when, values = append(when, time.Duration(p.at).Seconds()), append(values, p.v)
			}
		}
		if len(values) > 0 {
			xs, ys = append(xs, stat.Mean(when, nil)), append(ys, stat.Mean(values, nil))
		}
	}
	return xs, ys
}

// A window with holes, missing readings and several readings a slot, against means of
// the whole past; written down and read in the middle, it goes on with the same bits.
func TestAWindowAgainstASlowOne(t *testing.T) {
	slopes := 0
	tried.Check(t, tried.Count(&slopes, 100), func(t *rapid.T) {
		n := rapid.IntRange(2, 9).Draw(t, "slots")
		const slot = 2 * time.Second
		w, other := trend.NewWindow(time.Duration(n)*slot, n), trend.NewWindow(time.Duration(n)*slot, n)
		at := sample.Instant(rapid.Int64Range(-1e11, 1e11).Draw(t, "start"))
		var past []point
		for range rapid.IntRange(1, 40).Draw(t, "n") {
			at = at.Add(time.Duration(rapid.SampledFrom([]int{1, 300, 1000, 2000, 2001, 7000, 30000}).Draw(t, "step")) * time.Millisecond)
			v := rapid.OneOf(rapid.Float64Range(-100, 100), rapid.Just(math.NaN())).Draw(t, "v")
			past = append(past, point{at, v})
			w.Add(at, v)
			other.Add(at, v)
			if rapid.IntRange(0, 5).Draw(t, "restart") == 0 {
				fresh := trend.NewWindow(time.Duration(n)*slot, n)
				if rest, err := state.Read(state.Append(nil, other), fresh); err != nil || len(rest) != 0 {
					t.Fatalf("%v, %d bytes left", err, len(rest))
				}
				other = fresh
			}
			xs, ys := slots(past, slot, n)
			if known, of := w.Known(); known != len(xs) || of != n {
				t.Fatalf("%d of %d slots are known, want %d of %d", known, of, len(xs), n)
			}
			want := math.NaN()
			if 2*len(xs) >= n && len(xs) >= 2 {
				want = trend.TheilSen(xs, ys)
				slopes++
			}
			got := w.Slope()
			if math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-6*(1+math.Abs(want)) {
				t.Fatalf("slope %v, want %v", got, want)
			}
			if math.Float64bits(other.Slope()) != math.Float64bits(got) {
				t.Fatalf("slope %v, and after a restart %v", got, other.Slope())
			}
			for least := range n + 2 {
				want := math.NaN()
				if len(ys) >= max(1, least) {
					want = slowMedian(ys)
				}
				if got := w.Median(least); math.IsNaN(got) != math.IsNaN(want) || math.Abs(got-want) > 1e-9 {
					t.Fatalf("median of at least %d is %v, want %v", least, got, want)
				}
			}
		}
	})
}

// A line that is lifted, tilted or turned over has the slope that goes with it (Sen
// 1968): lifting changes none, and tilting adds to all.
func TestSlopesOfChangedReadings(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		n := rapid.IntRange(2, 20).Draw(t, "n")
		xs, ys := make([]float64, n), make([]float64, n)
		for i := range xs {
			xs[i], ys[i] = float64(i)+rapid.Float64Range(0, 0.9).Draw(t, "x"), rapid.Float64Range(-50, 50).Draw(t, "y")
		}
		was := trend.TheilSen(xs, ys)
		lift, tilt := rapid.Float64Range(-50, 50).Draw(t, "lift"), rapid.Float64Range(-5, 5).Draw(t, "tilt")
		lifted, tilted, over := make([]float64, n), make([]float64, n), make([]float64, n)
		for i, y := range ys {
			lifted[i], tilted[i], over[i] = y+lift, y+tilt*xs[i], -y
		}
		for what, d := range map[string]float64{
			"lifted": trend.TheilSen(xs, lifted) - was, "tilted": trend.TheilSen(xs, tilted) - was - tilt, "turned over": trend.TheilSen(xs, over) + was,
		} {
			if !(math.Abs(d) < 1e-6*(1+math.Abs(was))) {
				t.Fatalf("%s: off by %v from %v", what, d, was)
			}
		}
	})
}
