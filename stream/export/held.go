package export

import (
	"slices"

	"weald/ingest/sample"
)

// held is the row of a track that is in force: it lasts until the next one, or
// until it is stale.
type held struct {
	values []float64
	at     sample.Instant
	until  sample.Instant // before when it counts; Past before the first row
}

func newHeld(t *Track) held {
	return held{values: make([]float64, len(t.Signals)), until: sample.Past}
}

// take makes the next row of f the one in force.
func (h *held) take(f *feed) {
	h.at = f.at()
	h.until = f.take(h.values)
}

// lasts reports whether the row still counts at the instant at.
func (h *held) lasts(at sample.Instant) bool { return at < h.until }

// rates returns the distinct rates of the tracks, highest first, irregular last.
func (r *Recording) rates() []float64 {
	var all []float64
	for i := range r.Tracks {
		all = append(all, r.Tracks[i].Rate)
	}
	slices.Sort(all)
	all = slices.Compact(all)
	slices.Reverse(all)
	return all
}
