package relay

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/ingest/sample"
	"weald/stream/record"
)

// Options say which stream it is.
type Options struct {
	// Name is that of the record which the scans are for.
	Name string
	// Replicas is on how many servers each message is.
	Replicas int
	// Keep is for how long scans stay for a judge that is away.
	Keep time.Duration
}

// Stream is what the stream is called.
func (o *Options) Stream() string  { return "weald_readings-" + o.Name } // no record's: those begin with weald-
func (o *Options) subject() string { return "weald." + o.Name + ".readings" }

// window is for how long servers remember the ids of messages.
const window = time.Hour

// open returns the stream, and makes it if there is none.
func (o *Options) open(ctx context.Context, js jetstream.JetStream) (jetstream.Stream, error) {
	stream, err := js.Stream(ctx, o.Stream())
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		stream, err = js.CreateStream(ctx, jetstream.StreamConfig{
			Name: o.Stream(), Subjects: []string{o.subject()}, Description: "scans on their way to whoever judges them",
			Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardOld,
			Replicas: o.Replicas, MaxAge: o.Keep, Duplicates: min(window, o.Keep), DenyDelete: true, DenyPurge: true,
		})
		if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // another machine was quicker
			stream, err = js.Stream(ctx, o.Stream())
		}
	}
	if err != nil {
		return nil, fmt.Errorf("stream %s: %w", o.Stream(), err)
	}
	return stream, nil
}

// Exists reports whether some machine reads bridges for a judge of this record.
func (o *Options) Exists(ctx context.Context, conn *nats.Conn) (bool, error) {
	js, err := jetstream.New(conn)
	if err != nil {
		return false, err
	}
	_, err = js.Stream(ctx, o.Stream())
	if errors.Is(err, jetstream.ErrStreamNotFound) {
		return false, nil
	}
	return err == nil, err
}

// seek returns the first message, from one on and before another, that has a scan which
// arrived after an instant, or the latter. Arrivals ascend in the stream, so that not every
// message has to be looked at, and nothing depends on whose clock is right.
func seek(ctx context.Context, stream jetstream.Stream, first, end uint64, after sample.Instant) (uint64, error) {
	for after > sample.Past && first < end {
		middle := first + (end-first)/2
		at, newest, err := newestAt(ctx, stream, middle, end)
		switch {
		case err != nil:
			return 0, err
		case at < end && newest <= after:
			first = at + 1
		default: // what is between says nothing
			end = middle
		}
	}
	return first, nil
}

// newestAt returns the newest arrival in a message, or in the first one behind it that has
// any, and which that is: end where there is none before that.
func newestAt(ctx context.Context, stream jetstream.Stream, seq, end uint64) (at uint64, newest sample.Instant, err error) {
	for newest = sample.Past; seq < end; seq++ {
		newest, err = arrivalIn(ctx, stream, seq)
		if err != nil && !errors.Is(err, ErrNewer) { // which says nothing to this version
			return 0, sample.Past, err
		}
		if err == nil && newest > sample.Past {
			return seq, newest, nil
		}
	}
	return end, sample.Past, nil
}

// arrivalIn returns the newest arrival in a message: Past where it is gone, a claim, or
// damaged, and then of no use to a judge either. Its error may be ErrNewer.
func arrivalIn(ctx context.Context, stream jetstream.Stream, seq uint64) (sample.Instant, error) {
	m, err := stream.GetMsg(ctx, seq)
	if errors.Is(err, jetstream.ErrMsgNotFound) {
		return sample.Past, nil
	}
	if err != nil || len(m.Data) == 0 {
		return sample.Past, err
	}
	newest := sample.Past
	switch err := unpack(m.Data, func(i Item) { newest = max(newest, i.Scan.Arrived) }); {
	case errors.Is(err, record.ErrNewer):
		return sample.Past, fmt.Errorf("%w: message %d: %w", ErrNewer, seq, err)
	case err != nil:
		return sample.Past, nil
	}
	return newest, nil
}

// writerHeader says which Writer a message is of. One without a body is its claim.
const writerHeader = "Weald-Writer"
