package relay

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"sync/atomic"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/ingest/sample"
	"weald/stream/journal/replicated/patience"
	"weald/stream/record"
)

// ErrNewer means that a newer version of this program has written readings which this one
// cannot read. Whoever judges must not go on without them.
var ErrNewer = errors.New("the readings in the log are of a newer version of weald than this one")

// A Follower gives scans to whoever judges. Its fields are set before Run.
type Follower struct {
	Conn *nats.Conn
	Options
	After sample.Instant // scans that had arrived by then need not come; Past for all that there are
	Take  func(Item)
	Log   *slog.Logger

	// Abreast is called once, when all has been taken that was in the stream when it was
	// first looked at, or when there was nothing.
	Abreast func()

	waited patience.Wait
	more   atomic.Uint64 // messages that were behind the newest one when that came
	newest atomic.Int64  // arrival of the newest scan that was taken; 0 before

	until  uint64 // the last message of then
	writer string // whose messages count; "" before anybody's claim has come
	next   uint64 // 0 before the stream was looked at
}

// Run follows the stream until ctx ends, and returns the cause, or until that can never be
// again, as with ErrNewer. While there is no stream, or servers do not answer, it asks again.
func (f *Follower) Run(ctx context.Context) error {
	js, err := jetstream.New(f.Conn)
	if err != nil {
		return err
	}
	for {
		var messages jetstream.MessagesContext
		if err := patience.Ask(ctx, &f.waited, func(ctx context.Context) (err error) {
			messages, err = f.ask(ctx, js)
			return err
		}); err != nil {
			return err
		}
		err := f.hear(ctx, messages)
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil {
			return err
		}
	}
}

// Waits returns for how long the servers have not answered or could not be reached, or had no
// stream, and why; 0 and nil where they do.
func (f *Follower) Waits() (time.Duration, error) { return f.waited.Lasts() }

// Behind returns how many messages were to come still when the newest one came, and the
// arrival of the newest scan that was taken, Past before the first.
func (f *Follower) Behind() (more uint64, newest sample.Instant) {
	if n := f.newest.Load(); n != 0 {
		return f.more.Load(), sample.Instant(n)
	}
	return f.more.Load(), sample.Past
}

// ask has the servers send what comes next.
func (f *Follower) ask(ctx context.Context, js jetstream.JetStream) (jetstream.MessagesContext, error) {
	stream, err := js.Stream(ctx, f.Stream())
	if errors.Is(err, jetstream.ErrStreamNotFound) && f.next == 0 {
		f.next = 1
		f.abreast()
	}
	if err != nil {
		return nil, err
	}
	if f.next == 0 {
		state := stream.CachedInfo().State
		next, err := seek(ctx, stream, max(state.FirstSeq, 1), state.LastSeq+1, f.After)
		if err != nil {
			return nil, err
		}
		if f.next, f.until = next, state.LastSeq; next > f.until {
			f.abreast()
		} else if f.After > sample.Past && next == state.FirstSeq && next > 1 {
			f.Log.Warn("the stream begins with scans that are to be judged, so that older ones may be gone", slog.Duration("kept", f.Keep), slog.String("do", "look at who was away for longer than that: what was measured then is not known"))
		}
	}
	return patience.Hear(ctx, stream, f.next)
}

func (f *Follower) abreast() {
	if f.Abreast != nil {
		f.Abreast()
		f.Abreast = nil
	}
}

// hear takes what comes until ctx ends, or another server has to be asked. Its error means
// that nothing more can be taken.
func (f *Follower) hear(ctx context.Context, messages jetstream.MessagesContext) error {
	stop := context.AfterFunc(ctx, messages.Stop)
	defer stop()
	defer messages.Stop()
	for first := true; ; first = false {
		m, err := patience.Next(f.Conn, messages, &f.waited)
		if err != nil {
			return nil
		}
		meta, err := m.Metadata()
		if err != nil {
			f.Log.Error("a message of the stream has no number, and is not judged", slog.Any("error", err), slog.String("do", "see who else writes to "+f.Stream()))
			continue
		}
		switch seq := meta.Sequence.Stream; {
		case seq < f.next: // it came twice
		case seq > f.next && !first:
			return nil // what was on its way is lost, and can be asked for again
		default:
			f.more.Store(meta.NumPending)
			if err := f.message(seq, m.Headers().Get(writerHeader), m.Data()); err != nil {
				return err
			}
		}
	}
}

// message takes one message in. Its error is ErrNewer.
func (f *Follower) message(seq uint64, writer string, data []byte) error {
	if seq > f.next && f.next > 1 {
		f.Log.Error("scans are missing in the stream, and are not judged", slog.Uint64("messages", seq-f.next),
			slog.String("do", "where the machine that judges was away for longer than readings wait, that is why; else look at the disks of the servers: a message that was acknowledged must not be lost"))
	}
	f.next = seq + 1
	var err error
	switch {
	case len(data) == 0:
		f.writer = writer
	case f.writer != "" && writer != f.writer: // it did not know yet that another one reads
	default:
		err = unpack(data, f.take)
	}
	switch {
	case errors.Is(err, record.ErrNewer):
		return fmt.Errorf("%w: message %d: %w", ErrNewer, seq, err)
	case err != nil:
		f.Log.Error("scans in the stream cannot be read, and are not judged", slog.Any("error", err), slog.String("do", "see who else writes to "+f.Stream()+", and look at the disks of the servers"))
	}
	if seq >= f.until {
		f.abreast()
	}
	return nil
}

func (f *Follower) take(i Item) {
	f.Take(i)
	f.newest.Store(int64(i.Scan.Arrived))
}
