package replicated

import (
	"context"
	"errors"
	"slices"
	"sync"
	"testing"
	"time"

	"github.com/nats-io/nats.go"
	"github.com/nats-io/nats.go/jetstream"

	"weald/stream/journal/journaltest"
	"weald/stream/journal/sqlite"
	"weald/stream/record"
)

// What readings are packed with makes channels when it is used first, which must be outside of
// the bubble of any test.
func init() {
	b := journaltest.Block("hub/mat", 1, 1, 1, noon)
	packed, err := b.Append(nil)
	if err == nil {
		_, err = record.DecodeBlock(packed)
	}
	if err != nil {
		panic(err)
	}
}

// Servers are the servers of a log as a Journal sees them, without any: they keep messages in
// order and once, as their ids say, and do what a test has them do with each that is sent and
// with each that is asked for. Their time is that of the test.
type servers struct {
	jetstream.JetStream

	mu       sync.Mutex
	messages []*message                   // guarded by mu, as is all below
	ids      map[string]bool              // of messages that they have
	news     chan struct{}                // closed when there are more messages
	sent     func(label) fate             // what becomes of a message; nil for kept
	asked    func(seq uint64) (times int) // how often a message is sent that is asked for, -1 for silence; nil for once
}

// A fate is what becomes of a message that is sent: whether it is kept, and whether that is said.
type fate struct{ kept, said bool }

var errNoMajority = errors.New("no majority")

func newServers() *servers { return &servers{ids: map[string]bool{}, news: make(chan struct{})} }

// A message is one that they send to whoever follows.
type message struct {
	jetstream.Msg
	seq    uint64
	header nats.Header
	data   []byte
}

func (m *message) Metadata() (*jetstream.MsgMetadata, error) {
	return &jetstream.MsgMetadata{Sequence: jetstream.SequencePair{Stream: m.seq}}, nil
}
func (m *message) Data() []byte         { return m.data }
func (m *message) Headers() nats.Header { return m.header }

// PublishMsg keeps a message, once, unless its fate is another.
func (s *servers) PublishMsg(ctx context.Context, m *nats.Msg, _ ...jetstream.PublishOpt) (*jetstream.PubAck, error) {
	l, err := parseLabel(m.Header.Get(labelHeader))
	if err != nil {
		return nil, err
	}
	s.mu.Lock()
	f := fate{true, true}
	if s.sent != nil {
		f = s.sent(l)
	}
	if id := m.Header.Get(jetstream.MsgIDHeader); f.kept && !s.ids[id] {
		s.ids[id] = true
		s.messages = append(s.messages, &message{seq: uint64(len(s.messages) + 1), header: m.Header, data: slices.Clone(m.Data)})
		close(s.news)
		s.news = make(chan struct{})
	}
	s.mu.Unlock()
	if f.said {
		return &jetstream.PubAck{}, nil
	}
	select {
	case <-ctx.Done():
		return nil, ctx.Err()
	case <-time.After(time.Second):
		return nil, errNoMajority
	}
}

// A hearing is somebody who follows.
type hearing struct {
	servers *servers
	next    uint64
	again   []*message // to be sent before that
	stop    chan struct{}
	once    sync.Once
}

func (s *servers) Conn() *nats.Conn { return &nats.Conn{} }

// A kept is the stream that they keep.
type kept struct {
	jetstream.Stream
	s *servers
}

func (k kept) CachedInfo() *jetstream.StreamInfo { return &jetstream.StreamInfo{} }

func (k kept) CreateConsumer(_ context.Context, c jetstream.ConsumerConfig) (jetstream.Consumer, error) {
	return asking{h: &hearing{servers: k.s, next: c.OptStartSeq, stop: make(chan struct{})}}, nil
}

type asking struct {
	jetstream.Consumer
	h *hearing
}

func (a asking) Messages(...jetstream.PullMessagesOpt) (jetstream.MessagesContext, error) {
	return a.h, nil
}

func (h *hearing) Stop()  { h.once.Do(func() { close(h.stop) }) }
func (h *hearing) Drain() { h.Stop() }

func (h *hearing) Next(...jetstream.NextOpt) (jetstream.Msg, error) {
	for {
		h.servers.mu.Lock()
		news := h.servers.news
		if len(h.again) > 0 {
			m := h.again[0]
			h.again = h.again[1:]
			h.servers.mu.Unlock()
			return m, nil
		}
		if h.next <= uint64(len(h.servers.messages)) {
			m, times := h.servers.messages[h.next-1], 1
			if h.servers.asked != nil {
				times = h.servers.asked(h.next)
			}
			if h.servers.mu.Unlock(); times < 0 {
				time.Sleep(time.Second) // in silence
				return nil, nats.ErrNoHeartbeat
			}
			h.next++
			for range times {
				h.again = append(h.again, m)
			}
			if times > 1 && m.seq > 1 { // and with it the one before
				h.again = append(h.again, h.servers.messages[m.seq-2])
			}
			continue
		}
		h.servers.mu.Unlock()
		select {
		case <-news:
		case <-h.stop:
			return nil, jetstream.ErrMsgIteratorClosed
		}
	}
}

// alone is a store in a folder with its follower, as Open makes them, without servers.
func alone(t testing.TB, dir string) *follower {
	t.Helper()
	store, err := sqlite.Open(context.Background(), dir, files)
	if err != nil {
		t.Fatal(err)
	}
	at, err := store.Followed(context.Background())
	if err != nil {
		t.Fatal(err)
	}
	if at.Log == "" {
		at = sqlite.Followed{Log: "x", Next: 1}
	}
	j := &Journal{store: store, log: "x", writer: "me", options: Options{Name: "ward"}, most: 1 << 20, done: make(chan struct{}), closed: make(chan struct{})}
	j.ctx, j.end = context.WithCancelCause(context.Background())
	j.current.Store(at.Term)
	t.Cleanup(func() { store.Close() })
	return &follower{Journal: j, into: store, at: at, partials: partials{}, until: ^uint64(0)}
}

// with has a follower follow what servers have, as a writer with a name, until it is closed or killed.
func (f *follower) with(s *servers, writer string) *follower {
	f.js, f.stream, f.writer = s, kept{s: s}, writer
	go f.run()
	return f
}

// say takes a call into a store as the message with a number.
func (f *follower) say(t testing.TB, seq uint64, l label, c *call) error {
	t.Helper()
	body, err := c.append(nil)
	if err != nil {
		t.Fatal(err)
	}
	return f.message(seq, l.String(), body)
}
