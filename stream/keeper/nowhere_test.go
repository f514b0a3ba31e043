package keeper_test

import (
	"testing"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// Holds that a change of an alert whose place is none of the plan any more, which therefore stands
// nowhere, is kept once on a disk that takes no readings.
func TestAChangeThatStandsNowhereIsKeptOnce(t *testing.T) {
	j := &crowded{Journal: new(journaltest.Memory)}
	k, plan := wardKeeper(t, j, func() sample.Instant { return 0 })
	j.full.Store(true)
	k.Scan(1, &sample.Scan{At: 1, Arrived: 1, Raw: make([]float64, plan.Sources[0].Channels)})
	over := alert.Event{Key: alert.Key{Place: "bed-9", Rule: "cells", Subject: "back"}, What: alert.Cleared, State: alert.Normal, At: 1}
	took, err := k.Commit(2, []alert.Event{over}, func(string) []byte { return nil })
	if took || err != nil {
		t.Errorf("it takes an ordinal: %t; %v", took, err)
	}
	kept := journaltest.Gather(t, j.Entries(t.Context(), journal.Query{Kinds: []record.Kind{record.KindTransition}}))
	if n := len(kept); n != 1 {
		t.Errorf("it is kept %d times", n)
	}
}
