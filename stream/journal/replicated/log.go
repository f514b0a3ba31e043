package replicated

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
	"weald/stream/record"
)

// What a stream says of itself: its own id, and how far the stores had come that began
// with it, which may be copies of a record that was kept on one machine before.
const (
	metaLog      = "weald-log"
	metaPosition = "weald-base-position"
	metaOrd      = "weald-base-ord"
)

// logHeader says which log a message was written into, where that is known elsewhere only
// by what comes from there: a log that was made anew has the name and the numbers of the old.
const logHeader = "Weald-Log"

// window is for how long servers remember the ids of messages.
const window = time.Hour

// A base is the record with which a log begins.
type base struct {
	log  string
	head journal.Head
}

// open returns the stream of a record, and makes it if there is none, unless the record is
// only followed: whoever writes it has that with which it begins.
func (o *Options) open(ctx context.Context, conn *nats.Conn, js jetstream.JetStream, head journal.Head) (jetstream.Stream, base, error) {
	stream, err := js.Stream(ctx, o.stream())
	switch none := errors.Is(err, jetstream.ErrStreamNotFound); {
	case none && o.Domain != "":
		stream, err = o.source(ctx, conn, js)
	case none && !o.Follows:
		stream, err = js.CreateStream(ctx, jetstream.StreamConfig{
			Name: o.stream(), Subjects: []string{o.subject()}, Description: "changes of a record, in order",
			Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardOld,
			Replicas: o.Replicas, MaxAge: o.Keep, Duplicates: window, DenyDelete: true, DenyPurge: true,
			Metadata: map[string]string{
				metaLog: nuid.Next(), metaPosition: strconv.FormatUint(uint64(head.Position), 10), metaOrd: strconv.FormatUint(head.Ord, 10),
			},
		})
		if errors.Is(err, jetstream.ErrStreamNameAlreadyInUse) { // another machine was quicker
			stream, err = js.Stream(ctx, o.stream())
		}
	}
	if err != nil {
		return nil, base{}, fmt.Errorf("stream %s: %w", o.stream(), err)
	}
	b, err := baseOf(stream.CachedInfo().Config)
	return stream, b, err
}

func baseOf(c jetstream.StreamConfig) (b base, err error) {
	position, err1 := strconv.ParseUint(c.Metadata[metaPosition], 10, 64)
	ord, err2 := strconv.ParseUint(c.Metadata[metaOrd], 10, 64)
	if b.log = c.Metadata[metaLog]; b.log == "" || err1 != nil || err2 != nil {
		return b, fmt.Errorf("stream %s was not made by this program: %w", c.Name, journal.ErrForeign)
	}
	b.head = journal.Head{Position: record.Position(position), Ord: ord}
	switch {
	case c.Storage != jetstream.FileStorage || !c.DenyDelete || !c.DenyPurge || c.MaxMsgs > 0 || c.MaxMsgsPerSubject > 0 || c.MaxBytes > 0 || c.Retention != jetstream.LimitsPolicy:
		return b, fmt.Errorf("stream %s has been changed so that messages may be lost: it must be kept in files, deny deleting and purging, and have no limit but its age: %w", c.Name, journal.ErrForeign)
	case c.Duplicates < time.Minute:
		return b, fmt.Errorf("stream %s compares the ids of messages for %v only; it must be a minute or more: %w", c.Name, c.Duplicates, journal.ErrForeign)
	}
	return b, nil
}

// publish sends a message until it is acknowledged or ctx ends.
func (j *Journal) publish(ctx context.Context, l label, data []byte) error {
	m := nats.NewMsg(j.options.subject())
	m.Header.Set(labelHeader, l.String())
	m.Header.Set(logHeader, j.log)
	m.Header.Set(jetstream.MsgIDHeader, l.String())
	m.Data = data
	return patience.Ask(ctx, nil, func(ctx context.Context) error {
		_, err := j.js.PublishMsg(ctx, m, jetstream.WithExpectStream(j.options.stream()))
		return err
	})
}
