package api

import (
	"context"
	"slices"
	"sync"

	"weald/stream/journal"
	"weald/stream/record"
)

// A calibrationIndex says where in the record calibrations are, so that one is found
// without reading all. It is read on whenever somebody asks.
type calibrationIndex struct {
	mu      sync.Mutex
	through record.Position              // the last entry that was looked at
	all     []indexed                    // in the order of the record
	checks  map[string][]record.Position // by the id of the record
}

// A channelOf is one channel of all sources.
type channelOf struct {
	bridge, source string
	channel        int
}

type indexed struct {
	at      record.Position
	id      string
	of      channelOf
	refused bool
}

// A picked calibration says whether values rest on it.
type picked struct {
	indexed
	inForce bool
}

// indexedKinds are those of entries that the index knows.
var indexedKinds = []record.Kind{record.KindCalibration, record.KindRefused, record.KindCheck}

// catchUp reads on. The caller holds mu.
func (x *calibrationIndex) catchUp(ctx context.Context, s *server) error {
	if x.checks == nil {
		x.checks = map[string][]record.Position{}
	}
	return s.entries(ctx, journal.Query{Kinds: indexedKinds, From: x.through + 1}, func(e *record.Entry) bool {
		x.through = e.Position
		switch b := e.Body.(type) {
		case record.Calibration:
			r := &b.Record
			x.all = append(x.all, indexed{e.Position, r.ID(), channelOf{r.Bridge, r.Source, r.Channel}, false})
		case record.Refused:
			r := &b.Refused
			x.all = append(x.all, indexed{e.Position, r.ID(), channelOf{r.Bridge, r.Source, r.Channel}, true})
		case record.Check:
			x.checks[b.Spot.Record] = append(x.checks[b.Spot.Record], e.Position)
		}
		return true
	})
}

// pick returns those that takes wants, in the order of the record.
func (x *calibrationIndex) pick(ctx context.Context, s *server, takes func(picked) bool) (out []picked, err error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	x.mu.Lock()
	defer x.mu.Unlock()
	if err := x.catchUp(ctx, s); err != nil {
		return nil, err
	}
	last := map[channelOf]int{}
	for i, one := range x.all {
		if !one.refused {
			last[one.of] = i
		}
	}
	for i, one := range x.all {
		if p := (picked{one, !one.refused && last[one.of] == i}); takes(p) {
			out = append(out, p)
		}
	}
	return out, nil
}

// checksOf returns where the spot checks of a record are.
func (x *calibrationIndex) checksOf(id string) []record.Position {
	x.mu.Lock()
	defer x.mu.Unlock()
	return slices.Clone(x.checks[id])
}

// fewAtOnce entries are read one by one; to read on from the first to the last of
// more takes less.
const fewAtOnce = 64

// entriesAt calls each with the entries at positions, ascending, and their index.
func (s *server) entriesAt(ctx context.Context, at []record.Position, each func(i int, e *record.Entry)) error {
	if len(at) > fewAtOnce {
		i := 0
		return s.entries(ctx, journal.Query{Kinds: indexedKinds, From: at[0], Last: at[len(at)-1]}, func(e *record.Entry) bool {
			for i < len(at) && at[i] < e.Position {
				i++
			}
			if i < len(at) && at[i] == e.Position {
				each(i, e)
			}
			return true
		})
	}
	for i, p := range at {
		if err := s.entries(ctx, journal.Query{From: p, Last: p}, func(e *record.Entry) bool { each(i, e); return false }); err != nil {
			return err
		}
	}
	return nil
}
