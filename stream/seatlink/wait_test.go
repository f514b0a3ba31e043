package seatlink

import (
	"context"
	"errors"
	"testing"
	"testing/synctest"

	"weald/stream/journal"
	"weald/stream/journal/journaltest"
	"weald/stream/record"
)

// A held journal keeps an entry when a test lets it.
type held struct {
	*journaltest.Memory
	goOn chan struct{}
}

func (h *held) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	<-h.goOn
	return h.Memory.Append(ctx, entries...)
}

// While the record is waited for, for one link, every other opens its seat; the one that is being
// withdrawn works until that is kept.
func TestLinksOpenWhileTheRecordIsWaitedFor(t *testing.T) {
	synctest.Test(t, func(t *testing.T) {
		j := &held{Memory: new(journaltest.Memory), goOn: make(chan struct{}, 2)}
		j.goOn <- struct{}{}
		j.goOn <- struct{}{}
		l := read(t, j)
		one, _, key, otherKey := make2(t, l)
		done := make(chan error)
		go func() { _, err := l.Withdraw(t.Context(), one.ID, Deed{At: noon}); done <- err }()
		synctest.Wait()
		for _, k := range []string{key, otherKey} {
			if _, ok := l.Open(k, noon); !ok {
				t.Error("it does not open")
			}
		}
		j.goOn <- struct{}{}
		if err := <-done; err != nil {
			t.Error(err)
		}
		if _, ok := l.Open(key, noon); ok {
			t.Error("it was withdrawn, and opens")
		}
	})
}

// A later journal is that of a machine whose disk is full, and whose log has what it is given.
type later struct{ *journaltest.Memory }

func (l later) Append(ctx context.Context, entries ...record.Entry) (record.Position, error) {
	_, err := l.Memory.Append(ctx, entries...)
	return 0, errors.Join(err, journal.ErrFull, journal.ErrLater)
}

// A link whose end is in the log already opens nothing more, though this machine has no room for that:
// after a start it would not either.
func TestALinkWhoseEndIsKeptLaterOpensNothing(t *testing.T) {
	j := new(journaltest.Memory)
	l := read(t, j)
	one, _, key, _ := make2(t, l)
	l.log = later{j}
	if _, err := l.Withdraw(t.Context(), one.ID, Deed{At: noon}); !errors.Is(err, journal.ErrLater) {
		t.Errorf("it is answered with %v", err)
	}
	for _, links := range []*Links{l, read(t, j)} {
		if _, ok := links.Open(key, noon); ok {
			t.Error("it opens")
		}
	}
}
