package archive

import (
	"context"
	"errors"
	"log/slog"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/stream/history"
	"weald/stream/hostclock"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A stuck journal keeps no history while it is full.
type stuck struct {
	journaltest.Memory
	full bool
}

func (s *stuck) PutHistory(ctx context.Context, all ...record.Stretch) error {
	if s.full {
		return journal.ErrFull
	}
	return s.Memory.PutHistory(ctx, all...)
}

// That history is not kept is told for as long as it is so, and nothing is lost
// by it.
func TestTrouble(t *testing.T) {
	j := &stuck{full: true}
	now := 1000 * second
	l := &life{t: t, clock: hostclock.NewManual(now), memory: history.New(1, oneSeries)}
	l.arch = New(l.memory, ids, j, l.clock, slog.New(slog.DiscardHandler))
	for i := range sample.Instant(30) {
		l.put(now+i*second, 40)
	}
	l.clock.Advance(time.Minute)
	l.arch.attempt(t.Context())
	if err := l.arch.Trouble(); !errors.Is(err, journal.ErrFull) {
		t.Fatalf("trouble is %v, want that there is no room", err)
	}
	j.full = false
	l.arch.attempt(t.Context())
	if err := l.arch.Trouble(); err != nil {
		t.Fatalf("trouble is still %v", err)
	}
	if kept, err := j.History(t.Context(), "bench-1", ankle, record.Second, now, now+29*second, nil); err != nil || len(kept) != 29 {
		t.Errorf("%d seconds of 29 were kept, %v", len(kept), err)
	}
}
