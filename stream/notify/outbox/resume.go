package outbox

import (
	"context"
	"errors"
	"fmt"

	"weald/stream/journal"
	"weald/stream/notify"
	"weald/stream/record"
)

// ErrNoSender means that no sender has such an id.
var ErrNoSender = errors.New("there is no such sender")

// ErrNotReady means that the outbox is still reading the record.
var ErrNotReady = errors.New("the record is still being read")

// resume reads where messages stand, and returns the position up to which changes
// have been taken.
func (b *Outbox) resume(ctx context.Context) (record.Position, error) {
	var newest *record.Notice
	var pos record.Position
	for e, err := range journal.Readable(b.Journal.Entries(ctx, journal.Query{Newest: true, Kinds: []record.Kind{record.KindNotice}}), b.lost) {
		if err != nil {
			return 0, err
		}
		n := e.Body.(record.Notice)
		newest = &n
		break
	}
	q := journal.Query{Kinds: []record.Kind{record.KindNotice, record.KindTransition, record.KindFault}}
	if newest != nil {
		q.From, pos = newest.From, newest.Through
	} else { // nothing was ever sent: what stands now calls, and nothing before it
		q.Since = b.Now().Add(-firstSight)
		for e, err := range journal.Readable(b.Journal.Entries(ctx, journal.Query{Newest: true}), nil) {
			if err != nil {
				return 0, err
			}
			pos = e.Position
			break
		}
	}
	replay := notify.NewReplay(b.desk, pos)
	for e, err := range journal.Readable(b.Journal.Entries(ctx, q), b.lost) {
		if err != nil {
			return 0, err
		}
		if newest == nil && e.Position > pos {
			break
		}
		replay.Entry(&e)
		pos = max(pos, e.Position)
	}
	b.decide(ctx, func() []record.Notice { return replay.End(b.Now()) })
	b.mu.Lock()
	b.ready = true
	b.mu.Unlock()
	return pos, nil
}

// Test queues a test and returns the outcome of the first attempt. A test that
// failed is tried again like every message. Where so much waits that there is no room
// for a test, or no longer, the error is notify.ErrFull; where the last one is not a
// minute old, notify.ErrTooSoon.
func (b *Outbox) Test(ctx context.Context, sender string) error {
	i := -1
	for k := range b.Specs {
		if b.Specs[k].ID == sender {
			i = k
		}
	}
	if i < 0 {
		return fmt.Errorf("%s: %w", sender, ErrNoSender)
	}
	b.mu.Lock()
	ready := b.ready
	b.mu.Unlock()
	if !ready {
		return ErrNotReady
	}
	outcome := make(chan error, 1)
	b.decide(ctx, func() []record.Notice {
		key, notices, err := b.desk.AskTest(i, b.Now())
		if err != nil {
			outcome <- fmt.Errorf("%s: %w", sender, err)
			return nil
		}
		b.asked[key] = outcome
		return notices
	})
	select {
	case err := <-outcome:
		return err
	case <-ctx.Done():
		return context.Cause(ctx)
	}
}
