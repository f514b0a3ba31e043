package outbox

import (
	"context"
	"iter"
	"slices"
	"strings"
	"sync/atomic"
	"testing"
	"testing/synctest"
	"time"

	"weald/rules/alert"
	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A far journal is one whose servers may be gone: a call waits for them, for ten seconds. Of the first
// this is left out, as time stands still in a test while somebody waits for a lock.
type far struct {
	*journaltest.Memory
	gone   atomic.Bool
	waited atomic.Bool
	torn   atomic.Bool
}

func (f *far) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	if f.gone.Load() {
		if !f.waited.Swap(true) {
			return 0, journal.ErrUnreached
		}
		select {
		case <-time.After(10 * time.Second):
			return 0, journal.ErrUnreached
		case <-ctx.Done():
			return 0, context.Cause(ctx)
		}
	}
	return f.Memory.Append(ctx, entries...)
}

// raisedAway is an outbox with a way, whose record went out of reach before an alert was raised.
func raisedAway(t *testing.T) (b *Outbox, j *far, desk *way, stop func()) {
	t.Helper()
	j, desk = &far{Memory: new(journaltest.Memory)}, &way{}
	b, _, stop = begin(t, j, specs("desk"), desk)
	time.Sleep(2 * time.Second)
	j.gone.Store(true)
	keep(t, j.Memory, record.Transition{Event: event("bed-4", alert.Raised, alert.Unacknowledged, 0)})
	return b, j, desk, stop
}

// While the record is out of reach only the first call waits for it: messages that are due go out,
// and whoever asks for a test has an answer. What became of them is kept when it is there again, once
// and in order.
func TestMessagesGoOutWithoutTheRecord(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		b, j, desk, stop := raisedAway(t)
		time.Sleep(15 * time.Second)
		if len(desk.keys()) != 1 {
			t.Errorf("%q went out within a quarter of a minute", desk.keys())
		}
		began := time.Now()
		if err := b.Test(t.Context(), "desk"); err != nil || time.Since(began) > time.Second {
			t.Errorf("a test is answered after %v with %v", time.Since(began), err)
		}
		if got := notices(t, j); len(got) > 0 {
			t.Errorf("the record is out of reach, and has %q", got)
		}
		j.gone.Store(false)
		time.Sleep(15 * time.Second)
		var want []string
		for _, key := range desk.keys() {
			want = append(want, "queued "+key, "sent "+key)
		}
		got := slices.DeleteFunc(notices(t, j), func(n string) bool { return strings.HasPrefix(n, "mark") })
		if !slices.Equal(got, want) || len(want) != 4 {
			t.Errorf("the record has %q, and should have %q", got, want)
		}
		stop()
	})
}

// What waits when the outbox ends, as for another configuration, is kept before that where the record
// is there again: the next outbox would send once more what it does not find as sent. So it is also
// while the outbox waits to begin anew, as the record could not be read.
func TestWhatWaitsAtTheEndIsKept(t *testing.T) {
	for _, torn := range []bool{false, true} {
		synctest.Test(t, func(t *testing.T) {
			_, j, desk, stop := raisedAway(t)
			time.Sleep(15 * time.Second)
			j.torn.Store(torn)
			time.Sleep(2 * time.Second)
			j.gone.Store(false)
			stop()
			if got, want := strings.Join(notices(t, j), ", "), "queued "+desk.keys()[0]+", sent "+desk.keys()[0]; got != want {
				t.Errorf("torn %t: the record has %q, and should have %q", torn, got, want)
			}
		})
	}
}

// Entries cannot be read once, where they are torn.
func (f *far) Entries(ctx context.Context, q journal.Query) iter.Seq2[record.Entry, error] {
	if f.torn.Swap(false) {
		return func(yield func(record.Entry, error) bool) { yield(record.Entry{}, journal.ErrBroken) }
	}
	return f.Memory.Entries(ctx, q)
}

// An outbox that begins anew, as the record could not be read, keeps what waits before it reads what
// was sent: a message whose outcome waited is not sent again.
func TestWhatWaitsIsKeptBeforeTheRecordIsReadAnew(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		_, j, desk, stop := raisedAway(t)
		time.Sleep(5 * time.Second)
		j.torn.Store(true)
		time.Sleep(2 * time.Second)
		j.gone.Store(false)
		time.Sleep(time.Minute)
		if keys := desk.keys(); len(keys) != 1 {
			t.Errorf("%q went out", keys)
		}
		stop()
	})
}
