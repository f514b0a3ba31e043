package relay

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

// A Follower gives scans to whoever judges. Its fields are set before Run.
type Follower struct {
	Conn *nats.Conn
	Options
	From time.Time // scans that came to the stream before are not asked for; zero for all that there are
	Take func(Item)
	Log  *slog.Logger

	// Abreast is called once, when all has been taken that was in the stream when it was
	// first looked at, or when there was nothing.
	Abreast func()

	until  uint64 // the last message of then
	writer string // whose messages count; "" for whoever comes first
	next   uint64 // 0 for whichever comes first
}

// Run follows the stream until ctx ends, and returns the cause. While there is none, or
// servers do not answer, it asks again.
func (f *Follower) Run(ctx context.Context) error {
	js, err := jetstream.New(f.Conn)
	if err != nil {
		return err
	}
	for looked := false; ; {
		stream, err := js.Stream(ctx, f.Stream())
		if err == nil {
			err = f.follow(ctx, stream, &looked)
		} else if errors.Is(err, jetstream.ErrStreamNotFound) && !looked {
			looked = true
			f.abreast()
		}
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		f.Log.Debug("scans are asked for again", slog.Any("error", err))
		select {
		case <-time.After(retryAfter):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

func (f *Follower) abreast() {
	if f.Abreast != nil {
		f.Abreast()
		f.Abreast = nil
	}
}

// follow takes what comes until ctx ends or that fails.
func (f *Follower) follow(ctx context.Context, stream jetstream.Stream, looked *bool) error {
	if !*looked {
		info, err := stream.Info(ctx)
		if err != nil {
			return err
		}
		*looked = true
		if f.until = info.State.LastSeq; info.State.Msgs == 0 || info.State.LastTime.Before(f.From) {
			f.abreast()
		}
	}
	o := jetstream.OrderedConsumerConfig{DeliverPolicy: jetstream.DeliverAllPolicy}
	switch {
	case f.next > 0:
		o.DeliverPolicy, o.OptStartSeq = jetstream.DeliverByStartSequencePolicy, f.next
	case !f.From.IsZero():
		o.DeliverPolicy, o.OptStartTime = jetstream.DeliverByStartTimePolicy, &f.From
	}
	consumer, err := stream.OrderedConsumer(ctx, o)
	if err != nil {
		return err
	}
	messages, err := consumer.Messages()
	if err != nil {
		return err
	}
	stop := context.AfterFunc(ctx, messages.Stop)
	defer stop()
	defer messages.Stop()
	for {
		m, err := messages.Next()
		if err != nil {
			return err
		}
		meta, err := m.Metadata()
		if err != nil {
			return fmt.Errorf("a message without a number: %w", err)
		}
		f.message(meta.Sequence.Stream, m.Headers().Get(writerHeader), m.Data())
	}
}

// message takes one message in.
func (f *Follower) message(seq uint64, writer string, data []byte) {
	if seq < f.next {
		return // it came twice
	}
	if f.next > 0 && seq > f.next {
		f.Log.Error("scans are missing in the stream, and are not judged", slog.Uint64("messages", seq-f.next), slog.String("do", "look at the disks of the servers: a message that was acknowledged must not be lost"))
	}
	f.next = seq + 1
	switch {
	case len(data) == 0:
		f.writer = writer
	case f.writer != "" && writer != f.writer: // it does not know yet that another one reads
	default:
		f.writer = writer
		if err := unpack(data, f.Take); err != nil {
			f.Log.Error("scans in the stream cannot be read, and are not judged", slog.Any("error", err), slog.String("do", "where another version of weald reads the bridges, use the newer one to judge"))
		}
	}
	if seq >= f.until {
		f.abreast()
	}
}
