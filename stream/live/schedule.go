package live

import (
	"time"

	"weald/ingest/sample"
	"weald/stream/history"
)

const (
	// sampleEvery is for readings and pressure maps. It is a little less than
	// the 100 ms that viewers are promised, so that a source of ten scans a
	// second, whose clock is never quite ours, need not wait for its turn.
	sampleEvery = 90 * time.Millisecond
	loadedEvery = time.Second

	// catchUp is up to what delay, in sending or on the way here, the next turn
	// comes as if there had been none. Without it every delay would be kept.
	catchUp = 50 * time.Millisecond

	// staleRow is how old, on the host's clock, a reading may be when it is
	// sent; what is older is left to the history.
	staleRow = 300 * time.Millisecond

	// frameSize is how large a frame of readings grows before the next place
	// has to wait for the next frame, and mostRows how many readings of one
	// place go into it.
	frameSize = 4096
	mostRows  = 256
)

// A stream is one series of a place under its number on the wire.
type stream struct {
	id     uint16
	series int // index into the place's series
}

// An item is something that a viewer is sent over and over: the readings of one
// place, or one of the two maps of one.
type item struct {
	kind    byte
	place   int
	streams []stream // for readings
	id      uint16   // for maps

	after time.Time // not to be sent before
	seen  uint64    // cursor into the rows, or version of the map, that was sent last
}

// fresh reports whether there is anything that was not sent.
func (t *item) fresh(store *history.Store) bool {
	if t.kind == kindSamples {
		return store.Head(t.place) != t.seen
	}
	return store.MapVersion(t.place) != t.seen
}

// sent notes what was sent at now, and plans the next turn.
func (t *item) sent(seen uint64, now time.Time) {
	every := sampleEvery
	if t.kind == kindLoaded {
		every = loadedEvery
	}
	t.seen = seen
	if now.Sub(t.after) > catchUp {
		t.after = now // it was quiet, or too late to make up for
	}
	t.after = t.after.Add(every)
}

// A schedule is the items of one subscription, served round robin: a viewer for
// whom there is too much gets some of each. The writer's goroutine owns it.
type schedule struct {
	store *history.Store
	items []item
	turn  int // whose turn it is

	frame sampleFrame
	batch history.Batch
	grid  history.Map
	bytes []byte
}

// due returns the next item in turn that may be sent at now, or nil and when
// one may be, as far as is known now; the zero Time means not before something
// new comes.
func (s *schedule) due(now time.Time) (*item, time.Time) {
	var soonest time.Time
	for range s.items {
		t := &s.items[s.turn]
		if t.fresh(s.store) {
			if !t.after.After(now) {
				return t, time.Time{}
			}
			if soonest.IsZero() || t.after.Before(soonest) {
				soonest = t.after
			}
		}
		s.turn = (s.turn + 1) % len(s.items)
	}
	return nil, soonest
}

// build makes the frame for the item in turn and passes the turn on. Frames of
// readings take in the items after it that are due, too, while there is room.
// It returns nil if there turned out to be nothing to say. number is called
// when there is.
func (s *schedule) build(now time.Time, notBefore sample.Instant, number func() uint32) []byte {
	first := &s.items[s.turn]
	if first.kind != kindSamples {
		s.turn = (s.turn + 1) % len(s.items)
		return s.buildMap(first, now, number)
	}
	s.frame.reset()
	for range s.items {
		t := &s.items[s.turn]
		if t.kind == kindSamples && !t.after.After(now) {
			s.store.Read(t.place, t.seen, notBefore, mostRows, &s.batch)
			if s.batch.Next != t.seen {
				if !s.frame.add(&s.batch, t.streams) {
					break
				}
				t.sent(s.batch.Next, now)
			}
		}
		s.turn = (s.turn + 1) % len(s.items)
		if len(s.frame.b) >= frameSize {
			break
		}
	}
	if s.frame.blocks == 0 {
		return nil
	}
	return s.frame.finish(number())
}

func (s *schedule) buildMap(t *item, now time.Time, number func() uint32) []byte {
	s.store.Map(t.place, &s.grid)
	if s.grid.Version == t.seen {
		return nil
	}
	t.sent(s.grid.Version, now)
	s.bytes = appendMap(s.bytes, t.kind, number(), t.id, &s.grid)
	return s.bytes
}
