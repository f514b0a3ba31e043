package broker

import (
	"context"
	"crypto/tls"
	"fmt"
	"log/slog"
	"net"
	"sync"
	"time"

	mochi "github.com/mochi-mqtt/server/v2"
	"github.com/mochi-mqtt/server/v2/packets"

	"weald/ingest/mqtt/internal/handover"
	"weald/ingest/tcp/wire"
)

// listener is what the server library calls our one way in.
const listener = "weald"

// A Broker serves the bridges of its accounts. New makes one, Run runs it, and
// Link gives the way to one of its bridges.
type Broker struct {
	// Set by New.
	opts  Options
	seats map[string]*seat // by bridge

	conf *tls.Config // of the first Run that could read the files; it sees to their changes

	mu      sync.Mutex
	address string // guarded by mu; where Run listens, empty while it does not
}

// New prepares a broker and refuses accounts that make no sense: ids that would
// reach into other bridges' topics, the same id twice, no password.
func New(o Options) (*Broker, error) {
	b := &Broker{opts: o.withDefaults(), seats: make(map[string]*seat, len(o.Accounts))}
	for _, a := range o.Accounts {
		topic, err := handover.Topic(a.Bridge)
		if err != nil {
			return nil, err
		}
		if b.seats[a.Bridge] != nil {
			return nil, fmt.Errorf("bridge %s has two accounts", a.Bridge)
		}
		if _, err := a.password(); err != nil {
			return nil, err
		}
		b.seats[a.Bridge] = newSeat(a, topic)
	}
	return b, nil
}

// Run listens and serves until ctx ends, and then returns nil. An address that
// cannot be listened on, and a certificate that cannot be read, are errors that
// say in plain words what is wrong; Run may then be called again.
func (b *Broker) Run(ctx context.Context) error {
	if b.opts.TLS != nil && b.conf == nil {
		var err error
		if b.conf, err = b.opts.TLS.Config(b.complain); err != nil {
			return err
		}
	}
	port, err := wire.Listen(ctx, b.opts.Address)
	if err != nil {
		return err
	}
	ctx, end := context.WithCancel(ctx)
	defer end()
	server := mochi.New(limits(b.opts.MaxClients))
	if err := server.AddHook(&hook{broker: b, ctx: ctx}, nil); err != nil {
		port.Close()
		return err
	}
	if err := server.Serve(); err != nil { // starts its housekeeping; it has no listener of its own
		port.Close()
		return err
	}
	b.setAddress(port.Addr().String())
	defer b.setAddress("")
	farewell := context.AfterFunc(ctx, func() {
		for _, c := range server.Clients.GetAll() {
			server.DisconnectClient(c, packets.ErrServerShuttingDown)
		}
	})
	defer farewell()
	// Room for clients, and for as many that are in the midst of a handshake.
	wire.Serve(ctx, port, 2*b.opts.MaxClients, func(ctx context.Context, raw net.Conn) {
		b.serve(ctx, server, raw)
	})
	return server.Close()
}

// serve has the server library speak with one client until it is gone.
func (b *Broker) serve(ctx context.Context, server *mochi.Server, raw net.Conn) {
	defer raw.Close()
	// The library says farewell first, where there is somebody to hear it.
	stop := context.AfterFunc(ctx, func() { time.AfterFunc(farewellTime, func() { raw.Close() }) })
	defer stop()
	c, err := wire.Handshake(ctx, raw, b.conf)
	if err != nil {
		b.opts.Log.Warn("a client was turned away", slog.String("from", raw.RemoteAddr().String()), slog.Any("why", err),
			slog.String("do", "where it is a bridge of yours, see that it asks for TLS and trusts the certificate; else see who that is"))
		return
	}
	// The library sets its own deadlines from the first packet on. Before, a
	// client that says nothing must not stay.
	c.SetDeadline(time.Now().Add(wire.Patience))
	if err := server.EstablishConnection(listener, c); err != nil && ctx.Err() == nil {
		b.opts.Log.Debug("a client is gone", slog.String("from", raw.RemoteAddr().String()), slog.Any("why", err))
	}
}

// complain says what is wrong with files that were in order before.
func (b *Broker) complain(err error) {
	b.opts.Log.Error("the certificate of the MQTT listener", slog.Any("trouble", err),
		slog.String("do", "put whole files there, which count without a start; until then clients get the one before"))
}

// farewellTime is what clients have to take the farewell.
const farewellTime = 100 * time.Millisecond

// limits is the server library's configuration.
func limits(clients int) *mochi.Options {
	c := mochi.NewDefaultServerCapabilities()
	c.MaximumClients = int64(clients)
	c.MaximumPacketSize = maxPacket
	c.MaximumSessionExpiryInterval = 0
	c.MaximumClientWritesPending = mostInFlight
	c.MaximumInflight = mostInFlight
	c.ReceiveMaximum = mostInFlight
	c.TopicAliasMaximum = 0 // an alias would be checked by its empty name
	c.MinimumProtocolVersion = 4
	c.RetainAvailable = 0
	c.SharedSubAvailable, c.WildcardSubAvailable, c.SubIDAvailable = 0, 0, 0
	return &mochi.Options{
		Capabilities:             c,
		ClientNetReadBufferSize:  16 << 10,
		ClientNetWriteBufferSize: 1 << 10,
		// Its own messages hold whole packets. What matters is said here.
		Logger: slog.New(slog.DiscardHandler),
		// Each of its reports on itself stops the world for a moment.
		SysTopicResendInterval: int64((24 * time.Hour) / time.Second),
	}
}

// Address is where the broker listens, with the port that the system chose if
// it was asked to. Empty while it does not.
func (b *Broker) Address() string {
	b.mu.Lock()
	defer b.mu.Unlock()
	return b.address
}

func (b *Broker) setAddress(a string) {
	b.mu.Lock()
	defer b.mu.Unlock()
	b.address = a
}
