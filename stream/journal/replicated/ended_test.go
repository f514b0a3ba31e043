package replicated

import (
	"context"
	"errors"
	"testing"

	"weald/stream/journal/journaltest"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// A machine that is told to end while it takes a call in reads that call again when it
// begins anew: it is in the log, and the others have it.
func TestACallThatTheEndCutsOffIsReadAgain(t *testing.T) {
	dir := t.TempDir()
	calls := []call{
		{ticks: []record.Tick{{Ord: 3, At: journaltest.Noon}}, blocks: []record.Block{journaltest.Block("hub/leg", 1, 1, 2, journaltest.Noon)}},
		{ticks: []record.Tick{{Ord: 6, At: journaltest.Noon + 2}}, blocks: []record.Block{journaltest.Block("hub/leg", 4, 1, 2, journaltest.Noon+1)}},
		{entries: []record.Entry{{At: journaltest.Noon, Written: journaltest.Noon, Body: record.Fault{Subject: "hub", Text: "it is silent"}}}},
	}
	// begin returns what follows the log from where the store has come, as a machine does
	// that is started, and what ends it in order.
	begin := func() (f *follower, ends func()) {
		store, err := sqlite.Open(context.Background(), dir, files)
		if err != nil {
			t.Fatal(err)
		}
		at, err := store.Followed(t.Context())
		if err != nil {
			t.Fatal(err)
		}
		at.Log = "log"
		j := &Journal{store: store, writer: "another", done: make(chan struct{}), closed: make(chan struct{})}
		j.ctx, j.end = context.WithCancelCause(context.Background())
		f = &follower{Journal: j, into: store, at: at, partials: partials{}}
		return f, func() {
			j.end(errEnded)
			f.leave()
			if err := store.Close(); err != nil {
				t.Error(err)
			}
		}
	}
	take := func(f *follower, seq int) error {
		body, err := calls[seq-1].append(nil)
		if err != nil {
			t.Fatal(err)
		}
		return f.message(uint64(seq), label{0, "writer", uint64(seq), 1, 1}.String(), body)
	}
	for last := range calls { // before each it is told to end
		f, ends := begin()
		for seq := max(1, int(f.at.Next)); seq <= last; seq++ {
			if err := take(f, seq); err != nil {
				t.Fatal(err)
			}
		}
		f.end(errEnded)
		if err := take(f, last+1); !errors.Is(err, errEnded) {
			t.Fatalf("call %d was cut off, and it says %v", last+1, err)
		}
		ends()
	}
	f, ends := begin()
	defer ends()
	for seq := max(1, int(f.at.Next)); seq <= len(calls); seq++ {
		if err := take(f, seq); err != nil {
			t.Fatal(err)
		}
	}
	var kept []uint64
	for _, in := range journaltest.Gather(t, f.store.Inputs(t.Context(), 1, 100)) {
		kept = append(kept, in.Ord)
	}
	head, err := f.store.Head(t.Context())
	if err != nil || len(kept) != 6 || head.Position != 1 {
		t.Errorf("inputs %v and %d entries are kept, want 1 to 6 and 1 (%v)", kept, head.Position, err)
	}
}
