package api

import (
	"context"
	"time"

	"github.com/danielgtaylor/huma/v2"

	"weald/stream/journal"
	"weald/stream/record"
)

// A Kept is what a record takes and reaches back to.
type Kept struct {
	Since, Until time.Time // of readings; zero where there are none
	Bytes        int64     // of readings
	Free         int64     // what is left on the disk
	Full         bool      // readings are not kept for want of room
	Deleted      bool      // there were readings before Since, and they were deleted on purpose
}

type keptKind struct {
	Kind  string     `json:"kind" enum:"readings,alerts,actions,marks,sessions,attempts"`
	Since *time.Time `json:"since" doc:"The first; null where there is none"`
}

type keptBody struct {
	Kept       []keptKind `json:"kept" nullable:"false"`
	Until      *time.Time `json:"until" doc:"The last reading that is on the disk; null where there is none"`
	Bytes      int64      `json:"bytes" doc:"What readings take"`
	FreeBytes  int64      `json:"free_bytes" doc:"What is left on the disk"`
	Config     uint64     `json:"config" doc:"The version of the configuration that is in force"`
	DiskIsFull bool       `json:"disk_is_full" doc:"Readings are not kept for want of room"`
}

func (s *server) addKept(api huma.API) {
	huma.Register(api, operation("record", "What is kept, and since when"), s.whatIsKept)
}

func (s *server) whatIsKept(ctx context.Context, _ *struct{}) (*answer[keptBody], error) {
	if err := s.recording(); err != nil {
		return nil, err
	}
	a := &answer[keptBody]{Body: keptBody{Config: s.Config, Kept: []keptKind{{Kind: "readings"}}}}
	if s.Kept != nil {
		k := s.Kept()
		a.Body.Bytes, a.Body.FreeBytes, a.Body.DiskIsFull = k.Bytes, k.Free, k.Full
		if !k.Since.IsZero() {
			a.Body.Kept[0].Since, a.Body.Until = &k.Since, &k.Until
		}
	}
	for _, of := range []struct {
		name string
		kind record.Kind
	}{{"alerts", record.KindTransition}, {"actions", record.KindAction}, {"marks", record.KindMark}, {"sessions", record.KindSession}, {"attempts", record.KindAttempt}} {
		one := keptKind{Kind: of.name}
		err := s.entries(ctx, journal.Query{Kinds: []record.Kind{of.kind}}, func(e *record.Entry) bool {
			at := e.At.Time()
			one.Since = &at
			return false
		})
		if err != nil {
			return nil, err
		}
		a.Body.Kept = append(a.Body.Kept, one)
	}
	return a, nil
}
