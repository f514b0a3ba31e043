package replicated

import (
	"context"
	"errors"
	"fmt"
	"strconv"
	"time"

	"github.com/nats-io/nats.go"

	"weald/stream/journal"
	"weald/stream/journal/replicated/patience"
)

// Whoever writes and has no room judges and shows all that comes, and keeps nothing in its
// files, while its calls go into the log. A machine that stands by, has room and has taken
// in all that is in the log does better. Nothing is said about it while there is room.

const (
	// fullFor is for how long there must have been no room before others are asked: what
	// makes room by itself, such as the end of an export, may take a moment.
	fullFor = 5 * time.Second
	// relieveWithin is how long they have to answer, and to take in what is on its way.
	relieveWithin = time.Second
)

// ErrRelieved means that this machine has no room for the record, and that another which
// stands by has, and has all that was written.
var ErrRelieved = errors.New("another machine has room for the record")

func (o *Options) relief() string { return "weald." + o.Name + ".relief" }

// Offer answers those who ask for relief, while may says that this machine could take over,
// until stop is called.
func (j *Journal) Offer(conn *nats.Conn, machine string, may func() bool) (stop func(), err error) {
	sub, err := conn.Subscribe(j.options.relief(), func(m *nats.Msg) {
		last, err := strconv.ParseUint(string(m.Data), 10, 64)
		if err == nil && may() && j.comes(j.ctx, last, relieveWithin/2) == 0 {
			_ = m.Respond([]byte(machine)) // or it is asked again
		}
	})
	if err != nil {
		return nil, err
	}
	return func() { _ = sub.Unsubscribe() }, nil
}

// Relieve returns ErrRelieved when there has been no room here for a while, and a machine
// has answered that has; or ctx ends.
func (j *Journal) Relieve(ctx context.Context, conn *nats.Conn) error {
	var since time.Time
	for {
		select {
		case <-time.After(relieveWithin):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		switch {
		case !errors.Is(j.calls.why(), journal.ErrFull):
			since = time.Time{}
		case since.IsZero():
			since = time.Now()
		case time.Since(since) < fullFor:
		default:
			if who, err := j.ask(ctx, conn); err == nil {
				return fmt.Errorf("%w: %s", ErrRelieved, who)
			}
		}
	}
}

// ask asks who has all that is in the log now, and room.
func (j *Journal) ask(ctx context.Context, conn *nats.Conn) (who string, err error) {
	within, cancel := context.WithTimeout(ctx, patience.AnswerWithin)
	defer cancel()
	info, err := j.stream.Info(within)
	if err != nil {
		return "", err
	}
	m, err := conn.Request(j.options.relief(), strconv.AppendUint(nil, info.State.LastSeq, 10), relieveWithin)
	if err != nil {
		return "", err
	}
	return string(m.Data), nil
}
