// Package patience asks servers of JetStream until they answer: they may be gone for a
// while, or agree on a new leader, which takes up to 8 s. What cannot change by itself is
// not asked again, and for how long nobody has answered is known to whoever wants to say it.
package patience

import (
	"context"
	"errors"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
)

const (
	// RetryAfter is how long to wait before servers are asked again: those that agree on a
	// new leader are not helped by more.
	RetryAfter = 250 * time.Millisecond
	// AnswerWithin is how long to wait for one answer.
	AnswerWithin = 5 * time.Second
	// SaidAfter is for how long servers may be silent before that is said: longer than they
	// take to agree on a new leader.
	SaidAfter = 10 * time.Second

	headers = 4 << 10 // what labels, ids and the servers' own headers take of a message at most
)

// Most is how many bytes the body of a message may have, by what the server allows that a
// connection leads to now.
func Most(conn *nats.Conn) int { return int(conn.MaxPayload()) - headers }

// Payload is what a server has to allow for bodies of so many bytes.
func Payload(body int) int { return body + headers }

// Permanent reports whether asking again cannot help: the connection was closed for good,
// as for a key that was withdrawn, or the servers have no JetStream.
func Permanent(err error) bool {
	for _, one := range []error{
		nats.ErrConnectionClosed, jetstream.ErrConnectionClosed, nats.ErrMaxPayload, nats.ErrBadSubject,
		jetstream.ErrJetStreamNotEnabled, jetstream.ErrJetStreamNotEnabledForAccount,
	} {
		if errors.Is(err, one) {
			return true
		}
	}
	return false
}

// Ask tries until that succeeds, cannot succeed any more, or ctx ends, whose cause it
// returns then. Each try has AnswerWithin. Waited is told how it goes; nil for nobody.
func Ask(ctx context.Context, waited *Wait, try func(context.Context) error) error {
	for {
		within, cancel := context.WithTimeout(ctx, AnswerWithin)
		err := try(within)
		cancel()
		var end *ending
		if errors.As(err, &end) {
			err = end.err
		}
		if err == nil || end != nil || Permanent(err) {
			waited.End()
			return err
		}
		if ctx.Err() == nil {
			waited.Note(err)
		}
		select {
		case <-time.After(RetryAfter):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}

// End is what a try returns that is not to be made again, with what Ask returns then.
func End(err error) error { return &ending{err} }

type ending struct{ err error }

func (e *ending) Error() string { return e.err.Error() }

// A Wait is for how long servers have not answered, and what they say or do not say. Any
// goroutine may use it; a nil one notes nothing.
type Wait struct {
	mu    sync.Mutex
	since time.Time // guarded by mu, as is all below; zero while they answer
	why   error
}

// Note notes a try that failed.
func (w *Wait) Note(why error) {
	if w == nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.since.IsZero() {
		w.since = time.Now()
	}
	w.why = why
}

// End notes that there is nothing to wait for any more.
func (w *Wait) End() {
	if w == nil {
		return
	}
	w.mu.Lock()
	defer w.mu.Unlock()
	w.since, w.why = time.Time{}, nil
}

// Lasts returns for how long nobody has answered, and the last reason; 0 and nil while they
// do.
func (w *Wait) Lasts() (time.Duration, error) {
	w.mu.Lock()
	defer w.mu.Unlock()
	if w.since.IsZero() {
		return 0, nil
	}
	return time.Since(w.since), w.why
}

// heardWithin is after what silence of the server that answers another one is asked: it has
// died, and the library would wait for half a minute. askAgain is how long it may answer one
// request for messages. lookAfter is after how long without a message it is looked whether
// there is a connection: longer than heardWithin, which begins anew then.
const (
	heardWithin = 2 * time.Second
	askAgain    = 10 * time.Second
	lookAfter   = heardWithin + time.Second
)

// Hear has the servers send what a stream has from a message on. As many of them know what
// was sent as have the stream, so that the death of one does not wait for its return. When
// Next says so of what it returns, whoever answered has died, and another is to be asked;
// a message that is not the next may be on its way still, unless it is the first that came.
func Hear(ctx context.Context, stream jetstream.Stream, next uint64) (jetstream.MessagesContext, error) {
	consumer, err := stream.CreateConsumer(ctx, jetstream.ConsumerConfig{
		DeliverPolicy: jetstream.DeliverByStartSequencePolicy, OptStartSeq: next, AckPolicy: jetstream.AckNonePolicy,
		Replicas: stream.CachedInfo().Config.Replicas, MemoryStorage: true, InactiveThreshold: time.Minute,
	})
	if err != nil {
		return nil, err
	}
	return consumer.Messages(jetstream.PullExpiry(askAgain), jetstream.PullHeartbeat(heardWithin/2))
}

// Next returns the next message of what Hear returned. Its error means that another server
// is to be asked. While there is no connection the library waits for one in silence: waited
// is told that nothing comes.
func Next(conn *nats.Conn, messages jetstream.MessagesContext, waited *Wait) (jetstream.Msg, error) {
	for within := lookAfter; ; {
		m, err := messages.Next(jetstream.NextMaxWait(within))
		switch {
		case err == nil:
			waited.End()
			return m, nil
		case !errors.Is(err, nats.ErrTimeout):
			return nil, err
		case conn.IsConnected(): // and there is nothing new
			waited.End()
			within = lookAfter
		default:
			waited.Note(nats.ErrDisconnected)
			within = RetryAfter
		}
	}
}
