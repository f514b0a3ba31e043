package relay

import (
	"context"
	"errors"
	"fmt"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
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

// writerHeader says which Writer a message is of. One without a body is its claim.
const writerHeader = "Weald-Writer"
