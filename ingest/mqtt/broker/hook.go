package broker

import (
	"context"
	"log/slog"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"weald/ingest/mqtt/internal/handover"
)

// A hook is what the server library asks and tells. It is called on each
// client's own goroutine, the one that reads from it.
type hook struct {
	mochi.HookBase
	broker *Broker
	ctx    context.Context // of Run
}

func (h *hook) ID() string { return "weald" }

func (h *hook) Provides(b byte) bool {
	switch b {
	case mochi.OnConnectAuthenticate, mochi.OnACLCheck, mochi.OnSessionEstablished,
		mochi.OnDisconnect, mochi.OnPacketRead, mochi.OnPublish:
		return true
	}
	return false
}

func (h *hook) seat(c *mochi.Client) *seat { return h.broker.seats[string(c.Properties.Username)] }

// OnConnectAuthenticate lets a client in, or not.
func (h *hook) OnConnectAuthenticate(c *mochi.Client, p packets.Packet) bool {
	s := h.seat(c)
	if err := s.admits(string(p.Connect.Password)); err != nil {
		h.broker.opts.Log.Warn("a client was refused", slog.String("user", string(c.Properties.Username)),
			slog.String("from", c.Net.Remote), slog.Any("why", err),
			slog.String("do", "give the board the bridge's id as its user, and the password of password_file"))
		select {
		case <-time.After(wrongPause):
		case <-h.ctx.Done():
		}
		return false
	}
	// Two accounts may use the same client id, and neither gets the other's
	// session.
	c.ID = s.account.Bridge + "/" + c.ID
	// Nothing is kept for a client that only publishes. With MQTT 5 the
	// library says so, as no session may outlive its connection.
	c.Properties.Clean = true
	c.Properties.Will = mochi.Will{}
	if c.State.Keepalive == 0 || c.State.Keepalive > longestKeepAlive {
		// One that speaks MQTT 3.1.1 is not told and may be silent for longer;
		// the keep-alive of TCP watches over it.
		if c.Properties.ProtocolVersion == 5 {
			c.State.Keepalive, c.State.ServerKeepalive = longestKeepAlive, true
		}
	}
	return true
}

// OnSessionEstablished seats a client.
func (h *hook) OnSessionEstablished(c *mochi.Client, _ packets.Packet) {
	if s := h.seat(c); !s.join(c) {
		h.broker.opts.Log.Warn("a client was refused, as its bridge has too many",
			slog.String("bridge", s.account.Bridge), slog.String("from", c.Net.Remote),
			slog.String("do", "let no two boards share a bridge, or raise max_clients of mqtt"))
		c.Stop(packets.ErrQuotaExceeded)
	}
}

// OnDisconnect unseats a client.
func (h *hook) OnDisconnect(c *mochi.Client, err error, _ bool) {
	if s := h.seat(c); s != nil {
		s.leave(c, farewell(c, err))
	}
}

// OnPacketRead ends the connection of a client that publishes to what can be no
// topic. The library would drop the message and leave the client waiting.
func (h *hook) OnPacketRead(c *mochi.Client, p packets.Packet) (packets.Packet, error) {
	if p.FixedHeader.Type == packets.Publish && !mochi.IsValidFilter(p.TopicName, true) {
		h.OnACLCheck(c, p.TopicName, true)
		c.Stop(packets.ErrNotAuthorized)
		return p, packets.ErrRejectPacket
	}
	return p, nil
}

// OnACLCheck lets a client write where its bridge's frames go, and read
// nothing.
func (h *hook) OnACLCheck(c *mochi.Client, topic string, write bool) bool {
	s := h.seat(c)
	if s != nil && write && topic == s.topic {
		return true
	}
	if s != nil && s.firstTrespass() {
		h.broker.opts.Log.Warn("a client does what it may not", slog.String("bridge", s.account.Bridge),
			slog.String("from", c.Net.Remote), slog.String("topic", topic), slog.Bool("publishes", write),
			slog.String("do", "let it publish to the topic of its bridge, which Setup names, and to no other"))
	}
	return false
}

// OnPublish holds the client until its frame is safe. The library acknowledges
// when it returns, unless told to ignore the packet altogether; then a client
// that is still there would wait for ever, and so is sent away.
func (h *hook) OnPublish(c *mochi.Client, p packets.Packet) (packets.Packet, error) {
	s := h.seat(c)
	if !s.counts.take(p) {
		return p, packets.CodeSuccessIgnore // acknowledged, and forwarded to nobody
	}
	if !h.deliver(s, c, p) {
		c.Stop(packets.ErrServerBusy)
		return p, packets.ErrRejectPacket
	}
	return p, packets.CodeSuccessIgnore
}

// deliver offers a frame to the reader of its bridge, and reports whether it is
// safe.
func (h *hook) deliver(s *seat, c *mochi.Client, p packets.Packet) bool {
	settled := make(chan bool, 1)
	o := handover.Offer{Payload: p.Payload, Again: p.FixedHeader.Dup, Done: func(safe bool) { settled <- safe }}
	offers := s.offers
	late := time.NewTimer(h.broker.opts.Patience)
	defer late.Stop()
	look := time.NewTicker(lookEvery)
	defer look.Stop()
	for {
		select {
		case offers <- o:
			offers = nil // taken, and now the reader's to settle
		case safe := <-settled:
			return safe
		case <-look.C:
			// Another connection of the same client may have taken over.
			if c.Closed() {
				return false
			}
		case <-late.C:
			h.broker.opts.Log.Warn("nobody took a frame in time, and the client sends it again", slog.String("bridge", s.account.Bridge),
				slog.String("do", "see whether the daemon falls behind: Setup, Weald itself"))
			return false
		case <-h.ctx.Done():
			return false
		}
	}
}

// lookEvery is how often a client that waits is looked after.
const lookEvery = 250 * time.Millisecond
