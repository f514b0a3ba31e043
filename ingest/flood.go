package ingest

import (
	"fmt"
	"time"

	"weald/ingest/frame"
	"weald/ingest/sample"
)

// When a source floods, on the daemon's clock.
const (
	floodOver   = 10 * time.Second
	floodFactor = 3         // times its nominal rate
	floodOwed   = time.Hour // of scans that may be made up for
)

// A flood watches how fast a source sends, by what arrives and not by the
// device's own clock, over one stretch of time after the other. Scans that come
// in a burst since the way was blocked before are no flood: as many as were
// missing until then are not counted. Those that the device says it kept are
// never counted.
type flood struct {
	begun bool
	from  sample.Instant
	scans float64 // since from, those that will be dropped included
	owed  float64 // scans that should have come and did not
	rate  float64 // scans per second in the stretch before if it was a flood, else 0
}

// count takes a frame of the source.
func (w *flood) count(f *frame.Frame) {
	if f.Kind == frame.Readings && !f.More && !f.Stored {
		w.scans++
	}
}

// tick looks whether a stretch is over, for a source with the given nominal
// rate.
func (w *flood) tick(nominal float64, now sample.Instant) {
	span := now.Sub(w.from)
	if nominal <= 0 || w.begun && 0 <= span && span < floodOver {
		return
	}
	got, expected := w.scans, nominal*span.Seconds()
	first := !w.begun || span < 0
	w.begun, w.from, w.scans, w.rate = true, now, 0, 0
	if first {
		return
	}
	if got <= expected {
		w.owed = min(w.owed+expected-got, nominal*floodOwed.Seconds())
		return
	}
	made := min(w.owed, got-expected)
	w.owed -= made
	if got -= made; got >= floodFactor*expected {
		w.rate = got / span.Seconds()
	}
}

// floods looks at the rates of all sources. Recordings that are played as fast
// as it goes have none.
func (in *intake) floods(now sample.Instant) {
	if in.timing == asRecorded {
		return
	}
	for _, s := range in.sources {
		s.flood.tick(s.spec.Rate, now)
	}
}

// flooded names a source that floods.
func (in *intake) flooded() complaint {
	for _, s := range in.sources {
		if s.flood.rate > 0 {
			return complaint{"flood " + s.spec.ID, fmt.Sprintf("source %s sends %.3g scans a second, configured are %.3g", s.spec.ID, s.flood.rate, s.spec.Rate)}
		}
	}
	return complaint{}
}
