package keeper_test

import (
	"context"
	"errors"
	"fmt"
	"math"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A waiting journal is one behind a log: while the disk is full it refuses what it is
// given, and carries it out when there is room.
type waiting struct {
	journal.Journal
	full bool
	todo []func() error
}

func (w *waiting) later(do func() error) error {
	if !w.full {
		return do()
	}
	w.todo = append(w.todo, do)
	return fmt.Errorf("%w; %w", journal.ErrFull, journal.ErrLater)
}

func (w *waiting) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	return w.later(func() error { return w.Journal.AppendReadings(ctx, blocks, ticks) })
}

func (w *waiting) Append(ctx context.Context, entries ...record.Entry) (at record.Position, err error) {
	err = w.later(func() (err error) {
		at, err = w.Journal.Append(ctx, entries...)
		return err
	})
	return at, err
}

// What changes while the disk of one of several machines is full is in its record once,
// when there is room: its log has had it all the time.
func TestWhatWaitsInALogIsKeptOnce(t *testing.T) {
	for _, stands := range []bool{true, false} {
		w := &waiting{Journal: new(journaltest.Memory)}
		now := sample.Instant(1_700_000_000_000_000_000)
		k, plan := wardKeeper(t, w, func() sample.Instant { return now })
		k.Scan(1, &sample.Scan{At: now, Arrived: now, Raw: make([]float64, plan.Sources[0].Channels)})
		event := alert.Event{Key: alert.Key{Place: plan.Places[0].ID, Rule: "too-tight", Subject: "ankle"}, What: alert.Raised, At: now}
		state := func(string) []byte { return nil }
		if stands {
			state = func(string) []byte { return []byte{1} }
		}
		w.full = true
		took, err := k.Commit(2, []alert.Event{event}, state)
		if took != stands || err != nil {
			t.Errorf("how its place stands took an ordinal: %t, %v; want %t", took, err, stands)
		}
		w.full = false
		for _, do := range w.todo {
			if err := do(); err != nil {
				t.Error(err)
			}
		}
		kept := 0
		for e, err := range w.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}}) {
			if err != nil {
				t.Fatal(err)
			}
			if kept++; e.Body.(record.Transition).Event.ID() != event.ID() {
				t.Errorf("kept is %+v", e)
			}
		}
		if kept != 1 {
			t.Errorf("the change is kept %d times", kept)
		}
	}
}

// Readings and the time that passes beside them are handed to the log of several machines
// again and again while the disk of this one is full, each time with what came since. Who
// takes the log in has all of them, once.
func TestReadingsThatWaitInALogAreKeptOnce(t *testing.T) {
	w := &waiting{Journal: new(journaltest.Memory)}
	now := sample.Instant(1_700_000_000_000_000_000)
	k, plan := wardKeeper(t, w, func() sample.Instant { return now })
	ord := uint64(0)
	next := func() uint64 { ord++; return ord }
	for round := range 40 {
		w.full = round >= 15 && round < 35
		k.Scan(next(), &sample.Scan{At: now, Arrived: now, Raw: make([]float64, plan.Sources[0].Channels)})
		now = now.Add(300 * time.Millisecond)
		k.Tick(next(), round%2, now)
		if err := k.Flush(t.Context()); w.full != errors.Is(err, journal.ErrLater) || !w.full && err != nil {
			t.Fatalf("round %d: %v", round, err)
		}
		if round == 34 {
			for _, do := range w.todo {
				if err := do(); err != nil {
					t.Errorf("what is in the log is refused: %v", err)
				}
			}
		}
	}
	want := uint64(0)
	for in, err := range w.Inputs(t.Context(), 0, math.MaxInt64) {
		if err != nil {
			t.Fatal(err)
		}
		if want++; in.Ord != want {
			t.Fatalf("input %d comes where %d is to come", in.Ord, want)
		}
	}
	if want != ord {
		t.Errorf("%d inputs of %d are kept", want, ord)
	}
}
