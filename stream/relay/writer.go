package relay

import (
	"context"
	"errors"
	"fmt"
	"log/slog"
	"maps"
	"strconv"
	"sync"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"
	"github.com/nats-io/nuid"

	"weald/ingest/sample"
	"weald/stream/journal/replicated/patience"
	"weald/stream/record"
)

// ErrLost means that a Writer may write no more, and that what waited with it is not safe:
// another one has begun, or its connection was closed for good.
var ErrLost = errors.New("readings of this machine are not taken any more")

// A Writer puts scans into the stream. Any goroutine may use it.
type Writer struct {
	conn    *nats.Conn
	js      jetstream.JetStream
	stream  jetstream.Stream
	options Options
	id      string
	log     *slog.Logger
	newest  uint64 // message of this Writer that is safe; of NewWriter and Run
	waited  patience.Wait

	more chan struct{} // tells Run of items
	room chan struct{} // tells Put of room

	mu      sync.Mutex
	last    sample.Instant // arrival of the newest item; guarded by mu, as is all below
	heard   sample.Lately
	items   []Item
	size    int           // readings in items
	written chan struct{} // closed, and made anew, when items that were taken are safe

	unsent map[string]Unsent // by source
}

// Unsent is how many scans could not be written, as no message can have them, and when the
// last one was. Nobody judges them.
type Unsent struct {
	Scans uint64
	Last  time.Time
}

// mostWaiting is how many readings wait at most, beside those that are being written, for
// servers that do not answer, as while they agree on a new leader: 10 s of 200 mats. Then
// bridges wait too.
const mostWaiting = 4 << 20

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
	w := &Writer{conn: conn, js: js, stream: stream, options: o, id: nuid.Next(), log: log, last: sample.Past, heard: sample.Lately{}, unsent: map[string]Unsent{},
		more: make(chan struct{}, 1), room: make(chan struct{}, 1), written: make(chan struct{})}
	claiming, cancel := context.WithTimeout(ctx, 2*patience.AnswerWithin)
	defer cancel()
	if err := w.publish(claiming, 0, nil); err != nil {
		return nil, fmt.Errorf("stream %s: %w", o.Stream(), err)
	}
	// Whoever wrote before is not taken any more: what is before the claim is all of it.
	if err := w.recall(ctx); err != nil {
		return nil, fmt.Errorf("stream %s: what it has cannot be read: %w", o.Stream(), err)
	}
	return w, nil
}

// recallFor is how far back a Writer reads what those before it have written: more than
// sample.HeardFor, for what a broker sends again, and enough for device clocks to go on by.
const recallFor = 2 * time.Minute

// recall reads what was written last: the newest arrival, and scans by which frames that
// come again are known.
func (w *Writer) recall(ctx context.Context) error {
	info, err := w.stream.Info(ctx)
	if err != nil {
		return err
	}
	first := max(info.State.FirstSeq, 1)
	for seq := w.newest - 1; seq >= first && w.last == sample.Past; seq-- {
		if w.last, err = arrivalIn(ctx, w.stream, seq); err != nil {
			return err // with ErrNewer what is written here might seem to have come before that
		}
	}
	if w.last == sample.Past {
		return nil
	}
	if first, err = seek(ctx, w.stream, first, w.newest, w.last.Add(-recallFor)); err != nil {
		return err
	}
	messages, err := patience.Hear(ctx, w.stream, first)
	if err != nil {
		return err
	}
	defer messages.Stop()
	defer context.AfterFunc(ctx, messages.Stop)()
	for seq := first; seq < w.newest; {
		m, err := messages.Next()
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if err != nil {
			return fmt.Errorf("%w: %w", nats.ErrTimeout, err) // whoever answered is gone, and all is begun anew
		}
		meta, err := m.Metadata()
		if err != nil {
			return err
		}
		if seq = meta.Sequence.Stream; seq < w.newest && len(m.Data()) > 0 {
			_ = unpack(m.Data(), func(i Item) { w.hear(i.Source, &i.Scan) })
		}
	}
	return nil
}

// hear notes a scan, by which its frames are known when they come again. The caller holds mu.
func (w *Writer) hear(source string, s *record.Scan) {
	head := s.Head()
	w.heard.Hear(source, &head)
}

// Heard returns the last scans of a source, of whichever Writer, in the order in which they
// came: whoever reads its bridge anew goes on there, and takes nothing twice.
func (w *Writer) Heard(source string) []sample.Heard {
	w.mu.Lock()
	defer w.mu.Unlock()
	return append([]sample.Heard(nil), w.heard.Last(source)...)
}

// Last returns the arrival of the newest scan; the writer's clock must not show an earlier
// one. It is Past where there is none.
func (w *Writer) Last() sample.Instant {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.last
}

// Waits returns for how long the servers have taken nothing, though something was to be
// written, and why; 0 and nil where they do.
func (w *Writer) Waits() (time.Duration, error) { return w.waited.Lasts() }

// Unsent returns what could not be written, by source.
func (w *Writer) Unsent() map[string]Unsent {
	w.mu.Lock()
	defer w.mu.Unlock()
	return maps.Clone(w.unsent)
}

func (w *Writer) leave(source string) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.unsent[source] = Unsent{w.unsent[source].Scans + 1, time.Now()}
}

// Put hands over a scan, which the Writer has from then on, and returns a channel that is
// closed when it is safe: on the servers, as a message of whoever may write. While too many
// wait it waits too, until ctx ends.
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
	w.hear(source, &s)
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

// Run writes until ctx ends, and returns the cause, or until it may write no more: ErrLost.
// What waits then is lost, and was not said to be safe.
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
			body, n, err := pack(nil, items, patience.Most(w.conn))
			if err != nil { // sent again it would be no better
				w.leave(items[0].Source)
				w.log.Error("a scan cannot be handed on, and nobody judges it", slog.String("source", items[0].Source), slog.Any("error", err),
					slog.String("do", "let the servers of the log take larger messages (max_payload); if that is not it, tell who makes weald"))
				items = items[1:]
				continue
			}
			number++
			if err := w.publish(ctx, number, body); err != nil {
				return err
			}
			items = items[n:]
		}
		close(written)
		wake(w.room)
	}
}

// publish sends a message until it is acknowledged, ctx ends, or that cannot be any more:
// ErrLost. Every message but the claim, which is number 0, is taken only if it comes right
// behind the one before it, so that the servers refuse whoever was superseded.
func (w *Writer) publish(ctx context.Context, number uint64, body []byte) error {
	m := nats.NewMsg(w.options.subject())
	m.Header.Set(writerHeader, w.id)
	m.Header.Set(jetstream.MsgIDHeader, w.id+"."+strconv.FormatUint(number, 10))
	m.Data = body
	options := []jetstream.PublishOpt{jetstream.WithExpectStream(w.options.Stream())}
	if number > 0 {
		options = append(options, jetstream.WithExpectLastSequence(w.newest))
	}
	err := patience.Ask(ctx, &w.waited, func(ctx context.Context) error {
		ack, err := w.js.PublishMsg(ctx, m, options...)
		switch {
		case err == nil:
			w.newest = ack.Sequence
		case notBehind(err):
			err = w.settle(ctx, m.Header.Get(jetstream.MsgIDHeader), err)
		}
		return err
	})
	if err != nil && patience.Permanent(err) {
		err = fmt.Errorf("%w: %w", ErrLost, err)
	}
	return err
}

// notBehind reports whether the servers have another message behind the one that they were
// told to have last.
func notBehind(err error) bool {
	var api *jetstream.APIError
	return errors.As(err, &api) && (api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequence || api.ErrorCode == jetstream.JSErrCodeStreamWrongLastSequenceConstant)
}

// settle finds out whose message stands where one should: this one, whose acknowledgement
// was lost on its way, or another Writer's. While the servers have none there that all of
// them know of, why is returned, for it to be sent again.
func (w *Writer) settle(ctx context.Context, id string, why error) error {
	found, err := w.stream.GetMsg(ctx, w.newest+1)
	switch {
	case err == nil && found.Header.Get(jetstream.MsgIDHeader) == id:
		w.newest++
		return nil
	case err == nil:
		return patience.End(fmt.Errorf("%w: another machine reads the bridges now", ErrLost))
	case !errors.Is(err, jetstream.ErrMsgNotFound):
		return err
	}
	info, err := w.stream.Info(ctx)
	switch {
	case err != nil:
		return err
	case info.State.FirstSeq > w.newest+1:
		return patience.End(fmt.Errorf("%w: the servers have let go of what was written here", ErrLost))
	case info.State.LastSeq < w.newest:
		return patience.End(fmt.Errorf("%w: the servers have lost what they acknowledged", ErrLost))
	}
	return why
}
