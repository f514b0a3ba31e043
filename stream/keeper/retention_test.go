package keeper_test

import (
	"testing"
	"time"

	"weald/ingest/sample"
	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/keeper"
	"weald/stream/record"
)

// However short the limits: what a start judges again stays, and so does all
// that became of an alert that is not over.
func TestSparedIsWhatIsNeeded(t *testing.T) {
	j := new(journaltest.Memory)
	limits := journal.Limits{
		journal.Readings:    {Age: 24 * time.Hour},
		journal.Transitions: {Age: 24 * time.Hour},
		journal.Actions:     {Bytes: 1},
		journal.Marks:       {Bytes: 1},
	}
	spared := func() (readings, entries uint64) {
		t.Helper()
		l, err := keeper.Spare(t.Context(), j, limits)
		if err != nil {
			t.Fatal(err)
		}
		if l[journal.Marks] != limits[journal.Marks] {
			t.Errorf("marks: %+v", l[journal.Marks])
		}
		if l[journal.Transitions].Spare != l[journal.Actions].Spare {
			t.Errorf("alerts and actions part: %+v", l)
		}
		return l[journal.Readings].Spare, l[journal.Transitions].Spare
	}
	write := func(e record.Entry) {
		t.Helper()
		if _, err := j.Append(t.Context(), e); err != nil {
			t.Fatal(err)
		}
	}
	change := func(rule string, what alert.Change, state alert.State) {
		write(record.Entry{Body: record.Transition{Event: alert.Event{Key: alert.Key{Place: "bed-1", Rule: rule}, What: what, Priority: alert.Low, State: state}}})
	}

	if r, e := spared(); r != 1 || e != 0 {
		t.Errorf("an empty record: spared from ordinal %d, position %d", r, e)
	}
	if err := j.AppendReadings(t.Context(), []record.Block{{Source: "a/mat", Scans: []record.Scan{{Ord: 7, At: sample.Instant(1), Raw: []float64{1}}}}}, nil); err != nil {
		t.Fatal(err)
	}
	if r, _ := spared(); r != 1 {
		t.Errorf("without a snapshot: spared from ordinal %d", r)
	}
	if err := j.PutSnapshot(t.Context(), record.Snapshot{Ord: 7}); err != nil {
		t.Fatal(err)
	}
	if r, _ := spared(); r != 8 {
		t.Errorf("with a snapshot up to 7: spared from ordinal %d", r)
	}

	change("old", alert.Raised, alert.Unacknowledged) // 1
	change("old", alert.Cleared, alert.Normal)        // 2
	if _, e := spared(); e != 0 {
		t.Errorf("all alerts are over: spared from position %d", e)
	}
	change("tight", alert.Raised, alert.Unacknowledged)                                                                           // 3
	write(record.Entry{Ord: 6, Body: record.Action{What: "acknowledge", Subject: alert.Key{Place: "bed-1", Rule: "tight"}.ID()}}) // 4
	change("tight", alert.WasAcknowledged, alert.Acknowledged)                                                                    // 5
	if _, e := spared(); e != 3 {
		t.Errorf("an alert stands since 3: spared from position %d", e)
	}
	change("tight", alert.Cleared, alert.Normal) // 6
	if _, e := spared(); e != 0 {
		t.Errorf("it is over: spared from position %d", e)
	}
	write(record.Entry{Ord: 9, Body: record.Action{What: "shelve", Subject: "x"}}) // 7, after the snapshot
	change("late", alert.Raised, alert.Unacknowledged)                             // 8
	if _, e := spared(); e != 7 {
		t.Errorf("an action after the snapshot: spared from position %d", e)
	}
}

// Notices that a start has to read stay: from the one on that says so.
func TestSparedAreMessagesThatWait(t *testing.T) {
	j := new(journaltest.Memory)
	limits := journal.Limits{journal.Notices: {Bytes: 1}}
	for _, c := range []struct {
		notice record.Notice
		spared uint64
	}{
		{record.Notice{What: "seen", Through: 4, From: 5}, 1}, // nothing waits
		{record.Notice{Sender: "desk", What: "queued", Key: "a", Through: 4, From: 2}, 2},
		{record.Notice{Sender: "desk", What: "sent", Key: "a", Through: 4, From: 5}, 3},
	} {
		if _, err := j.Append(t.Context(), record.Entry{Body: c.notice}); err != nil {
			t.Fatal(err)
		}
		if l, err := keeper.Spare(t.Context(), j, limits); err != nil || l[journal.Notices].Spare != c.spared {
			t.Errorf("after %+v: %+v, %v", c.notice, l[journal.Notices], err)
		}
	}
}
