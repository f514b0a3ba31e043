package keeper_test

import (
	"context"
	"errors"
	"fmt"
	"sync/atomic"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A deaf journal is one whose servers are gone: it answers nothing before the time for that
// is over.
type deaf struct {
	journal.Journal
	is   atomic.Bool
	pace chan struct{} // of entries that it hears, each takes one; nil for at once
}

func (d *deaf) wait(ctx context.Context) error {
	if !d.is.Load() {
		return nil
	}
	<-ctx.Done()
	return context.Cause(ctx)
}

func (d *deaf) AppendReadings(ctx context.Context, blocks []record.Block, ticks []record.Tick) error {
	if err := d.wait(ctx); err != nil {
		return err
	}
	return d.Journal.AppendReadings(ctx, blocks, ticks)
}

func (d *deaf) PutSnapshot(ctx context.Context, s record.Snapshot) error {
	if err := d.wait(ctx); err != nil {
		return err
	}
	return d.Journal.PutSnapshot(ctx, s)
}

func (d *deaf) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if err := d.wait(ctx); err != nil {
		return 0, err
	}
	if d.pace != nil {
		<-d.pace
	}
	return d.Journal.Append(ctx, entries...)
}

// A record that is out of reach holds nobody up for longer than it may: changes of alerts
// are told, of which only the first waits, and are kept later, once and in their order, with
// the readings beside them; what a person does is refused at once.
func TestARecordOutOfReach(t *testing.T) {
	d := &deaf{Journal: new(journaltest.Memory)}
	now := sample.Instant(1_700_000_000_000_000_000)
	k, plan := wardKeeper(t, d, func() sample.Instant { return now })
	k.Within = 200 * time.Millisecond
	key := alert.Key{Place: plan.Places[0].ID, Rule: "too-tight", Subject: "ankle"}
	ord := uint64(0)
	d.is.Store(true)
	for i, what := range []alert.Change{alert.Raised, alert.Cleared, alert.Raised} {
		ord++
		at := now.Add(time.Duration(i) * time.Second)
		k.Scan(ord, &sample.Scan{At: at, Arrived: at, Seq: uint32(i), First: uint32(i), Raw: make([]float64, plan.Sources[0].Channels)})
		began := time.Now()
		took, err := k.Commit(ord+1, []alert.Event{{Key: key, What: what, At: at}}, func(string) []byte { return []byte{1} })
		if lasted := time.Since(began); !took || err != nil || i == 0 && lasted > 10*time.Second || i > 0 && lasted > k.Within/2 {
			t.Errorf("change %d was told after %v: %t, %v", i, lasted, took, err)
		}
		ord++ // how its place stands
	}
	began := time.Now()
	if err := k.Act(ord+1, key, alert.Action{Verb: alert.Acknowledge, At: now}); !errors.Is(err, journal.ErrUnreached) || time.Since(began) > k.Within/2 {
		t.Errorf("what a person did was answered with %v after %v", err, time.Since(began))
	}
	if err := k.Flush(t.Context()); !errors.Is(err, journal.ErrUnreached) {
		t.Errorf("nothing can be kept, and it says %v", err)
	}
	d.is.Store(false)
	if err := k.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	if err := k.Act(ord+1, key, alert.Action{Verb: alert.Acknowledge, At: now}); err != nil {
		t.Errorf("it is there again, and refuses what a person did: %v", err)
	}
	var kept []string
	for _, e := range journaltest.Gather(t, d.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition, record.KindAction}})) {
		switch b := e.Body.(type) {
		case record.Transition:
			kept = append(kept, fmt.Sprint(b.Event.What, " ", e.At.Sub(now)))
		case record.Action:
			kept = append(kept, b.What)
		}
	}
	if got := fmt.Sprint(kept); got != "[raised 0s cleared 1s raised 2s acknowledge]" {
		t.Errorf("%s are kept", got)
	}
	scans := 0
	for block, err := range d.Readings(t.Context(), plan.Sources[0].ID, sample.Past, sample.Never) {
		if err != nil {
			t.Fatal(err)
		}
		scans += len(block.Scans)
	}
	if scans != 3 {
		t.Errorf("%d scans are kept", scans)
	}
}
