package outbox

import (
	"context"
	"errors"
	"log/slog"
	"time"

	"weald/stream/journal"
	"weald/stream/record"
)

// While the record is out of reach what is decided waits to be kept, so that messages go out and
// lamps show what is so: only the first call waits for servers with the desk in its hands.

// mostLate is how many calls may wait. Of more, messages are sent and nothing of them is kept.
const mostLate = 10_000

// put keeps entries, or has them wait. The caller holds mu.
func (b *Outbox) put(ctx context.Context, entries []record.Entry) {
	if len(b.late) == 0 {
		_, err := b.Journal.Append(context.WithoutCancel(ctx), entries...)
		if !errors.Is(err, journal.ErrUnreached) {
			b.said(err)
			return
		}
		b.Log.Warn("what becomes of messages waits to be kept; if this machine ends meanwhile, some are sent twice", slog.Any("error", err),
			slog.String("do", "see that a majority of the servers of the log runs and can be reached from here"))
	}
	if len(b.late) >= mostLate {
		b.said(journal.ErrUnreached)
		return
	}
	b.late = append(b.late, entries)
}

// said says that entries were not kept, if they were not.
func (b *Outbox) said(err error) {
	if err != nil && !errors.Is(err, journal.ErrLater) {
		b.Log.Error("what becomes of messages was not kept; some may be sent twice", slog.Any("error", err), slog.String("do", "make room on the disk"))
	}
}

// keepLate keeps what waits, until the record is out of reach or ctx ends. Each call is made again as
// it was, so that one whose answer was lost is that call and no second one.
func (b *Outbox) keepLate(ctx context.Context) {
	for {
		b.mu.Lock()
		calls := b.late
		b.mu.Unlock()
		if len(calls) == 0 {
			return
		}
		_, err := b.Journal.Append(ctx, calls[0]...)
		if err != nil && (ctx.Err() != nil || errors.Is(err, journal.ErrUnreached)) {
			return
		}
		b.said(err)
		b.mu.Lock()
		b.late = b.late[1:]
		b.mu.Unlock()
	}
}

// lastWithin is how long what waits at the end may take: another configuration may come into force,
// whose outbox reads in the record what was sent.
const lastWithin = time.Second

// last keeps what waits at the end, if it can be. Everything else has ended.
func (b *Outbox) last(ctx context.Context) {
	ctx, cancel := context.WithTimeout(context.WithoutCancel(ctx), lastWithin)
	defer cancel()
	b.keepLate(ctx)
}

// catchUp keeps what waits, until ctx ends.
func (b *Outbox) catchUp(ctx context.Context) error {
	for {
		b.keepLate(ctx)
		select {
		case <-time.After(glance):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}
