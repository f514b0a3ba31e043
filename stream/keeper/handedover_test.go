package keeper_test

import (
	"context"
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A thorough journal is gone first, as gone is, and then takes each call when it is let.
type thorough struct {
	gone
	asked, let chan struct{}
}

func (s *thorough) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if !s.is {
		s.asked <- struct{}{}
		<-s.let
	}
	return s.gone.Append(ctx, entries...)
}

// Holds that who judges does not wait while what has waited is handed over, however much that is:
// each call takes its time, and of a long night there are thousands. What comes meanwhile is kept
// behind them.
func TestNobodyWaitsForWhatIsHandedOver(t *testing.T) {
	j := &thorough{gone: gone{Journal: new(journaltest.Memory)}, asked: make(chan struct{}), let: make(chan struct{})}
	k, plan := wardKeeper(t, j, func() sample.Instant { return 0 })
	ord := uint64(0)
	commit := func(at sample.Instant) {
		ord++
		k.Scan(ord, &sample.Scan{At: at, Arrived: at, Seq: uint32(at), First: uint32(at), Raw: make([]float64, plan.Sources[0].Channels)})
		took, err := k.Commit(ord+1, []alert.Event{{Key: alert.Key{Place: plan.Places[0].ID, Rule: "cells", Subject: "back"}, What: alert.Raised, At: at}},
			func(string) []byte { return []byte{1} })
		if err != nil {
			t.Error(err)
		}
		if took {
			ord++
		}
	}
	j.is = true
	for at := range sample.Instant(3) {
		commit(at)
	}
	j.is = false
	written := make(chan error)
	go func() { written <- k.Flush(context.Background()) }()
	<-j.asked
	j.let <- struct{}{} // the first is kept: the servers are there again
	<-j.asked           // and have not answered the second
	told := make(chan struct{})
	go func() { commit(3); close(told) }()
	select {
	case <-told:
	case <-time.After(5 * time.Second): // where it waits, it does so for good
		t.Error("who judges waits until all is handed over")
	}
	go func() {
		for range j.asked {
			j.let <- struct{}{}
		}
	}()
	j.let <- struct{}{}
	if err := <-written; err != nil {
		t.Fatal(err)
	}
	<-told
	if err := k.Flush(t.Context()); err != nil {
		t.Fatal(err)
	}
	close(j.asked)
	var next sample.Instant
	for _, e := range journaltest.Gather(t, j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}})) {
		if e.At != next {
			t.Errorf("a change of %v comes where that of %v is to come", e.At, next)
		}
		next++
	}
	if next != 4 {
		t.Errorf("%d changes of 4 are kept", next)
	}
}
