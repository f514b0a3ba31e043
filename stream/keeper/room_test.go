package keeper_test

import (
	"context"
	"errors"
	"fmt"
	"testing"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A gone journal is one whose servers are known to be gone, while it is.
type gone struct {
	journal.Journal
	is bool
}

func (g *gone) refuses() error {
	if g.is {
		return fmt.Errorf("%w: %w", journal.ErrUnreached, journal.ErrUnchanged)
	}
	return nil
}

func (g *gone) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if err := g.refuses(); err != nil {
		return err
	}
	return g.Journal.AppendReadings(ctx, blocks, ticks)
}

func (g *gone) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if err := g.refuses(); err != nil {
		return 0, err
	}
	return g.Journal.Append(ctx, entries...)
}

// While a record is out of reach for long, how places stand, which is large for a mat, takes no more
// memory than it may, and changes of alerts find room all the same: each is kept when the record is
// there again, once and in order.
func TestHowPlacesStandTakesNoMoreRoomThanItMay(t *testing.T) {
	g := &gone{Journal: new(journaltest.Memory)}
	now := sample.Instant(1_700_000_000_000_000_000)
	k, plan := wardKeeper(t, g, func() sample.Instant { return now })
	g.is = true
	const changes, large = 40, 4 << 20
	stands, ord := 0, uint64(0)
	state := make([]byte, large)
	for i := range changes {
		ord++
		at := now + sample.Instant(i)
		k.Scan(ord, &sample.Scan{At: at, Arrived: at, Seq: uint32(i), First: uint32(i), Raw: make([]float64, plan.Sources[0].Channels)})
		took, err := k.Commit(ord+1, []alert.Event{{Key: alert.Key{Place: plan.Places[0].ID, Rule: "too-tight", Subject: "ankle"}, What: alert.Raised, At: at}},
			func(string) []byte { return state })
		if err != nil {
			t.Fatalf("change %d: %v", i, err)
		}
		if took {
			stands, ord = stands+1, ord+1
		}
	}
	if err := k.Flush(t.Context()); !errors.Is(err, journal.ErrUnreached) {
		t.Errorf("nothing can be kept, and it says %v", err)
	}
	g.is = false
	if err := k.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	size, next := 0, now
	for _, e := range journaltest.Gather(t, g.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition, record.KindState}})) {
		switch b := e.Body.(type) {
		case record.State:
			size += len(b.Body)
		case record.Transition:
			if e.At != next {
				t.Errorf("a change of %v comes where that of %v is to come", e.At, next)
			}
			next++
		}
	}
	if next != now+changes {
		t.Errorf("%d of %d changes are kept", next-now, changes)
	}
	if size < large || size > 64<<20 {
		t.Errorf("%d bytes waited that say %d times how places stand", size, stands)
	}
}
