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
// lamps show what is so: only the first call waits for servers with the desk in its hands. Of what
// finds no room to wait, messages are sent and nothing is kept.

// put keeps entries, or has them wait. The caller holds mu.
func (b *Outbox) put(ctx context.Context, entries []record.Entry) {
	before, _ := b.late.Waits()
	_, err := b.late.Append(context.WithoutCancel(ctx), entries...)
	if now, _ := b.late.Waits(); before == 0 && now > 0 {
		b.Log.Warn("what becomes of messages waits to be kept; if this machine ends meanwhile, some are sent twice", slog.Any("error", err),
			slog.String("do", "see that a majority of the servers of the log runs and can be reached from here"))
	}
	b.said(err)
}

// said says that entries were not kept, if they were not.
func (b *Outbox) said(err error) {
	if err != nil && !errors.Is(err, journal.ErrLater) {
		b.Log.Error("what becomes of messages was not kept; some may be sent twice", slog.Any("error", err), slog.String("do", "make room on the disk"))
	}
}

// keepLate keeps what waits, until the record is out of reach or ctx ends.
func (b *Outbox) keepLate(ctx context.Context) { _ = b.late.Drain(ctx, b.said) }

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
