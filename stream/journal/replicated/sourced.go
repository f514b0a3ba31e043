package replicated

import (
	"context"
	"fmt"
	"strconv"
	"strings"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal"
)

// A record that is written on servers of its own, such as those of a ward, is followed
// elsewhere through a stream that has theirs as its source: the servers bring over what
// came while there was no link, once and in order.

// source makes that stream. Its messages have the numbers of those of its source.
func (o *Options) source(ctx context.Context, conn *nats.Conn, js jetstream.JetStream) (jetstream.Stream, error) {
	there, err := jetstream.NewWithDomain(conn, o.Domain)
	if err != nil {
		return nil, err
	}
	origin, err := there.Stream(ctx, o.stream())
	if err != nil {
		return nil, fmt.Errorf("in domain %s: %w", o.Domain, err)
	}
	info := origin.CachedInfo()
	first := max(info.State.FirstSeq, 1)
	return js.CreateStream(ctx, jetstream.StreamConfig{
		Name: o.stream(), Description: "changes of a record that is written in domain " + o.Domain, Sources: o.sources(first), FirstSeq: first,
		Storage: jetstream.FileStorage, Retention: jetstream.LimitsPolicy, Discard: jetstream.DiscardOld,
		Replicas: o.Replicas, MaxAge: o.Keep, Duplicates: window, DenyDelete: true, DenyPurge: true, Metadata: info.Config.Metadata,
	})
}

func (o *Options) sources(first uint64) []*jetstream.StreamSource {
	return []*jetstream.StreamSource{{Name: o.stream(), Domain: o.Domain, OptStartSeq: first}}
}

// sourceHeader is where servers say which message of a source one was: the source, its
// number there, and more.
const sourceHeader = "Nats-Stream-Source"

// sameNumber returns an error if a message does not have the number that it had where it
// was written. Servers number what they bring over anew, so that what had been let go of
// there before it could be brought would be missing without a word.
func sameNumber(seq uint64, source string) error {
	fields := strings.Fields(source)
	if len(fields) < 2 {
		return fmt.Errorf("message %d of the log does not say which it was where it was written: %w", seq, journal.ErrBroken)
	}
	switch there, err := strconv.ParseUint(fields[1], 10, 64); {
	case err != nil:
		return fmt.Errorf("message %d of the log was %q where it was written: %w", seq, fields[1], journal.ErrBroken)
	case there != seq:
		return fmt.Errorf("messages %d to %d were let go of where they were written, before there was a link: what follows cannot be kept; begin with a copy of the record (weald backup there, weald restore here) and delete the stream here: %w", seq, there-1, journal.ErrBroken)
	}
	return nil
}
