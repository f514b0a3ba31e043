package export

import (
	"fmt"
	"math"
	"time"

	"weald/stream/export/edf"
)

// A layout is how the tracks fit into the data records of an EDF+ file.
type layout struct {
	duration time.Duration // of a record
	lanes    []laneLayout  // one a track
	samples  int           // bytes of a record without annotations
}

type laneLayout struct {
	n       int  // samples a record
	regular bool // the samples come as often as the rows do
}

// listReserve is how many bytes of a record are kept free for annotations when
// its duration is chosen.
const listReserve = 2048

// durations are those that a record may have, best first: whole seconds are
// what the format asks for, and one second is what most programs show. The
// short ones are for records that would be too large otherwise.
func durations() []time.Duration {
	var d []time.Duration
	for s := 1; s <= 60; s++ {
		d = append(d, time.Duration(s)*time.Second)
	}
	for _, ms := range []int{500, 250, 200, 100, 50, 40, 20, 10} {
		d = append(d, time.Duration(ms)*time.Millisecond)
	}
	return d
}

// layout chooses the duration of a record: the first in which every regular
// track has a whole number of samples and which is not too large. If there is
// none, tracks whose rate does not fit are sampled a little more often than
// they have rows.
func (r *Recording) layout(irregular float64) (layout, error) {
	return r.layoutWithin(irregular, edf.MaxRecord)
}

// layoutWithin is layout for records of so many bytes at most.
func (r *Recording) layoutWithin(irregular float64, most int) (layout, error) {
	smallest := math.MaxInt
	for _, compromise := range []bool{false, true} {
		for _, d := range durations() {
			if compromise && d > time.Second {
				continue
			}
			l, exact := r.lay(d, irregular)
			smallest = min(smallest, l.samples)
			if (exact || compromise) && l.samples+listReserve <= most {
				return l, nil
			}
		}
	}
	return layout{}, fmt.Errorf("%w as EDF+: even the shortest data record would have %d bytes, the most is %d; export fewer signals",
		ErrRecording, smallest+listReserve, most)
}

// lay computes the layout of records of duration d, and whether every regular
// track comes out even.
func (r *Recording) lay(d time.Duration, irregular float64) (l layout, exact bool) {
	l, exact = layout{duration: d}, true
	for i := range r.Tracks {
		t := &r.Tracks[i]
		rate := t.Rate
		if rate == 0 {
			rate = irregular
		}
		rows := rate * d.Seconds()
		n := int(math.Round(rows))
		even := n > 0 && math.Abs(rows-float64(n)) < 1e-6
		if !even {
			n = int(math.Ceil(rows))
			exact = exact && t.Rate == 0
		}
		l.lanes = append(l.lanes, laneLayout{n: n, regular: even && t.Rate > 0})
		l.samples += 2 * n * len(t.Signals)
	}
	return l, exact
}

// rate returns the samples per second of lane i.
func (l *layout) rate(i int) float64 { return float64(l.lanes[i].n) / l.duration.Seconds() }
