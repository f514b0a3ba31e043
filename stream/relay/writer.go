package relay

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"weald/ingest/sample"
	"weald/stream/record"
)

// A Writer puts scans into the stream. Any goroutine may use it.
type Writer struct {
	js      jetstream.JetStream
	options Options
	id      string
	most    int // bytes of a message
	log     *slog.Logger

	more chan struct{} // tells Run of items
	room chan struct{} // tells Put of room

	mu      sync.Mutex
	last    sample.Instant // arrival of the newest item; guarded by mu, as is all below
	items   []Item
	size    int           // readings in items
	written chan struct{} // closed, and made anew, when items that were taken are safe
}

// mostWaiting is how many readings wait at most, beside those that are being written, for
// servers that do not answer, as while they agree on a new leader: 10 s of 200 mats. Then
// bridges wait too.
const mostWaiting = 4 << 20

const (
	retryAfter   = 250 * time.Millisecond // servers that agree on a new leader are not helped by more
	answerWithin = 5 * time.Second
	headers      = 4 << 10 // of a message at most
)

// NewWriter makes the one Writer that counts from now on, and the stream if there is none.
func NewWriter(ctx context.Context, conn *nats.Conn, o Options, log *slog.Logger) (*Writer, error) {
	js, err := jetstream.New(conn)
	if err != nil {
		return nil, err
	}
	stream, err := o.open(ctx, js)
	if err != nil {
		return nil, err
	}
	w := &Writer{js: js, options: o, id: nuid.Next(), most: int(conn.MaxPayload()) - headers, log: log, last: sample.Past,
		more: make(chan struct{}, 1), room: make(chan struct{}, 1), written: make(chan struct{})}
	if err := w.publish(ctx, 0, nil); err != nil {
		return nil, fmt.Errorf("stream %s: %w", o.Stream(), err)
	}
	// Whoever wrote before is not read any more: what it wrote last is the last.
	info, err := stream.Info(ctx)
	if err != nil {
		return nil, err
	}
	for seq := info.State.LastSeq; seq >= max(info.State.FirstSeq, 1) && w.last == sample.Past; seq-- {
		m, err := stream.GetMsg(ctx, seq)
		if errors.Is(err, jetstream.ErrMsgNotFound) {
			continue
		} else if err != nil {
			return nil, err
		}
		if len(m.Data) > 0 {
			_ = unpack(m.Data, func(i Item) { w.last = max(w.last, i.Scan.Arrived) }) // what is damaged is no use to a judge either
		}
	}
	return w, nil
}

// Last returns the arrival of the newest scan; the writer's clock must not show an earlier
// one. It is Past where there is none.
func (w *Writer) Last() sample.Instant {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last
}

// Put hands over a scan, which the Writer has from then on, and returns a channel that is
// closed when it is safe. While too many wait it waits too, until ctx ends.
func (w *Writer) Put(ctx context.Context, source string, s record.Scan) (safe <-chan struct{}, err error) {
	w.mu.Lock()
	for w.size > mostWaiting {
		w.mu.Unlock()
		select {
		case <-w.room:
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		}
		w.mu.Lock()
	}
	defer w.mu.Unlock()
	s.Arrived = max(s.Arrived, w.last+1)
	w.last = s.Arrived
	w.items = append(w.items, Item{source, s})
	if w.size += len(s.Raw); w.size <= mostWaiting {
		wake(w.room) // for the next who waits
	}
	wake(w.more)
	return w.written, nil
}

func wake(c chan struct{}) {
	select {
	case c <- struct{}{}:
	default:
	}
}

// Run writes until ctx ends, and returns the cause. What waits then is lost, and was not
// said to be safe.
func (w *Writer) Run(ctx context.Context) error {
	number := uint64(0)
	for {
		select {
		case <-w.more:
		case <-ctx.Done():
			return context.Cause(ctx)
		}
		w.mu.Lock()
		items, written := w.items, w.written
		w.items, w.size, w.written = nil, 0, make(chan struct{})
		w.mu.Unlock()
		for len(items) > 0 {
			body, n, err := pack(nil, items, w.most)
			if err == nil {
				number++
				err = w.publish(ctx, number, body)
			}
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			if err != nil {
				w.log.Error("scans cannot be sent on, and are lost", slog.Any("error", err), slog.Int("scans", n), slog.String("do", "tell who makes weald: no scan should be such"))
			}
			items = items[n:]
		}
		close(written)
		wake(w.room)
	}
}

// publish sends a message until it is acknowledged or ctx ends.
func (w *Writer) publish(ctx context.Context, number uint64, body []byte) error {
	m := nats.NewMsg(w.options.subject())
	m.Header.Set(writerHeader, w.id)
	m.Header.Set(jetstream.MsgIDHeader, w.id+"."+strconv.FormatUint(number, 10))
	m.Data = body
	for {
		within, cancel := context.WithTimeout(ctx, answerWithin)
		_, err := w.js.PublishMsg(within, m, jetstream.WithExpectStream(w.options.Stream()))
		cancel()
		if err == nil || errors.Is(err, nats.ErrMaxPayload) || errors.Is(err, nats.ErrConnectionClosed) {
			return err
		}
		select {
		case <-time.After(retryAfter):
		case <-ctx.Done():
			return context.Cause(ctx)
		}
	}
}
