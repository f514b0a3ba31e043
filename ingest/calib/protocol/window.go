package protocol

import (
	"math"
	"slices"
	"time"

	"weald/ingest/sample"
)

// The shares that decide what is a plateau; package figures has a reason for each.
// That 15 % a decade is the worst creep of thin force sensors is said of them: common
// practice, no source.
const (
	still    = 0.01 // of full scale: what a plateau may move by in its last half; what moves by more within a second is a stroke
	creeps   = 0.15 // of the load, a decade of time
	deviates = 4.0  // standard deviations of noise that say nothing

	emptyFor   = 3 * time.Second // a silence
	halfSecond = 500 * time.Millisecond
	leastTold  = 3   // readings that have a median
	leastSeen  = 5   // readings in a window that tell anything
	noiseOf    = 100 // readings tell the noise
)

// A reading is one of a channel, in counts.
type reading struct {
	at  sample.Instant
	raw float64
}

// A window is what a channel read of late.
type window struct {
	felt  bool           // strokes are looked for; of channels beside the cuff only the mean is asked
	keep  time.Duration  // what is older is forgotten
	every time.Duration  // readings that come sooner after the last are passed over
	begun sample.Instant // of the first reading; Never before

	readings []reading      // in the order of time
	arrived  sample.Instant // when it came to where it is: the end of the last stroke, or of a silence
	rest     float64        // at the first level; NaN before
	most     float64        // how far the levels have been from rest at most
	taken    float64        // at the level taken last; NaN before
	came     float64        // how it came there from the level before; 0 where there is none
	sense    float64        // 1 if counts rise with the pressure, -1 if they fall; 0 before one knows
}

// How many readings are kept at most, which bounds the memory of a long dwell: of a
// channel under the cuff, of all of those, and of one beside it in a dwell.
const (
	mostKept   = 4800
	mostOfAll  = 1 << 22 // 16 bytes each
	mostBeside = 20
)

// spacing is how far readings of the channels under the cuff lie apart at least.
func (p *Plan) spacing() time.Duration {
	many := 0
	for _, under := range p.Under {
		if under {
			many++
		}
	}
	return (p.Dwell + p.patience()) / time.Duration(min(mostKept, mostOfAll/max(1, many)))
}

func newWindow(keep, every time.Duration) window {
	return window{keep: keep, every: every, rest: math.NaN(), taken: math.NaN(), begun: sample.Never}
}

// take adds a reading and forgets old ones.
func (w *window) take(at sample.Instant, raw float64) {
	if n := len(w.readings); n > 0 && at.Sub(w.readings[n-1].at) < max(1, w.every) || math.IsNaN(raw) {
		return // the same scan again, more than one needs, or nothing to see
	}
	w.begun = min(w.begun, at)
	// What is old is moved out of the way now and then, not at every reading.
	old := 0
	for old < len(w.readings) && w.readings[old].at < at.Add(-w.keep) {
		old++
	}
	if old > len(w.readings)/4 {
		w.readings = slices.Delete(w.readings, 0, old)
	}
	w.readings = append(w.readings, reading{at, raw})
	switch n := len(w.readings); {
	case n == 1 || at.Sub(w.readings[n-2].at) > emptyFor:
		w.arrived = at
	case w.felt:
		w.feel()
	}
}

// feel looks for a stroke between the last half second and the one before. Their
// medians are compared, which a stray reading does not move.
func (w *window) feel() {
	r := w.readings
	end := r[len(r)-1].at
	i := len(r) - 1
	for i > 0 && (end.Sub(r[i-1].at) < halfSecond || len(r)-i < leastTold) {
		i--
	}
	k := i
	for k > 0 && (r[i].at.Sub(r[k-1].at) <= halfSecond || i-k < leastTold) {
		k--
	}
	if i-k < leastTold {
		return // it has just begun
	}
	sd := noise(r[max(0, len(r)-noiseOf):])
	limit := max(still*w.full(r[i].raw), deviates*sd*math.Sqrt(math.Pi*(1/float64(len(r)-i)+1/float64(i-k))), 2*resolution(r[k:])) // as if each reading came twice
	if math.Abs(median(values(r[i:]))-median(values(r[k:i]))) > limit {
		w.arrived = r[i].at
	}
}

// silent reports whether the channel has not been heard of late.
func (w *window) silent(now sample.Instant) bool {
	n := len(w.readings)
	return n == 0 || now.Sub(w.readings[n-1].at) > emptyFor
}

// sparse reports whether the channel has been heard for a dwell, and too seldom for
// its half to tell anything.
func (w *window) sparse(now sample.Instant, dwell time.Duration) bool {
	return w.begun != sample.Never && now.Sub(w.begun) >= dwell && len(w.since(now.Add(-dwell/2))) < leastSeen
}

// since returns the readings from an instant on.
func (w *window) since(at sample.Instant) []reading {
	i, _ := slices.BinarySearchFunc(w.readings, at, func(r reading, at sample.Instant) int {
		return int(min(max(r.at.Sub(at), -1), 1))
	})
	return w.readings[i:]
}

func values(r []reading) []float64 {
	out := make([]float64, len(r))
	for i := range r {
		out[i] = r[i].raw
	}
	return out
}

func sum(r []reading) (s float64) {
	for _, one := range r {
		s += one.raw
	}
	return s
}

// median returns that of v, which it puts in order; NaN of nothing.
func median(v []float64) float64 {
	if len(v) == 0 {
		return math.NaN()
	}
	slices.Sort(v)
	return (v[(len(v)-1)/2] + v[len(v)/2]) / 2
}

// noise returns the standard deviation of single readings about wherever they
// are, from the upper quartile of differences between neighbours: a stroke or a
// creep is in few of them or small. The median would be 0 of a channel that hands
// out each reading twice.
func noise(r []reading) float64 {
	d := make([]float64, 0, len(r))
	for i := 1; i < len(r); i++ {
		d = append(d, math.Abs(r[i].raw-r[i-1].raw))
	}
	if len(d) == 0 {
		return 0
	}
	slices.Sort(d)
	const quartile = 1.1503 // of a normal deviation's size
	return d[len(d)*3/4] / quartile / math.Sqrt2
}

// resolution returns what a reading may change by for no reason: 1 where readings
// are whole counts; else the least that neighbours differ by, if many do, as a few
// differences may be nothing but strokes.
func resolution(r []reading) float64 {
	least, whole, many := math.Inf(1), len(r) > 0, 0
	for i := range r {
		whole = whole && r[i].raw == math.Trunc(r[i].raw)
		if i == 0 {
			continue
		}
		if d := math.Abs(r[i].raw - r[i-1].raw); d > 0 {
			least = min(least, d)
			many++
		}
	}
	switch {
	case whole:
		return 1
	case many < 10:
		return 0
	}
	return least
}

// full is how many counts full scale may be: what has been seen of it.
func (w *window) full(now float64) float64 {
	if math.IsNaN(w.rest) {
		return 0
	}
	return max(w.most, math.Abs(now-w.rest))
}

// settled reports whether the channel has been on a plateau for the dwell, and
// what it reads there: the mean of the dwell's last half, and the noise of single
// readings.
func (w *window) settled(now sample.Instant, dwell time.Duration) (mean, sd float64, ok bool) {
	r := w.since(now.Add(-dwell / 2))
	if len(r) < leastSeen {
		return math.NaN(), math.NaN(), false
	}
	mean, sd = sum(r)/float64(len(r)), noise(r) // the sum of counts is exact
	if now.Sub(w.arrived) < dwell {
		return mean, sd, false
	}
	return mean, sd, w.rests(r, mean, sd, lastHalf) && w.rests(w.since(now.Add(-dwell)), mean, sd, wholeDwell)
}

// How many decades of age lie between the middles of the first and the last third
// of a dwell's last half, and of a whole dwell: log10(11/7), log10(5).
const (
	lastHalf   = 0.196
	wholeDwell = 0.699
)

// rests reports whether the channel, which is at mean, moved no more over r than it
// may at rest.
func (w *window) rests(r []reading, mean, sd, decades float64) bool {
	// What moves by less than the resolution shows in a mean only if noise spreads
	// it over two counts.
	coarse := max(0, resolution(r)/2-sd)
	if w.most == 0 {
		coarse = resolution(r) // there is no scale yet to hold it against
	}
	moved := thirds(r)
	allowed := still*w.full(mean) + deviates*sd*math.Sqrt(4/float64(len(r)/3+1)) + coarse // as if each reading came twice
	// Creep makes a load grow, and what is let off go on falling; a leak makes a load
	// fall.
	if load := mean - w.rest; load*moved > 0 {
		allowed += creeps * decades * math.Abs(load)
	} else if step := mean - w.taken; step*moved > 0 {
		allowed += creeps * decades * math.Abs(step)
	}
	return math.Abs(moved) <= allowed
}

// thirds returns how far the last third of r is from the first, by their means.
func thirds(r []reading) float64 {
	third := len(r)/3 + 1
	return (sum(r[len(r)-third:]) - sum(r[:third])) / float64(third)
}

// moved returns what the channel moved by in the last half of the dwell.
func (w *window) moved(now sample.Instant, dwell time.Duration) float64 {
	r := w.since(now.Add(-dwell / 2))
	if len(r) == 0 {
		return 0
	}
	return thirds(r)
}
