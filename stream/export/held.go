package export

import (
	"slices"
	"time"

	"weald/ingest/sample"
)

// held is the row of a track that is in force: it lasts until the next one, or
// until it is stale.
type held struct {
	values []float64
	at     sample.Instant
	any    bool // whether there has been a row
	stale  time.Duration
}

func newHeld(t *Track) held {
	return held{values: make([]float64, len(t.Signals)), stale: t.stale()}
}

// take makes the next row of f the one in force.
func (h *held) take(f *feed) {
	h.at, h.any = f.at(), true
	f.take(h.values)
}

// lasts reports whether the row still counts at the instant at.
func (h *held) lasts(at sample.Instant) bool { return h.any && at < h.at.Add(h.stale) }

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
