package hospital

import (
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"math"
	"net"
	"os"
	"sync/atomic"
	"time"

	"golang.org/x/sync/errgroup"

	"weald/ingest/emulate"
)

// Options is what a Hospital is like. At least one of TCP and MQTT is given; with both,
// every other bridge goes either way.
type Options struct {
	Scenario string  // what every place plays: see emulate.Scenarios
	Places   int     // > 0
	Rate     float64 // scans a second of each; 0 for the scenario's own
	Speed    float64 // how many times as fast as life; 0 for 1
	TCP      string  // host:port at which all bridges are dialled; port 0 takes a free one
	MQTT     string  // host:port of the daemon's own listener
	Password string  // file that has the password of all MQTT clients; written by New
	Pages    string  // host:port of the daemon's pages; "" for its default
	Seed     uint64
}

const (
	people = 8           // how many bodies are invented, at most
	minute = time.Minute // how long each is played before it begins anew
)

// number is that of the one source of every bridge.
const number = 1

// A Hospital is many places.
type Hospital struct {
	o        Options
	scenario emulate.Scenario
	channels int
	rate     float64
	loops    []*emulate.Loop
	board    net.Listener  // nil without TCP
	password string        // of MQTT clients
	dialled  atomic.Int64  // connections over TCP so far
	begun    atomic.Uint64 // scans that were given to connections
	sent     atomic.Uint64 // of them, those that were taken
}

// New invents the bodies, opens the port that TCP names and writes the password. Run
// or Close must be called in the end.
func New(o Options) (*Hospital, error) {
	h := &Hospital{o: o}
	if o.Speed == 0 {
		h.o.Speed = 1
	}
	var err error
	if h.scenario, err = emulate.Named(o.Scenario); err != nil {
		return nil, err
	}
	switch {
	case o.Places <= 0:
		return nil, fmt.Errorf("%d places are none", o.Places)
	case o.TCP == "" && o.MQTT == "":
		return nil, errors.New("there is no way to the daemon, neither TCP nor MQTT")
	case !(h.o.Speed > 0):
		return nil, fmt.Errorf("%v times as fast as life is not possible", o.Speed)
	case o.Rate < 0 || o.Rate > 1000:
		return nil, fmt.Errorf("%v scans a second are not between 0 and 1000", o.Rate)
	}
	if err := h.invent(); err != nil {
		return nil, err
	}
	if o.MQTT != "" {
		h.password = rand.Text()
		if err := os.WriteFile(o.Password, []byte(h.password+"\n"), 0o600); err != nil {
			return nil, fmt.Errorf("the password of the bridges: %w", err)
		}
	}
	if o.TCP != "" {
		if h.board, err = net.Listen("tcp", o.TCP); err != nil {
			return nil, fmt.Errorf("the port of the bridges: %w", err)
		}
	}
	return h, nil
}

// invent makes the loops.
func (h *Hospital) invent() error {
	for k := range min(people, h.o.Places) {
		stream := h.scenario.New(number, h.o.Seed+uint64(k))
		sensor, ok := stream.(interface {
			Rate() float64
			Pace(float64)
		})
		if !ok {
			return fmt.Errorf("scenario %q cannot be played at many places", h.scenario.Name)
		}
		if h.o.Rate > 0 {
			sensor.Pace(h.o.Rate)
		}
		h.rate = sensor.Rate()
		period := time.Duration(float64(time.Second) / h.rate)
		loop, err := emulate.NewLoop(stream, period, max(1, int(minute/period)))
		if err != nil {
			return fmt.Errorf("scenario %q: %w", h.scenario.Name, err)
		}
		h.loops, h.channels = append(h.loops, loop), loop.Channels()
	}
	return nil
}

// Sent returns how many scans connections have taken so far: over MQTT, those that the
// daemon has acknowledged.
func (h *Hospital) Sent() uint64 { return h.sent.Load() }

// Begun returns how many they were given. Those that are not among the sent may have
// reached the daemon or not.
func (h *Hospital) Begun() uint64 { return h.begun.Load() }

// Close closes the port.
func (h *Hospital) Close() error {
	if h.board == nil {
		return nil
	}
	return h.board.Close()
}

// Run plays until ctx ends, and then returns nil. A bridge whose connection ends is
// there again for the next; over MQTT it tries by itself.
func (h *Hospital) Run(ctx context.Context) error {
	group, within := errgroup.WithContext(ctx)
	if h.board != nil {
		group.Go(func() error { return h.accept(within, group) })
	}
	for i := range h.o.Places {
		if !h.overTCP(i) {
			group.Go(func() error { h.gateway(within, i); return nil })
		}
	}
	if err := group.Wait(); ctx.Err() == nil {
		return err
	}
	return nil
}

// overTCP reports whether a place's bridge is dialled.
func (h *Hospital) overTCP(i int) bool { return h.o.MQTT == "" || h.o.TCP != "" && i%2 == 0 }

// accept has a bridge answer whoever dials. They are all alike.
func (h *Hospital) accept(ctx context.Context, group *errgroup.Group) error {
	defer context.AfterFunc(ctx, func() { h.board.Close() })()
	defer h.board.Close()
	for {
		c, err := h.board.Accept()
		if err != nil {
			if ctx.Err() != nil {
				return nil
			}
			return fmt.Errorf("the port of the bridges: %w", err)
		}
		i := int(h.dialled.Add(1))
		group.Go(func() error {
			defer c.Close()
			_ = h.play(ctx, i, h.scenario.Encoding, c) // ends with either side
			return nil
		})
	}
}

// play is the bridge of place i until its connection ends.
func (h *Hospital) play(ctx context.Context, i int, how emulate.Encoding, w writer) error {
	_, phase := math.Modf(float64(i) * math.Phi)
	timer := time.NewTimer(time.Duration(phase / h.rate / h.o.Speed * float64(time.Second)))
	defer timer.Stop()
	select {
	case <-timer.C:
	case <-ctx.Done():
		return context.Cause(ctx)
	}
	loop := h.loops[i%len(h.loops)]
	player := emulate.Player{Stream: loop.Play(number, 7*i), Encoding: how, Speed: h.o.Speed, Starts: uint32(i) * 1000}
	return player.Play(ctx, &counted{w, h})
}

// A writer is where scans go.
type writer interface {
	Write(p []byte) (int, error)
	SetWriteDeadline(time.Time) error
}

// counted counts what was given to a writer, and what was taken.
type counted struct {
	writer
	h *Hospital
}

func (c *counted) Write(p []byte) (int, error) {
	c.h.begun.Add(1)
	n, err := c.writer.Write(p)
	if err == nil {
		c.h.sent.Add(1)
	}
	return n, err
}

// messages is how scans are sent one a message.
func (h *Hospital) messages() emulate.Encoding {
	if h.scenario.Encoding.Line {
		return h.scenario.Encoding
	}
	return emulate.Encoding{Coding: h.scenario.Encoding.Coding, Bare: true}
}
