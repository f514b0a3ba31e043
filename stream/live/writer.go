package live

import (
	"context"
	"errors"
	"time"

	"github.com/gorilla/websocket"

	"weald/ingest/sample"
)

// placesPing is what the ping after a batch of views carries, and its pong
// brings back.
const placesPing = "places"

// write sends until the connection ends, and closes it. It is the only writer
// of data.
func (c *client) write() error {
	defer c.conn.Close()
	w := writer{client: c, timer: time.NewTimer(pingEvery), pingAt: time.Now().Add(pingEvery)}
	defer w.timer.Stop()
	err := w.run()
	c.end(err)
	if e, ok := context.Cause(c.ctx).(*end); ok {
		c.sayClose(e)
	}
	return err
}

// A writer is the state of write.
type writer struct {
	*client
	timer  *time.Timer
	pingAt time.Time
	sub    *subscription // whose snapshot was sent last; nil before the first
}

func (w *writer) run() error {
	now := w.hub.Clock.Now().Time()
	err := w.send(websocket.TextMessage, encode(hello{
		Event: "hello", Protocol: Protocol, Now: now, Speed: w.hub.Clock.Speed(), Version: w.hub.Version, Zone: w.hub.Zone, Settings: w.hub.Settings,
	}))
	if err != nil {
		return err
	}
	for {
		wait, err := w.round()
		if err != nil {
			return err
		}
		if wait <= 0 {
			continue
		}
		w.timer.Reset(wait)
		select {
		case t := <-w.text:
			err = w.sendText(t)
		case <-w.wake:
		case <-w.timer.C:
		case <-w.ctx.Done():
			return context.Cause(w.ctx)
		case <-w.hub.closing:
			return w.hub.farewell
		}
		if err != nil {
			return err
		}
	}
}

// round sends what is due, the most important first, and one binary frame at
// most. It returns how long there will be nothing to do.
func (w *writer) round() (wait time.Duration, err error) {
	for {
		select {
		case t := <-w.text:
			if err := w.sendText(t); err != nil {
				return 0, err
			}
			continue
		case <-w.ctx.Done():
			return 0, context.Cause(w.ctx)
		default:
		}
		break
	}
	if b := w.beat.Swap(nil); b != nil {
		if err := w.send(websocket.TextMessage, *b); err != nil {
			return 0, err
		}
	}
	if err := w.sendPlaces(); err != nil {
		return 0, err
	}
	now := time.Now()
	if !now.Before(w.pingAt) {
		w.pingAt = now.Add(pingEvery)
		if err := w.ping(""); err != nil {
			return 0, err
		}
	}
	return w.sendFrame(now)
}

// sendFrame sends the binary frame that is due, if there is room for it.
func (w *writer) sendFrame(now time.Time) (wait time.Duration, err error) {
	wait = w.pingAt.Sub(now)
	if w.sub == nil || !w.flow.room() {
		return wait, nil // a subscription or a confirmation will wake us
	}
	t, soonest := w.sub.schedule.due(now)
	if t == nil {
		if !soonest.IsZero() {
			wait = min(wait, soonest.Sub(now))
		}
		return wait, nil
	}
	frame := w.sub.schedule.build(now, w.notBefore(), func() uint32 { return w.flow.number(now) })
	if frame == nil {
		return 0, nil
	}
	return 0, w.send(websocket.BinaryMessage, frame)
}

// notBefore is the oldest instant, on the daemon's clock, of readings that are
// worth sending.
func (w *writer) notBefore() sample.Instant {
	return w.hub.Clock.Now().Add(-time.Duration(float64(staleRow) * w.hub.Clock.Speed()))
}

// sendPlaces sends the next batch of views, if the last one has arrived.
func (w *writer) sendPlaces() error {
	if !w.answered.Load() {
		return nil
	}
	var news [][]byte
	size := 0
	for size < placeBytes {
		place, t := w.places.take(w.sub)
		if t == nil {
			break
		}
		if !w.sub.news {
			size += len(t.whole)
			if err := w.sendPacked(t.whole, w.thin.Load()); err != nil {
				return err
			}
			continue
		}
		one := t.parts.news(w.sub.known[place])
		w.sub.known[place] = t.parts
		news, size = append(news, one), size+len(one)*placeBytes/placesBytes
	}
	switch {
	case size == 0:
		return nil
	case len(news) > 0:
		if err := w.sendPacked(together(news), w.thin.Load()); err != nil {
			return err
		}
	}
	w.asked.Store(int64(time.Since(w.began)))
	w.answered.Store(false)
	return w.ping(placesPing)
}

func (w *writer) sendText(t text) error {
	if t.make != nil {
		t.body = encode(t.make)
	}
	// A snapshot is long, and it is seldom.
	if err := w.sendPacked(t.body, t.sub != nil); err != nil {
		return err
	}
	if t.sub != nil {
		w.sub = t.sub
	}
	if t.sent != nil {
		close(t.sent)
	}
	return nil
}

// sendPacked sends a text, compressed if that is wanted and the viewer offered to take
// it so (RFC 7692): a view is a fifth as long then.
func (w *writer) sendPacked(body []byte, packed bool) error {
	w.conn.EnableWriteCompression(packed)
	defer w.conn.EnableWriteCompression(false)
	return w.send(websocket.TextMessage, body)
}

func (w *writer) send(kind int, body []byte) error {
	if err := w.conn.SetWriteDeadline(time.Now().Add(writeDeadline)); err != nil {
		return err
	}
	if err := w.conn.WriteMessage(kind, body); err != nil {
		return slow(err)
	}
	return nil
}

func (w *writer) ping(payload string) error {
	err := w.conn.WriteControl(websocket.PingMessage, []byte(payload), time.Now().Add(writeDeadline))
	return slow(err)
}

// slow tells a viewer that takes nothing from one that is gone.
func slow(err error) error {
	var timeout interface{ Timeout() bool }
	if errors.As(err, &timeout) && timeout.Timeout() {
		return &end{websocket.CloseTryAgainLater, "nothing was taken for 10 s", endedSlow}
	}
	return err
}
