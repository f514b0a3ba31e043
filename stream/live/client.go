package live

import (
	"context"
	"errors"
	"io"
	"sync"
	"sync/atomic"
	"time"

	"github.com/gorilla/websocket"

	"weald/stream/access/guesses"
	"weald/stream/pipeline"
	"weald/stream/view"
)

const (
	textQueue     = 256 // alerts and snapshots that wait
	readLimit     = 4096
	writeDeadline = 10 * time.Second
	pingEvery     = 15 * time.Second
	readDeadline  = 40 * time.Second
	closeDeadline = time.Second

	// A viewer that has a few kB within nearAfter is on a network that is not thin.
	nearAfter = 20 * time.Millisecond

	// What a viewer may say beyond confirming: so much at once, and one more each
	// time this has passed. Common practice, no source; a page subscribes when
	// somebody turns to it.
	mostExtras  = 60
	extrasEvery = 500 * time.Millisecond

	mostNames = 256 // in one subscription, of all three lists
)

// A text is an event on its way to a viewer: made already, or to be made by the
// writer so that its goroutine spends the time.
type text struct {
	body []byte
	make any
	sub  *subscription // takes effect when the text is written
	sent chan struct{} // closed when it was, if not nil
}

// A client is one viewer's connection.
type client struct {
	hub    *Hub
	conn   *websocket.Conn
	ctx    context.Context
	cancel context.CancelCauseFunc // with an *end

	wake   chan struct{} // holds one token at most
	text   chan text
	sub    atomic.Pointer[subscription] // nil before the first wish
	beat   atomic.Pointer[[]byte]       // to be sent; nil for none
	places waitingPlaces
	flow   flow
	extras guesses.Limit[struct{}]

	numbers numbers // the reader's own

	began    time.Time
	asked    atomic.Int64 // when the ping after the last batch of views left, in ns since began
	answered atomic.Bool  // it came back
	thin     atomic.Bool  // the link may be a thin one: views go compressed if the viewer can take them so
}

// An end is why a connection ends: what the viewer is told, and what is counted.
type end struct {
	code   int
	reason string
	why    string
}

// Error returns the reason.
func (e *end) Error() string { return e.reason }

func newClient(ctx context.Context, h *Hub, conn *websocket.Conn) *client {
	c := &client{
		hub: h, conn: conn,
		wake: make(chan struct{}, 1),
		text: make(chan text, textQueue),

		numbers: numbers{},
		began:   time.Now(),
	}
	c.extras.Most, c.extras.Every, c.extras.Remembered = mostExtras, extrasEvery, 1
	c.flow.limit = mostUnconfirmed
	c.places.of = make([]*told, len(h.Places))
	c.answered.Store(true)
	c.thin.Store(true) // until it turns out to be near
	// A connection that was taken over from the HTTP server ends when we say.
	c.ctx, c.cancel = context.WithCancelCause(context.WithoutCancel(ctx))
	return c
}

// serve runs the connection until it ends.
func (c *client) serve() {
	var writer sync.WaitGroup
	defer func() {
		c.end(nil) // for a reader that did not return
		writer.Wait()
	}()
	writer.Go(func() { c.end(c.write()) })
	c.end(c.read())
}

// end ends the connection, for the first reason that is given.
func (c *client) end(err error) {
	var known *end
	if !errors.As(err, &known) {
		known = &end{websocket.CloseNormalClosure, "", endedByViewer}
	}
	c.cancel(known)
}

// why returns the reason for the end, for counting.
func (c *client) why() string {
	var e *end
	if errors.As(context.Cause(c.ctx), &e) {
		return e.why
	}
	return endedByViewer
}

// refuse turns away one viewer too many.
func (c *client) refuse() {
	c.sayClose(&end{websocket.CloseTryAgainLater, "as many viewers as can be served are connected", endedSlow})
	c.conn.Close()
}

func (c *client) sayClose(e *end) {
	message := websocket.FormatCloseMessage(e.code, e.reason)
	// An error means that the other side is gone, which is what we want.
	_ = c.conn.WriteControl(websocket.CloseMessage, message, time.Now().Add(closeDeadline))
}

// nudge wakes the writer, if it sleeps.
func (c *client) nudge() {
	select {
	case c.wake <- struct{}{}:
	default:
	}
}

// tell queues an event that must not be lost. It never blocks.
func (c *client) tell(t text) {
	select {
	case c.text <- t:
	default:
		c.cancel(&end{websocket.CloseTryAgainLater, "too slow: alerts have piled up", endedSlow})
	}
}

// read takes what the viewer says until there is no more.
func (c *client) read() error {
	c.conn.SetReadLimit(readLimit)
	c.alive()
	c.conn.SetPongHandler(func(payload string) error {
		c.alive()
		if payload == placesPing {
			switch took := time.Since(c.began) - time.Duration(c.asked.Load()); {
			case took > slowAfter:
				c.thin.Store(true)
			case took < nearAfter:
				c.thin.Store(false)
			}
			c.answered.Store(true)
			c.nudge()
		}
		return nil
	})
	c.conn.SetPingHandler(func(payload string) error {
		if err := c.extra(); err != nil {
			return err
		}
		c.alive()
		// An error means that the other side is gone, which reading finds out.
		_ = c.conn.WriteControl(websocket.PongMessage, []byte(payload), time.Now().Add(closeDeadline))
		return nil
	})
	for {
		kind, body, err := c.readMessage()
		switch {
		case errors.Is(err, websocket.ErrReadLimit), len(body) > readLimit:
			return &end{websocket.CloseMessageTooBig, "a message of more than 4096 bytes", endedLies}
		case err != nil:
			return err
		case kind != websocket.TextMessage:
			return &end{websocket.CloseUnsupportedData, "a binary message", endedLies}
		}
		c.alive()
		if err := c.hear(body); err != nil {
			return err
		}
	}
}

// readMessage reads one message, or a little more of it than may be: the limit of
// the connection is one of bytes on the wire, where they may be compressed.
func (c *client) readMessage() (kind int, body []byte, err error) {
	kind, r, err := c.conn.NextReader()
	if err != nil {
		return kind, nil, err
	}
	body, err = io.ReadAll(io.LimitReader(r, readLimit+1))
	return kind, body, err
}

func (c *client) alive() { _ = c.conn.SetReadDeadline(time.Now().Add(readDeadline)) }

func (c *client) hear(body []byte) error {
	asked, confirmed, err := parse(body)
	switch {
	case err != nil:
		return err
	case asked != nil:
		if err := c.extra(); err != nil {
			return err
		}
		return c.resubscribe(asked)
	}
	news, err := c.flow.confirm(*confirmed, time.Now())
	if err != nil {
		return &end{websocket.ClosePolicyViolation, err.Error(), endedLies}
	}
	if !news {
		return c.extra()
	}
	c.nudge()
	return nil
}

// extra counts what a viewer says beyond one confirmation for each frame: each costs
// the daemon something, and nobody has much to say.
func (c *client) extra() error {
	if ok, _ := c.extras.Take(struct{}{}, time.Now()); !ok {
		return &end{websocket.ClosePolicyViolation, "says too much", endedLies}
	}
	return nil
}

// resubscribe replaces the subscription. The alerts are taken, and the viewer
// entered for them, in one go on the pipeline's goroutine, so that it misses none
// between the two and hears of none twice. Places are taken before that, one at a
// time: what changes of them until then is told after the snapshot. It waits until
// the snapshot has gone out: a viewer that asks faster than it reads waits too.
func (c *client) resubscribe(w *wish) error {
	if n := len(w.Places) + len(w.Signals) + len(w.Maps); n > mostNames {
		return &end{websocket.ClosePolicyViolation, "subscribes to more than 256 names; give patterns", endedLies}
	}
	sub, err := c.hub.subscribe(w, c.numbers)
	if err != nil {
		return err
	}
	c.hub.tell(c.ctx, sub)
	s := &snapshot{Event: "snapshot", Streams: sub.streams, Maps: sub.maps, Places: []view.Place{}}
	sent := make(chan struct{})
	shown := brief
	if sub.bare {
		shown = bare
	}
	for i, wanted := range sub.places {
		if !wanted {
			continue
		}
		if err := c.hub.Pipeline.Do(c.ctx, func(st *pipeline.State) { s.Places = append(s.Places, shown(st.Place(i))) }); err != nil {
			return err
		}
		sub.told[i] = keyOf(&s.Places[len(s.Places)-1])
	}
	sub.know(s.Places)
	err = c.hub.Pipeline.Do(c.ctx, func(st *pipeline.State) {
		s.Now = st.Now().Time()
		s.Alerts = st.Alerts()
		c.places.begin(sub) // the snapshot has newer views
		c.sub.Store(sub)
		c.tell(text{make: s, sub: sub, sent: sent})
	})
	if err != nil {
		return err
	}
	select {
	case <-sent:
	case <-c.ctx.Done():
	}
	return nil
}
