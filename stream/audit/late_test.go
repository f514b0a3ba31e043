package audit

import (
	"context"
	"errors"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/ingest/sample"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A doubtful journal takes calls and does not say so, until a test lets it: a call that is made
// again is the same one.
type doubtful struct {
	*journaltest.Memory
	quiet atomic.Bool
	first []record.Entry
}

func (d *doubtful) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if d.quiet.Load() {
		d.first = entries
		return 0, journal.ErrUnreached
	}
	return d.Memory.Append(ctx, entries...)
}

// A later journal is that of a machine whose disk is full, and whose log has what it is given.
type later struct{ *journaltest.Memory }

func (l later) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	_, err := l.Memory.Append(ctx, entries...)
	return 0, errors.Join(err, journal.ErrFull, journal.ErrLater)
}

// Looks that are in the log already, and wait for room in the files of this machine, are not said to
// be missing.
func TestLooksThatAreKeptLaterAreNotMissing(t *testing.T) {
	l := later{new(journaltest.Memory)}
	v := NewViews(l, func() sample.Instant { return 1 })
	for _, bed := range []string{"bed-1", "bed-2"} {
		v.Saw(record.Deed{Who: "N-4", What: Viewed, Place: bed})
		v.keep(t.Context())
	}
	if got := noted(t, l.Memory); got != "N-4 looked at bed-1; N-4 looked at bed-2" {
		t.Errorf("noted is %s", got)
	}
}

// While the record is out of reach looks wait, and none is lost or counted in place of being noted:
// what was tried is tried again as it was, before what was seen since.
func TestLooksWaitForARecordOutOfReach(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		d := &doubtful{Memory: new(journaltest.Memory)}
		d.quiet.Store(true)
		v := NewViews(d, func() sample.Instant { return sample.At(time.Now()) })
		ctx, stop := context.WithCancel(t.Context())
		ended := make(chan error)
		go func() { ended <- v.Run(ctx) }()
		var tried record.Entry
		for _, bed := range []string{"bed-1", "bed-2", "bed-3"} {
			v.Saw(record.Deed{Who: "N-4", What: Viewed, Place: bed})
			time.Sleep(time.Minute)
			synctest.Wait()
			if len(d.first) != 1 || tried.Body != nil && string(encode(t, &tried)) != string(encode(t, &d.first[0])) {
				t.Errorf("%v is tried in place of %v", d.first, tried)
			}
			tried = d.first[0]
		}
		d.quiet.Store(false)
		time.Sleep(2 * time.Second)
		if got := noted(t, d.Memory); got != "N-4 looked at bed-1; N-4 looked at bed-2; N-4 looked at bed-3" {
			t.Errorf("noted is %s", got)
		}
		stop()
		if err := <-ended; !errors.Is(err, context.Canceled) {
			t.Error(err)
		}
	})
}

// A full journal has room when a test lets it.
type full struct {
	*journaltest.Memory
	is bool
}

func (f *full) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if f.is {
		return 0, journal.ErrFull
	}
	return f.Memory.Append(ctx, entries...)
}

// Looks for which there is no room are counted, and the count is noted when there is, with those
// that it counts: also where the count itself found no room.
func TestLooksWithoutRoomAreCounted(t *testing.T) {
	f := &full{Memory: new(journaltest.Memory), is: true}
	v := NewViews(f, func() sample.Instant { return 1 })
	for _, bed := range []string{"bed-1", "bed-2"} {
		v.Saw(record.Deed{Who: "N-4", What: Viewed, Place: bed})
		v.keep(t.Context())
	}
	v.keep(t.Context())
	f.is = false
	v.Saw(record.Deed{Who: "N-4", What: Viewed, Place: "bed-3"})
	v.keep(t.Context())
	if got := noted(t, f.Memory); got != "N-4 looked at bed-3; weald did not note 2 looks, which came too fast or found no room" {
		t.Errorf("noted is %s", got)
	}
}

// noted is what the list of who did what says, from the first on.
func noted(t *testing.T, j journal.Journal) string {
	t.Helper()
	var said []string
	for e, err := range Lines(t.Context(), j, Query{}) {
		if err != nil {
			t.Fatal(err)
		}
		said = append(said, Sentence(&e))
	}
	return strings.Join(said, "; ")
}

func encode(t *testing.T, e *record.Entry) []byte {
	b, err := e.Append(nil)
	if err != nil {
		t.Error(err)
	}
	return b
}
